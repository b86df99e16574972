"""A bench log in SI, as the fit sees it; imports kinds, errors and numpy."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from drivesim.errors import DrivesimError
from drivesim.fitting.kinds import KINDS, OF_WHEELS
from drivesim.scenario.quantities import nearest

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Log:
    """One bench log in SI: ``table`` holds the quantities of ``kinds``, arrays of equal length.

    ``lines``: where each row stands in the file.  ``resolution``: standard deviation of the digits'
    rounding, SI.
    ``written``: the name of each quantity's column, and the factor from there (in SI).
    ``at_motor``: voltages are those at the motor's leads, not those that the driver sets.
    """

    name: str
    kind: str
    table: Mapping[str, Array]
    settings: Mapping[str, float | str] = field(default_factory=dict)
    lines: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    resolution: Mapping[str, float] = field(default_factory=dict)
    at_motor: bool = False
    path: str = ""
    written: Mapping[str, tuple[str, float]] = field(default_factory=dict)

    @property
    def rows(self) -> int:
        """Number of rows."""
        return len(next(iter(self.table.values())))

    @property
    def channels(self) -> tuple[str, ...]:
        """The quantities that are compared with the model, in the order of the table."""
        responses = KINDS[self.kind].responses
        wheels = {column.name for column in OF_WHEELS} if self.kind == "rover" else set()
        names = [name for name in self.table if name in responses or name.partition(" ")[0] in wheels]
        return tuple(names)

    def number(self, name: str, default: float) -> float:
        """Return the setting ``name``, or ``default``."""
        value = self.settings.get(name, default)
        return float(value)

    def as_written(self, name: str, value: float) -> tuple[str, float]:
        """Return the name of the column behind a quantity, and ``value`` as it would stand there, in SI."""
        column, factor = self.written.get(name, (name, 1.0))
        return column, value / factor

    def line(self, row: int) -> int:
        """Return the line of the file in which ``row`` stands; the row's number, from 1, without a file."""
        return int(self.lines[row]) if len(self.lines) else row + 1


def refuse_twice(logs: Sequence[Log]) -> None:
    """Raise DrivesimError where two logs have one name: results are told by it."""
    name, count = Counter(log.name for log in logs).most_common(1)[0]
    if count > 1:
        raise DrivesimError(f"found two logs named '{name}', allowed: one of each name")


def check(log: Log) -> None:
    """Raise DrivesimError where a log made by hand is not one that can be fitted."""
    if log.kind not in KINDS:
        hint = nearest(log.kind, list(KINDS))
        raise DrivesimError(f"{log.name}: found the kind '{log.kind}'; {hint}allowed: {', '.join(KINDS)}")
    if not log.table or not log.channels:
        needed = ", ".join(KINDS[log.kind].responses)
        raise DrivesimError(f"{log.name}: a {log.kind} log needs one at least of: {needed}")
    sizes = Counter(np.shape(values) for values in log.table.values())
    for name, values in log.table.items():
        size = np.shape(values)
        if not isinstance(values, np.ndarray) or size != sizes.most_common(1)[0][0] or len(size) != 1:
            found = f"{size[0]} rows" if len(size) == 1 else type(values).__name__
            raise DrivesimError(f"{log.name}: {name}: found {found}, needed: arrays of equal length")
        bad = np.flatnonzero(~np.isfinite(values))
        if bad.size:
            row = int(bad[0])
            raise DrivesimError(f"{log.name}: {name}: found {values[row]} in row {row + 1}, needed: a number")
