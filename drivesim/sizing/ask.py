"""What is asked of a rover: charge, speed, slope, step and pull, from the caller or the scenario; imports scenario."""

from __future__ import annotations

import math
from dataclasses import dataclass

from drivesim.errors import DrivesimError
from drivesim.scenario.ground import Pavers, Ramp, Step
from drivesim.scenario.scenario import Scenario

MOST_CELLS = 20  # in series, as in a file
USUAL_SPEED = 0.1  # m/s, where neither caller nor scenario says more


@dataclass(frozen=True)
class Ask:
    """A speed [m/s], and what is asked for besides, or None: slope [rad], step [m], level pull [N]."""

    speed: float
    slope: float | None = None
    step: float | None = None
    tow: float | None = None
    speed_given: bool = False  # by the caller


def asked(
    scenario: Scenario, speed: float | None, step: float | None, slope: float | None, tow: float | None
) -> Ask:
    """Return what is asked: what is given, else the fastest command, steepest ramp and highest step of the scenario.

    Raises DrivesimError for what cannot be asked.
    """
    _check("speed", speed, "m/s", "more than 0 m/s")
    _check("step", step, "m", "more than 0 m")
    _check("tow", tow, "N", "more than 0 N")
    _check("slope", slope, "rad", "more than 0 and less than 90 deg", math.pi / 2)
    features, speed_given = scenario.ground.features, speed is not None
    if speed is None:
        speed = (
            max((_speed_of(scenario, i) for i in range(len(scenario.commands))), default=0.0) or USUAL_SPEED
        )
    if slope is None:
        slope = max((f.slope for f in features if isinstance(f, Ramp) and f.slope > 0), default=None)
    if step is None:
        heights = [f.height for f in features if isinstance(f, Step | Pavers) and f.height > 0]
        step = max(heights, default=None)
    return Ask(speed, slope, step, tow, speed_given)


def charged(scenario: Scenario, charge: float | None, cells: int | None = None) -> Scenario:
    """Return ``scenario`` with its battery at ``charge`` (0 to 1), of ``cells`` in series.

    Raises DrivesimError for what no battery is.
    """
    changes: dict[str, float] = {}
    if charge is not None:
        if not (math.isfinite(charge) and 0 < charge <= 1):
            raise DrivesimError(f"charge: found {charge:g}, allowed: more than 0 and at most 1 (100 %)")
        changes["state_of_charge"] = charge
    if cells is not None:
        if not 1 <= cells <= MOST_CELLS:
            raise DrivesimError(f"cells: found {cells}, allowed: 1 to {MOST_CELLS}")
        changes["cells_in_series"] = cells
    battery = scenario.rover.battery.model_copy(update=changes)
    return scenario.model_copy(update={"rover": scenario.rover.model_copy(update={"battery": battery})})


def _check(name: str, value: float | None, unit: str, allowed: str, below: float = math.inf) -> None:
    if value is not None and not 0 < value < below:
        found = f"{math.degrees(value):g} deg" if unit == "rad" else f"{value:g} {unit}"
        raise DrivesimError(f"{name}: found {found}, allowed: {allowed}")


def _speed_of(scenario: Scenario, number: int) -> float:
    """Return the forward speed [m/s] that a command asks for; 0 where it only turns."""
    command = scenario.commands[number]
    if command.left is not None and command.right is not None:
        return abs(command.left + command.right) / 2 * scenario.rover.wheel.radius
    return abs(command.forward or 0.0)
