"""The headline figures of a summary: bars that a run must meet, and how they move when the step is halved."""

from __future__ import annotations

import difflib
import operator
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from drivesim import units
from drivesim.errors import DrivesimError, UnitError

#: name → (unit, where it stands in the summary)
HEADLINES: dict[str, tuple[str, Callable[[dict[str, Any]], float | None]]] = {
    "distance": ("m", lambda s: s["distance_m"]),
    "progress": ("m", lambda s: s["progress_m"]),
    "turned": ("rad", lambda s: s["turned_rad"]),
    "stuck": ("s", lambda s: s["stuck_s"]),
    "energy": ("J", lambda s: s["energy_drawn_J"]),
    "energy_per_metre": ("J/m", lambda s: s["energy_per_metre_J"]),
    "circulating_force": ("N", lambda s: s["fighting"]["force_mean_N"]),
    "circulating_power": ("W", lambda s: s["fighting"]["power_mean_W"]),
    "peak_temperature": ("degC", lambda s: max(w["peak_temperature_degC"] for w in s["wheels"].values())),
    "lowest_bus_voltage": ("V", lambda s: s["lowest_bus_voltage_V"]),
}

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
    def parse(cls, text: str) -> Requirement:
        """Read a bar; raises DrivesimError that says what is allowed."""
        match = _FORM.fullmatch(text)
        if match is None:
            raise DrivesimError(f"--require: found '{text}', needed: NAME > VALUE, such as 'distance > 2 m'")
        name, sign, value = match.groups()
        if name not in HEADLINES:
            near = difflib.get_close_matches(name, HEADLINES, n=1)
            hint = f"; did you mean '{near[0]}'?" if near else ""
            raise DrivesimError(f"--require: '{name}' is not one of {', '.join(HEADLINES)}{hint}")
        try:
            bar = units.parse(value, HEADLINES[name][0])
        except UnitError as error:
            raise DrivesimError(f"--require: '{text}': {error}") from None
        return cls(text.strip(), name, sign, bar)

    def found(self, summary: dict[str, Any]) -> float | None:
        """Return the run's own figure, None where it has none."""
        return HEADLINES[self.name][1](summary)

    def met(self, summary: dict[str, Any]) -> bool:
        """Tell whether the run meets the bar; a figure that the run does not have never does."""
        found = self.found(summary)
        return found is not None and bool(_COMPARE[self.sign](found, self.value))


def change(first: float, second: float, unit: str) -> float | None:
    """Return how far two values of a figure lie apart, as a share of the second; None where both are negligible."""
    if max(abs(first), abs(second)) <= NEGLIGIBLE[unit]:
        return None
    return abs(second - first) / max(abs(second), NEGLIGIBLE[unit])


def changes(summary: dict[str, Any], other: dict[str, Any]) -> dict[str, tuple[float, float, str]]:
    """Return (first, second, unit) of every headline figure that both summaries have."""
    found = {name: (get(summary), get(other), unit) for name, (unit, get) in HEADLINES.items()}
    return {name: (a, b, unit) for name, (a, b, unit) in found.items() if a is not None and b is not None}
