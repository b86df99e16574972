"""Words above and beside panels keep apart: flags along time, and levels with their words at the right."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivesim.plots.flags import plant
from drivesim.plots.levels import Level, split

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
