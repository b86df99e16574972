"""Axes and designs: order, units, sampling against scipy, and every mistake at its line."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import stats
from scipy.stats import qmc
from sweep_studies import SCENARIOS, made

from drivesim.errors import ScenarioError
from drivesim.scenario import load_scenario

MASS = "axes:\n  rover.mass: "


def test_a_grid_goes_through_every_combination_the_last_axis_fastest():
    design = made().design
    expected = list(itertools.product([0.5, 0.7, 0.9], [0.5, 0.9]))
    assert design.places.tolist() == [list(pair) for pair in expected]
    assert design.shape == (3, 2)
    assert design.words(3) == "mass 700 g, tyre friction 0.9"


def test_what_a_run_gets_is_what_the_table_says():
    setup = made("axes: {rover.mass: {from: 300 g, to: 1 kg, count: 7, scale: log}}\ngrounds: 1\n")
    masses = [scenario.rover.mass for _, _, scenario in setup.runs()]
    assert masses == setup.design.places[:, 0].tolist()
    assert masses == pytest.approx(np.geomspace(0.3, 1.0, 7), rel=1e-12)
    assert (masses[0], masses[-1]) == (0.3, 1.0)


def test_followers_move_along():
    for written, expected in (
        (
            "rover.wheel.tyre.friction: {values: [0.5, 1], also: {rover.wheel.tyre.sliding_friction: 80 %}}",
            0.8,
        ),
        (
            "both: {paths: [rover.wheel.tyre.friction, rover.wheel.tyre.sliding_friction], values: [0.5, 1]}",
            1.0,
        ),
    ):
        setup = made(f"axes: {{{written}}}\ngrounds: 1\n")
        tyres = [scenario.rover.wheel.tyre for _, _, scenario in setup.runs()]
        assert [(t.friction, t.sliding_friction) for t in tyres] == [(0.5, 0.5 * expected), (1.0, expected)]


def test_files_and_changes_have_words_for_places():
    setup = made("""\
axes:
  drive: [drives/speed_loop.yaml, drives/locked_frequency.yaml]
  tyres:
    - {label: smooth, change: {rover.wheel.tyre.friction: 0.7, rover.mass: 500 g}}
    - {label: grippy, change: {rover.wheel.tyre.friction: 1, rover.mass: 900 g}}
