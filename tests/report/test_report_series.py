"""Long traces as few points: nothing that stood out is lost."""

import math

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from report_runs import EDGE, made, numbers, tiled

from drivesim.report.series import Thin, channels, packed, traces

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


def test_the_share_of_grip_and_the_angle_turned_are_what_they_say():
    run = made(EDGE)
    found = traces(run, 4000)["channels"]
    use, limit = numbers(found["traction_use"]), run.traces["friction_limit"].values.ravel()
    on = limit > 0.01
    own = np.abs(run.traces["drive_force"].values.ravel())[on] / limit[on]
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
