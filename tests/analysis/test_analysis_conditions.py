"""What a wheel was doing, row by row: each condition, hysteresis, least durations, and which one counts."""

from itertools import pairwise

import numpy as np
import pytest
from analysis_runs import wheel_rows

from drivesim.analysis.conditions import (
    AIRBORNE,
    CONDITIONS,
    DRAGGED,
    GRIPPING,
    OUT_OF_STEP,
    SLIPPING,
    STALLED,
    wheel_conditions,
)

INTERVAL = 0.01  # s, so that 0.05 s are 5 rows, 0.2 s are 20 and 0.3 s are 30
ROWS = 200
INDEX = np.arange(ROWS)


def codes(forced=False, **values):
    rows = wheel_rows(ROWS, **values)
    return wheel_conditions(rows, INTERVAL, even_load=1.5, forced=np.array([forced]))[:, 0]


def between(first, last, inside, outside):
    """Return a column that is ``inside`` from row ``first`` up to, not including, ``last``."""
    return np.where((first <= INDEX) & (last > INDEX), inside, outside)


def spans(column):
    """Return (condition, first row, one past its last) of each stretch that is not gripping."""
    edges = [0, *(np.flatnonzero(np.diff(column)) + 1), len(column)]
    return [(CONDITIONS[column[a]], int(a), int(b)) for a, b in pairwise(edges) if column[a] != GRIPPING]


def test_a_wheel_that_rolls_under_load_grips():
    assert spans(codes()) == []
    assert (
        spans(codes(commanded_speed=0.0, wheel_speed=0.0, hub_speed=0.0)) == []
    )  # standing as told is no stall


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({"slip_ratio": between(50, 100, 0.21, 0.0)}, "slipping"),
        ({"slip_ratio": between(50, 100, -0.21, 0.0)}, "slipping"),
        ({"normal_load": between(50, 100, 0.0149, 1.5)}, "airborne"),  # less than 1 % of the even share
        ({"wheel_speed": between(50, 100, 0.19, 4.0)}, "stalled"),  # 5 % of 4 rad/s is 0.2
        ({"wheel_speed": between(50, 100, -0.19, 4.0)}, "stalled"),
        ({"drive_force": between(50, 100, -0.13, 0.5)}, "dragged"),  # over 10 % of 1.2 N
        (
            {
                "commanded_speed": -4.0,
                "wheel_speed": -4.0,
                "hub_speed": -0.136,
                "drive_force": between(50, 100, 0.13, -0.5),
            },
            "dragged",
        ),
    ],
)
def test_each_condition_is_seen_where_it_holds(values, expected):
    assert spans(codes(**values)) == [(expected, 50, 100)]


@pytest.mark.parametrize(
    "values",
    [
        {"slip_ratio": 0.19},
        {"normal_load": 0.0151},
        {"wheel_speed": 0.21},
        {"drive_force": -0.11},
        {
            "drive_force": -0.5,
            "hub_speed": -0.136,
        },  # rolling back against the command is not being dragged along
        {"commanded_speed": 0.0, "wheel_speed": 0.0, "drive_force": -0.5},
    ],
)
def test_just_short_of_a_condition_the_wheel_grips(values):
    assert spans(codes(**values)) == []


def test_slipping_and_dragging_hold_on_until_well_below_their_threshold():
    slip = np.select([INDEX < 50, INDEX < 80, INDEX < 120], [0.0, 0.3, 0.17], 0.14)
    assert spans(codes(slip_ratio=slip)) == [("slipping", 50, 120)]
    assert spans(codes(slip_ratio=np.where(INDEX < 120, 0.17, 0.0))) == []  # never began
    drag = np.select([INDEX < 50, INDEX < 80, INDEX < 120], [0.0, -0.2, -0.08], -0.05)
    assert spans(codes(drive_force=drag)) == [("dragged", 50, 120)]


def test_a_stall_must_last_a_fifth_of_a_second_and_counts_from_its_first_row():
    assert spans(codes(wheel_speed=between(50, 69, 0.0, 4.0))) == []
    assert spans(codes(wheel_speed=between(50, 70, 0.0, 4.0))) == [("stalled", 50, 70)]


def test_conditions_shorter_than_50_ms_take_on_the_one_before():
    assert spans(codes(normal_load=between(50, 54, 0.0, 1.5))) == []
    assert spans(codes(normal_load=between(50, 55, 0.0, 1.5))) == [("airborne", 50, 55)]
    # also between two others: a landing of 40 ms in a long flight is no landing
    load = np.where((INDEX >= 50) & (INDEX < 150) & ~((INDEX >= 90) & (INDEX < 94)), 0.0, 1.5)
    assert spans(codes(normal_load=load)) == [("airborne", 50, 150)]


def test_a_pole_slip_is_remembered_for_300_ms_and_only_a_forced_wheel_can_be_out_of_step():
    slips = np.where(INDEX >= 50, 1.0, 0.0)
    assert spans(codes(forced=True, pole_slips=slips)) == [("out_of_step", 50, 81)]
    assert spans(codes(forced=False, pole_slips=slips)) == []
    again = np.where(INDEX >= 60, 2.0, slips)
    assert spans(codes(forced=True, pole_slips=again)) == [("out_of_step", 50, 91)]
    assert spans(codes(forced=True, pole_slips=7.0 + 0 * INDEX)) == [
        ("out_of_step", 0, 31)
    ]  # slipped in the first row


def test_where_several_hold_the_graver_one_counts():
    """The order: gripping, dragged, slipping, stalled, out of step, airborne."""
    worse = {
        DRAGGED: {"drive_force": -0.5},
        SLIPPING: {"slip_ratio": -0.9},
        STALLED: {"wheel_speed": 0.0},
        OUT_OF_STEP: {"pole_slips": INDEX * 1.0 + 1},
        AIRBORNE: {"normal_load": 0.0},
    }
    values = {}
    for code, more in worse.items():
        values |= more
        assert (codes(forced=True, **values) == code).all(), CONDITIONS[code]


def test_wheels_do_not_mix():
    both = np.concatenate(
        [wheel_rows(ROWS), wheel_rows(ROWS, normal_load=between(50, 100, 0.0, 1.5))], axis=1
    )
    found = wheel_conditions(both, INTERVAL, 1.5, np.array([False, False]))
    assert found.shape == (ROWS, 2)
    assert spans(found[:, 0]) == []
    assert spans(found[:, 1]) == [("airborne", 50, 100)]