grounds: 1
""")
    scenarios = [scenario for _, _, scenario in setup.runs()]
    assert [setup.design.words(i) for i in (0, 3)] == [
        "drive speed loop, tyres smooth", "drive locked frequency, tyres grippy",
    ]  # fmt: skip
    assert [s.drive.all_wheels.strategy for s in scenarios] == ["speed_loop"] * 2 + ["locked_frequency"] * 2
    assert [s.rover.mass for s in scenarios] == [0.5, 0.9] * 2
    assert scenarios[2].drive == load_scenario(SCENARIOS / "rubble_locked.yaml").drive


def test_every_design_drives_the_same_grounds_with_the_same_parts():
    spread = "spread: {rover.wheel.bearing.dry: {normal: 20 %, each: wheel}}\n"
    setup = made("axes: {rover.mass: [500 g, 900 g]}\ngrounds: 3\nfirst_ground: 40\n" + spread)
    seen = {(i, j): s.rover.wheels for i, j, s in setup.runs()}
    assert setup.seeds == [40, 41, 42]
    assert all(seen[0, j] == seen[1, j] for j in range(3))
    assert seen[0, 0] != seen[0, 1]


def test_sampled_designs_are_those_of_scipy():
    axes = "axes:\n  rover.mass: {between: [500 g, 900 g]}\n  rover.wheel.tyre.friction: {from: 0.4, to: 1}\n"
    sobol = made(axes + "design: sobol\ndesigns: 16\nseed: 5\n").design
    points = qmc.Sobol(2, seed=np.random.default_rng(5)).random(16)
    assert sobol.places == pytest.approx(np.array([0.5, 0.4]) + points * [0.4, 0.6], abs=1e-8)
    cube = made(axes + "design: latin_hypercube\ndesigns: 10\n").design
    slices = np.floor((cube.places - [0.5, 0.4]) / [0.4, 0.6] * 10)
    assert np.sort(slices, axis=0).T.tolist() == [list(range(10))] * 2
    again = made(axes + "design: latin_hypercube\ndesigns: 10\nseed: 2\n").design
    assert not np.array_equal(cube.places, again.places)


def test_more_sobol_designs_begin_with_the_same_ones():
    axes = "axes: {rover.mass: {between: [500 g, 900 g]}}\ndesign: sobol\n"
    few, more = (made(f"{axes}designs: {n}\n").design.places for n in (6, 40))
    assert np.array_equal(few, more[:6])


def test_a_normal_axis_has_the_deviation_that_was_given():
    design = made("axes: {rover.mass: {normal: 5 %}}\ndesign: sobol\ndesigns: 4096\ngrounds: 1\n").design
    cut = stats.truncnorm(-3, 3, loc=0.62, scale=0.031)  # tolerances end at three deviations
    assert design.places.mean() == pytest.approx(cut.mean(), rel=1e-4)
    assert design.places.std() == pytest.approx(cut.std(), rel=1e-2)


def test_a_list_is_drawn_from_evenly():
    axes = "axes:\n  drive.braking: [true, false]\n  rover.mass: {between: [500 g, 900 g]}\n"
    places = made(f"{axes}design: sobol\ndesigns: 64\n").design.places[:, 0]
    assert np.bincount(places.astype(int)).tolist() == [32, 32]


def test_a_design_that_cannot_be_built_is_told_not_fatal():
    setup = made("axes: {rover.wheel.radius: [34 mm, 80 mm]}\ngrounds: 2\n")
    made_of = [scenario for _, _, scenario in setup.runs()]
    assert [isinstance(scenario, str) for scenario in made_of] == [False, True] * 2
    assert "rover.wheelbase: found front_left and rear_left 160 mm across" in made_of[1]


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (f"{MASS}[500 g, 600 mm]\n", 7, "axes.rover.mass.1: found '600 mm', but 'mm' is not a unit of this kind"),
        (f"{MASS}[500 g, 0.5 kg]\n", 7, "axes.rover.mass.1: found 500 g twice"),
        (f"{MASS}\n    from: 500 g\n    to: 900\n    count: 3\n", 9, "axes.rover.mass.to: found the bare number 900"),
        (f"{MASS}{{from: 900 g, to: 500 g, count: 3}}\n", 7, "axes.rover.mass.to: found 500 g, allowed: more than"),
        (f"{MASS}{{from: 500 g, to: 900 g}}\n", 7, "count is missing"),
        (f"{MASS}{{normal: 5 %}}\n", 7, "axes.rover.mass.normal: goes with the designs sobol and latin_hypercube"),
        (f"{MASS}{{normal: 5 %, to: 3 kg}}\n", 7, "axes.rover.mass.to: goes with from"),
        (f"{MASS}{{values: [1 kg], count: 3}}\n", 7, "axes.rover.mass.count: found without from and to"),
        ("axes:\n  rover.mas: {from: 1 g, to: 2 g, count: 2}\n", 7, "has no number in this scenario; did you mean"),
        ("axes:\n  rover.mas: [500 g]\n", 7, "rover.mas: unknown key; did you mean 'mass'?"),
        ("axes:\n  drive: [drives/speed_lop.yaml]\n", 7, "no such file; did you mean 'speed_loop.yaml'?"),
        ("axes:\n  rover.battery.cells_in_series: {from: 1, to: 2, count: 3}\n", 7, "found 1.5, needed: whole numbers"),
        ("axes:\n  seed: [1, 2]\n", 7, "axes.seed: the seeds are those of the grounds"),
        (f"{MASS}[1 kg]\ndesign: sobol\n", 8, "design: sobol needs 'designs' too"),
        (f"{MASS}[1 kg]\ndesigns: 8\n", 8, "designs: a grid has as many designs as its axes give"),
        (f"{MASS}[1 kg]\ndesign: sobol\ndesigns: 8\nsensitivity: true\n", 10, "sensitivity: needs two axes or more"),
        (f"{MASS}[1 kg]\nsuccess: distnce > 1 m\n", 8, "success: 'distnce' is not one of"),
        (f"{MASS}[1 kg]\nsuccess: [distance > 1 kg]\n", 8, "'kg' is not a unit of this kind"),
        (f"{MASS}[1 kg]\nmeasures: [stuck, stck]\n", 8, "measures.1: found 'stck'; did you mean 'stuck'?"),
        (f"{MASS}[1 kg]\nspread:\n  rover.mass: {{normal: 5 %}}\n", 9, "spread.rover.mass: the axis rover.mass sets"),
        ("axes:\n  drive: [drives/speed_loop.yaml]\n  drive.slew: [20 rad/s^2]\n", 8, "the axis drive sets drive"),
        ("axes: {rover.mass: {values: [500 g, 700 g], also: {rover.mass: 80 %}}}\n", 6, "sets rover.mass twice"),
        (
            "axes: {t: [{label: bald, change: {rover.wheels.front_left.change: {tyre.friction: 0.2}}}]}\n"
            "spread: {rover.wheel.tyre.friction: {normal: 5 %, each: wheel}}\n",
            7,
            "a part is either drawn or set",
        ),
        ("axes:\n  a: {paths: [rover.mass, rover.wheel.radius], values: [1 kg]}\n", 7, "they cannot move as one"),
        ("axes:\n  tyres:\n    - {label: x, value: 1, change: {}}\n", 8, "either a value or a change"),
    ],
)  # fmt: skip
def test_mistakes_are_told_where_they_stand(text, line, words):
    with pytest.raises(ScenarioError) as caught:
        made(text)
    assert str(caught.value).startswith(f"s.yaml:{line}: "), caught.value
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_an_axis_may_have_the_name_of_a_column():
    """The run's own duration as an axis, beside the measure of that name."""
    design = made(
        "axes: {duration: [1 s, 2 s], distance: {paths: [rover.mass], values: [500 g, 700 g]}}\n"
    ).design
    assert [axis.name for axis in design.axes] == ["duration axis", "distance axis"]
