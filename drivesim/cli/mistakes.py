"""Mistakes told better than where they show: at the line they were written, and with the command that is meant."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from drivesim.errors import DrivesimError, ScenarioError
from drivesim.scenario import located
from drivesim.scenario.loader import top_keys

#: the key by which a file of many runs is known, by its command
MARKS = {"compare": "cases", "sweep": "axes", "tune": "gains"}


def check_study(path: Path, command: str = "") -> None:
    """Raise DrivesimError where ``path`` is a file of many runs for another command.

    Without ``command`` a scenario is needed.  A file without any command's key is left to its reader, who knows more.
    """
    keys = top_keys(path)
    if "scenario" not in keys or MARKS.get(command) in keys:
        return
    for other, mark in MARKS.items():
        if mark in keys:
            needed = f"a file for drivesim {command}, with {MARKS[command]}:" if command else "a scenario"
            raise DrivesimError(f"{path}: found a file for drivesim {other}, needed: {needed}")


@contextmanager
def told_where_written(scenario: Path) -> Iterator[None]:
    """Give every ScenarioError from inside the file and line of ``scenario`` that it is about."""
    try:
        yield
    except ScenarioError as error:
        raise located(scenario, error) from None
