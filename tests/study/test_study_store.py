"""The store of finished runs: what a kill, a bad disk or a second process can do to it."""

from __future__ import annotations

import math

import pytest

from drivesim.errors import RunError
from drivesim.study.store import Store


def key(number: int) -> str:
    return f"{number:032x}"


def filled(path, count=5):
    with Store(path) as store:
        for i in range(count):
            store.add(key(i), {"a": i / 3, "b": -1e-300 * i})
    return path


def numbers(path) -> list[int]:
    with Store(path) as store:
        return [int.from_bytes(found, "big") for found, _ in store.read()]


def test_every_float_comes_back_as_it_was(tmp_path):
    given = {"a": 0.1 + 0.2, "b": 5e-324, "c": math.inf, "d": math.nan, "e": -0.0}
    with Store(tmp_path / "r") as store:
        store.add(key(1), given)
        store.add(key(2), "no ground – file missing")
    with Store(tmp_path / "r") as store:
        (_, found), (_, reason) = store.read()
    assert list(found) == list(given)
    assert [v.hex() for v in found.values()] == [v.hex() for v in given.values()]
    assert reason == "no ground – file missing"


@pytest.mark.parametrize("cut", [1, 7, 40])
def test_a_torn_last_line_is_dropped_and_written_over(tmp_path, cut):
    path = filled(tmp_path / "r")
    path.write_bytes(path.read_bytes()[:-cut])
    with Store(path) as store:
        assert len(store.known) == 4
        assert store.dropped == 1
        store.add(key(9), {"a": 1.0, "b": 2.0})
    assert numbers(path) == [0, 1, 2, 3, 9]
    assert path.read_bytes().count(b"\n") == 6


def test_a_damaged_line_in_the_middle_costs_only_itself(tmp_path):
    path = filled(tmp_path / "r")
    lines = path.read_bytes().splitlines(keepends=True)
    lines[3] = lines[3].replace(b"0.66", b"0.67")
    path.write_bytes(b"".join(lines))
    assert numbers(path) == [0, 1, 3, 4]
    with Store(path) as store:
        assert store.dropped == 1
        assert bytes.fromhex(key(2)) not in store.known


def test_values_whose_names_are_lost_are_not_guessed(tmp_path):
    path = filled(tmp_path / "r")
    path.write_bytes(b"X" + path.read_bytes()[1:])
    with Store(path) as store:
        assert not store.known
        store.add(key(7), {"c": 1.0})
    with Store(path) as store:
        assert [outcome for _, outcome in store.read()][-1] == {"c": 1.0}
        assert bytes.fromhex(key(7)) in store.known


def test_runs_may_have_other_measures(tmp_path):
    with Store(tmp_path / "r") as store:
        store.add(key(1), {"a": 1.0})
        store.add(key(2), {"b": 2.0, "c": 3.0})
        store.add(key(3), {"a": 4.0})
        assert [outcome for _, outcome in store.read()] == [{"a": 1.0}, {"b": 2.0, "c": 3.0}, {"a": 4.0}]


def test_two_processes_do_not_write_into_one_folder(tmp_path):
    pytest.importorskip("fcntl")
    with Store(tmp_path / "r"), pytest.raises(RunError, match="another drivesim is at work"):
        Store(tmp_path / "r").__enter__()
    assert numbers(tmp_path / "r") == []
