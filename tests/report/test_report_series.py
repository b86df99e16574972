"""Long traces as few points: nothing that stood out is lost."""

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from report_runs import EDGE, made, numbers, tiled

from drivesim.analysis.conditions import AIRBORNE, GRIPPING, SLIPPING, STALLED
from drivesim.report.series import Thin, channels, packed, traces, worst

values = st.one_of(st.floats(-1e6, 1e6, width=32), st.just(math.nan))
series = st.integers(1, 70).flatmap(lambda n: arrays(float, n, elements=values))


@given(series, st.integers(2, 40))
@example(np.full(9, np.nan), 2)
@example(np.arange(41.0), 40)
@example(np.arange(41.0)[::-1].copy(), 40)
def test_every_stretch_keeps_its_lowest_and_highest_value_in_their_order(whole, points):
    thin = Thin.to(whole.size, points)
    kept, shown = thin.kept, thin.extremes(whole)
    assert shown.size == kept.size
    if whole.size <= points:
        assert thin.each == 1
        assert np.array_equal(shown, whole, equal_nan=True)
        return
    assert kept.size <= points + points % 2
    assert np.all(np.diff(kept) >= 0)
    assert kept[-1] < whole.size
    for i, start in enumerate(range(0, whole.size, thin.each)):
        stretch, pair = whole[start : start + thin.each], shown[2 * i : 2 * i + 2]
        known = stretch[~np.isnan(stretch)]
        if not known.size:
            assert np.isnan(pair).all()
            continue
        assert (pair.min(), pair.max()) == (known.min(), known.max())
        falls = np.flatnonzero(stretch == known.min())[0] > np.flatnonzero(stretch == known.max())[0]
        assert list(pair) == ([known.max(), known.min()] if falls else [known.min(), known.max()])


@given(st.integers(1, 100_000), st.integers(1, 5000))
def test_never_more_points_than_asked_and_times_rise(rows, points):
    kept = Thin.to(rows, points).kept
    assert 1 <= kept.size <= max(2, points)
    assert np.all(np.diff(kept[:-1]) > 0)
    assert kept[-1] >= kept[-2 if kept.size > 1 else -1]  # a last stretch of one row stands twice


@given(arrays("f4", st.tuples(st.integers(1, 5), st.integers(1, 4)), elements=st.floats(width=32)))
def test_packed_numbers_come_back_bit_for_bit(whole):
    assert numbers(packed(whole)).tobytes() == whole.astype("<f4").tobytes()


def test_a_short_run_is_shown_as_it_was_recorded():
    run = made(EDGE)
    found = traces(run, 4000)
    assert found["each"] == 1
    for channel in channels():
        name = channel["name"]
        if name in run.traces:
            own = run.traces[name].values.astype("f4").ravel()
            assert np.array_equal(numbers(found["channels"][name]), own, equal_nan=True), name
    assert np.array_equal(numbers(found["condition"], "u1"), run.traces["condition"].values.ravel())


CROSS = "{base: cross_slope.yaml, change: {duration: 1 s, rover.wheel.tyre.side_friction_ratio: 0.8}}"
SLOPES = """
name: a heading on a slope
rover: rovers/crawler.yaml
drive: drives/speed_loop.yaml
ground:
  length: 1 m
  behind: 1 m
  width: 1 m
  features: [{kind: ramp, start: -1 m, end: 1 m, slope: 8 deg, cross_slope: 12 deg}]
start: {heading: %s deg}
commands: [{at: 0.1 s, forward: 0.1 m/s}]
duration: 0.2 s
"""


def test_a_wheel_held_sideways_uses_its_grip_too():
    run = made(CROSS)
    use = numbers(traces(run, 4000)["channels"]["traction_use"]).reshape(-1, 4)
    limit = run.traces["friction_limit"].values
    along, across = run.traces["drive_force"].values / limit, run.traces["side_force"].values / limit / 0.8
    assert np.allclose(use**2, along**2 + across**2, atol=1e-6)  # how far on the way to the ellipse
    # standing on a slope of 15 degrees across and 3 along: the least its wheels must hold, as a share of their load
    share = (use * limit).sum(axis=1) / run.traces["normal_load"].values.sum(axis=1)
    assert share[:10].mean() >= 0.95 * math.tan(math.radians(15))
    assert np.abs(along[:10]).max() < 0.1


@pytest.mark.parametrize("heading", [0, 70, 90, 180, -120])
def test_the_normal_leans_as_the_ground_does_along_the_heading(heading):
    run = made(SLOPES % heading)
    found = numbers(traces(run, 4000)["channels"]["normal_ahead"]).reshape(-1, 4)
    ground, yaw = run.ground, run.traces["yaw"].values[:, None]
    assert np.allclose(np.degrees(yaw), heading, atol=1)
    up_x, up_y = (float(np.median(slope)) for slope in np.gradient(ground.heights, ground.dx, ground.dy))
    true = -(up_x * np.cos(yaw) + up_y * np.sin(yaw)) / math.sqrt(1 + up_x**2 + up_y**2)
    assert np.abs(true).max() > 0.1
    assert np.allclose(found, true, atol=2e-3)


def test_a_stall_is_not_lost_in_hours_of_driving_and_other_conditions_hide_less():
    codes = np.full((20_000, 2), GRIPPING, "i1")
    codes[::7, 1] = AIRBORNE
    codes[9_001:9_003, 1] = SLIPPING
    codes[12_345:12_348, 1] = STALLED
    thin = Thin.to(20_000, 100)
    kept, found = thin.kept, worst(codes, thin)
    assert found.shape == (100, 2)
    assert (found[:, 0] == GRIPPING).all()
    for row, code in ((9_001, SLIPPING), (12_345, STALLED)):
        place = np.flatnonzero(kept <= row)[-1]
        assert found[place, 1] == code
        assert (found[:, 1] == code).sum() == 1
    assert np.array_equal(worst(codes, Thin.to(20_000, 20_000)), codes)


def test_the_share_of_grip_and_the_angle_turned_are_what_they_say():
    run = made(EDGE)
    found = traces(run, 4000)["channels"]
    use, limit = numbers(found["traction_use"]), run.traces["friction_limit"].values.ravel()
    on = limit > 0.01
    own = np.hypot(*(run.traces[f"{way}_force"].values.ravel()[on] for way in ("drive", "side"))) / limit[on]
    assert np.allclose(use[on], np.minimum(own, 1.0), atol=1e-6)
    assert np.isnan(use[limit < 1e-3]).all()
    turned = numbers(found["turned"]).reshape(-1, 4)
    mean = run.traces["wheel_speed"].values.mean(axis=0) * 4.0  # speed times duration
    assert np.allclose(turned[-1], mean, rtol=1e-3)


def test_a_long_run_keeps_its_peaks_within_the_points_allowed():
    long = tiled(made(EDGE), 20_000)
    found = traces(long, 4000)
    assert numbers(found["time"]).size <= 4000
    for name in ("motor_torque", "normal_load", "bus_voltage"):
        shown, own = numbers(found["channels"][name]), long.traces[name].values
        assert shown.size <= 4000 * (4 if own.ndim == 2 else 1)
        assert np.isclose(shown.max(), own.max(), rtol=1e-6)
        assert np.isclose(shown.min(), own.min(), rtol=1e-6)
