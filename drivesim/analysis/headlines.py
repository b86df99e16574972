"""The headline figures of a summary: bars that a run must meet, and how they move when the step is halved."""

from __future__ import annotations

import difflib
import operator
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from drivesim import units
from drivesim.analysis.measures import MEASURES
from drivesim.errors import DrivesimError, UnitError

#: the figures by which a halved step is judged
HEADLINES = (
    "distance", "progress", "turned", "stuck", "energy", "energy_per_metre", "circulating_force",
    "circulating_power", "peak_temperature", "lowest_bus_voltage",
)  # fmt: skip

#: sizes below which a figure says nothing, so that its relative change does not either
NEGLIGIBLE = {
    "m": 1e-3,
    "rad": 0.02,
    "s": 0.02,
    "J": 0.01,
    "J/m": 0.01,
    "N": 0.01,
    "W": 1e-3,
    "degC": 0.0,
    "V": 0.0,
}

_COMPARE = {">=": operator.ge, "<=": operator.le, ">": operator.gt, "<": operator.lt}
_FORM = re.compile(r"\s*([a-z_]+)\s*(>=|<=|>|<)\s*(.+)")


@dataclass(frozen=True)
class Requirement:
    """A bar such as "distance > 2 m"."""

    text: str
    name: str
    sign: str
    value: float

    @classmethod
    def parse(cls, text: str, said: str = "--require") -> Requirement:
        """Read a bar; raises DrivesimError that says what is allowed, after where it was ``said``."""
        match = _FORM.fullmatch(text)
        if match is None:
            raise DrivesimError(f"{said}: found '{text}', needed: NAME > VALUE, such as 'distance > 2 m'")
        name, sign, value = match.groups()
        if name not in MEASURES:
            near = difflib.get_close_matches(name, MEASURES, n=1)
            hint = f"; did you mean '{near[0]}'?" if near else ""
            raise DrivesimError(f"{said}: '{name}' is not one of {', '.join(MEASURES)}{hint}")
        try:
            bar = units.parse(value, MEASURES[name].unit)
        except UnitError as error:
            raise DrivesimError(f"{said}: '{text}': {error}") from None
        return cls(text.strip(), name, sign, bar)

    def met(self, figures: Mapping[str, float | None]) -> bool:
        """Tell whether a run's ``figures`` (of ``MEASURES``) meet the bar; one that it does not have never does."""
        found = figures[self.name]
        return found is not None and bool(_COMPARE[self.sign](found, self.value))


def change(first: float, second: float, unit: str) -> float | None:
    """Return how far two values of a figure lie apart, as a share of the second; None where both are negligible."""
    if max(abs(first), abs(second)) <= NEGLIGIBLE[unit]:
        return None
    return abs(second - first) / max(abs(second), NEGLIGIBLE[unit])


def changes(summary: dict[str, Any], other: dict[str, Any]) -> dict[str, tuple[float, float, str]]:
    """Return (first, second, unit) of every headline figure that both summaries have."""
    first, second = summary["figures"], other["figures"]
    found = {name: (first[name], second[name], MEASURES[name].unit) for name in HEADLINES}
    return {name: (a, b, unit) for name, (a, b, unit) in found.items() if a is not None and b is not None}
