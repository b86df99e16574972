"""Mistakes that show only when a scenario is built, told at the line they were written."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from drivesim.errors import ScenarioError
from drivesim.scenario import located


@contextmanager
def told_where_written(scenario: Path) -> Iterator[None]:
    """Give every ScenarioError from inside the file and line of ``scenario`` that it is about."""
    try:
        yield
    except ScenarioError as error:
        raise located(scenario, error) from None
