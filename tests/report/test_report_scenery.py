"""The ground, wheels and rows that a run is played back on."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_runs import EDGE, RUBBLE, made, numbers

from drivesim.report import scenery

SIX = (
    "{front_left: {at: [90 mm, 80 mm]}, front_right: {at: [90 mm, -80 mm]}, middle_left: {at: [0 mm, 90 mm]},"
    " middle_right: {at: [0 mm, -90 mm]}, rear_left: {at: [-90 mm, 80 mm]}, rear_right: {at: [-90 mm, -80 mm]}}"
)
ROVER = """
name: other wheels
rover: rovers/crawler.yaml
drive: drives/speed_loop.yaml
ground: {{length: 2 m, behind: 1 m}}
commands: [{{at: 0.1 s, forward: 0.1 m/s}}]
duration: 0.4 s
change: {{rover.wheelbase: null, rover.track: null, rover.wheels: {wheels}}}
"""


def heights(ground):
    numbers_ = numbers(ground["heights"], "<u2").reshape(ground["nx"], ground["ny"])
    return ground["low"] + ground["height_step"] * numbers_


def places(ground):
    x = ground["x0"] + ground["dx"] * np.arange(ground["nx"])
    y = ground["y0"] + ground["dy"] * np.arange(ground["ny"])
    return x, y


@pytest.mark.parametrize("text", [EDGE, RUBBLE])
def test_heights_are_the_grounds_own_within_half_a_step(text):
    run = made(text)
    ground = scenery.ground([run])
    x, y = places(ground)
    own = run.ground
    i = np.round((x - own.x0) / own.dx).astype(int)
    j = np.round((y - own.y0) / own.dy).astype(int)
    true = own.heights[np.ix_(i, j)]
    assert np.abs(x - own.x_axis[i]).max() < 1e-6
    assert np.abs(heights(ground) - true).max() <= 0.5 * ground["height_step"] + 1e-12
    assert ground["height_step"] < 1e-6 or ground["high"] - ground["low"] > 0.06


def test_all_tracks_lie_inside_the_part_shown_where_the_ground_goes_that_far():
    run = made(RUBBLE)
    x, y = places(scenery.ground([run]))
    for hub, axis in (("hub_x", x), ("hub_y", y)):
        assert axis[0] < run.traces[hub].values.min()
        assert axis[-1] > run.traces[hub].values.max()


def test_runs_on_one_ground_share_a_part_that_holds_all_their_tracks():
    run = made(RUBBLE)
    other = replace(run, traces=run.traces.assign(hub_x=run.traces["hub_x"] + 0.5))
    x, _ = places(scenery.ground([run, other]))
    assert x[0] < run.traces["hub_x"].values.min()
    assert x[-1] > other.traces["hub_x"].values.max()


@pytest.mark.parametrize("shift", [-100.0, -0.35, 0.35, 100.0])
def test_tracks_at_the_border_and_beyond_still_have_a_ground(shift):
    run = made(RUBBLE)
    away = replace(
        run, traces=run.traces.assign(hub_x=run.traces["hub_x"] + shift, hub_y=run.traces["hub_y"] + shift)
    )
    ground = scenery.ground([away])
    assert min(ground["nx"], ground["ny"]) >= 2
    assert heights(ground).shape == (ground["nx"], ground["ny"])


def test_tracks_that_are_no_numbers_show_the_whole_ground():
    run = made(EDGE)
    lost = replace(run, traces=run.traces.assign(hub_x=run.traces["hub_x"] * np.nan))
    assert scenery.ground([lost])["nx"] == run.ground.heights.shape[0]


@given(
    st.integers(2, 60_000),
    st.integers(2, 3000),
    st.floats(1e-4, 1.0),
    st.floats(1e-4, 1.0),
    st.integers(4, 10_000),
)
def test_however_large_the_ground_its_nodes_are_few_and_at_least_two_each_way(nx, ny, dx, dy, most):
    along, across = scenery._strides((nx, ny), (dx, dy), most)
    left = -(-nx // along), -(-ny // across)
    assert left[0] * left[1] <= most
    assert min(left) >= 2


def test_a_long_smooth_way_keeps_both_sides_of_its_strip():
    run = made(EDGE)
    ground = scenery.ground([run], most=500)
    assert ground["ny"] == 2
    assert 100 < ground["nx"] <= 250
    assert np.ptp(heights(ground)[:, 0]) == pytest.approx(0.016, abs=1e-6)  # the slab is 16 mm


@pytest.mark.parametrize(
    ("wheels", "rows"),
    [
        (SIX, {"left wheels": [0, 2, 4], "right wheels": [1, 3, 5]}),
        ("{front: {at: [90 mm, 0 mm]}, rear: {at: [-90 mm, 0 mm]}}", {"middle wheels": [0, 1]}),
        (
            "{left: {at: [0 mm, 80 mm]}, right: {at: [0 mm, -80 mm]}}",
            {"left wheels": [0], "right wheels": [1]},
        ),
    ],
)
def test_rovers_of_two_and_six_wheels_are_seen_from_each_side(wheels, rows):
    run = made(ROVER.format(wheels=wheels))
    found = {row["word"]: row["wheels"] for row in scenery.rows_of_wheels(run)}
    names = [str(name) for name in run.traces["wheel"].values]
    assert {word: len(own) for word, own in found.items()} == {word: len(own) for word, own in rows.items()}
    shown = scenery.wheels(run)
    assert [wheel["name"] for wheel in shown] == names
    assert len({(wheel["colour"], str(wheel["dash"])) for wheel in shown}) == len(names)
    for wheel in shown:
        assert tuple(wheel["at"]) == run.scenario.rover.place(wheel["name"]).at


def test_a_wheel_without_its_tyre_is_smaller_from_then_on():
    lost = "[{at: 0.1 s, kind: tyre_off, wheel: rear_left, radius: 20 mm}]"
    run = made(f"{{base: cross_slope.yaml, change: {{duration: 0.3 s, events: {lost}}}}}")
    radii = {wheel["name"]: wheel["radii"] for wheel in scenery.wheels(run)}
    assert radii.pop("rear_left") == [[0.0, 0.034], [pytest.approx(0.1, abs=0.01), pytest.approx(0.02)]]
    assert list(radii.values()) == [[[0.0, 0.034]]] * 3


def test_every_condition_has_a_look_and_every_patch_its_word():
    run = made(RUBBLE)
    assert len({look["word"] for look in scenery.looks()}) == 6
    assert [patch["word"] for patch in scenery.patches(run)] == ["the film"]
