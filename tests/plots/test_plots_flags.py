"""Words above and beside panels keep apart: flags along time, and levels with their words at the right."""

import itertools
from types import SimpleNamespace

import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from drivesim.plots.flags import plant
from drivesim.plots.levels import Level, of_battery, of_heat, split
from drivesim.scenario.motor import Battery, Driver, Winding

ROOM, ROWS = 8.0, 6
PLACES = st.tuples(st.floats(0, ROOM), st.floats(0.1, 3))


@given(st.lists(PLACES, max_size=9).map(sorted))
def test_no_words_overlap_and_no_pole_runs_through_words(items):
    flags = plant(items, ROOM, ROWS)
    if flags is None:
        return
    assert [(flag.pole, flag.width) for flag in flags] == items
    for flag in flags:
        assert flag.pole in (flag.left, pytest.approx(flag.left + flag.width))
        assert flag.left >= 0
        assert flag.left + flag.width <= ROOM
        assert 0 <= flag.row < ROWS
    for a, b in itertools.permutations(flags, 2):
        beside = a.left + a.width <= b.left or b.left + b.width <= a.left
        assert a.row != b.row or beside
        through = b.left + 1e-9 < a.pole < b.left + b.width - 1e-9
        assert not (through and a.row >= b.row)  # a pole reaches from below up to its own row


def test_flags_find_room_where_there_is_some():
    assert plant([], ROOM, ROWS) == []
    one_row = [(0.0, 2.0), (2.5, 2.0), (8.0, 2.0)]  # the last can only have its words at the left
    assert [flag.row for flag in plant(one_row, ROOM, ROWS)] == [0, 0, 0]
    assert [flag.row for flag in plant([(1.0, 2.0), (2.0, 2.0)], ROOM, ROWS)] == [1, 0]
    assert plant([(4.0, 9.0)], ROOM, ROWS) is None
    assert plant([(1.0 + 0.1 * k, 6.0) for k in range(ROWS + 1)], ROOM, ROWS) is None


def level(value, peak):
    return Level(value, "limit", "°C", peak, {})


def test_levels_that_something_came_near_to_are_shown_with_those_below():
    """From 20: a level of 120 is near from 60 on (four tenths of the way)."""
    low, middle, high = level(40, 61), level(120, 61), level(200, 61)
    assert split([high, low, middle], 20, 61) == ([low, middle], [high])
    assert split([high, low._replace(peak=59), middle._replace(peak=59)], 20, 59) == (
        [low._replace(peak=59)],
        [high, middle._replace(peak=59)],
    )
    assert split([low._replace(peak=20)], 20, 30) == ([], [low._replace(peak=20)])


def test_a_level_says_its_unit():
    assert level(65, 0).text == "limit 65 °C"


def heat_levels(housing):
    """Return value and peak of each level by its words, where the winding came to 90 degC and a housing to 50 degC."""
    own = {"limit": "110 degC", "adhesive_limit": "100 degC", "magnet_limit": "80 degC", "housing": housing}
    winding = Winding(thermal_resistance="9 K/W", heat_capacity="3 J/K", **own)
    wheel = SimpleNamespace(winding=winding, driver=Driver())
    traces = xr.Dataset({"winding_temperature": ("time", [30.0, 90.0])})
    traces["housing_temperature"] = ("time", [30.0, 50.0 if housing else float("nan")])
    run = SimpleNamespace(scenario=SimpleNamespace(rover=SimpleNamespace(wheel=wheel)), traces=traces)
    return {level.words: (level.value, level.peak) for level in of_heat(run)}


def test_magnets_and_skin_are_held_against_the_housing_where_there_is_one():
    housing = {"thermal_resistance": "5 K/W", "heat_capacity": "4 J/K", "touch_limit": "55 degC"}
    ours = {"winding limit": (110, 90), "adhesive limit": (100, 90)}
    assert heat_levels(housing) == ours | {"magnet limit": (80, 50), "hot to touch": (55, 50)}
    assert heat_levels(None) == ours | {"magnet limit": (80, 90), "hot to touch": (60, 90)}


def test_cells_in_parallel_share_the_current_that_the_level_of_rating_stands_at():
    """Two cells of 1.5 A·h at 4 C each."""
    cells = {
        "cell_resistance": "50 mohm",
        "capacity": "1.5 A*h",
        "discharge_rating": 4,
        "cells_in_parallel": 2,
    }
    rover = SimpleNamespace(battery=Battery(**cells))
    run = SimpleNamespace(
        scenario=SimpleNamespace(rover=rover), traces=xr.Dataset({"battery_current": ("time", [1.0, 7.0])})
    )
    assert [(level.value, level.peak) for level in of_battery(run)] == [(12.0, 7.0)]
    assert rover.battery.current_rating == 12.0
