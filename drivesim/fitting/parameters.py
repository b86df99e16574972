"""The numbers that are fitted: where they stand in the rover's file, their limits, and which logs speak of them.

Imports scenario, places and the logs.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, get_args, get_origin

from drivesim.errors import DrivesimError
from drivesim.fitting.logs import Log
from drivesim.fitting.places import MOTOR, value_at
from drivesim.scenario import Scenario
from drivesim.scenario.expected import Spot, unit_of
from drivesim.scenario.motor import CONSTANTS, Motor
from drivesim.scenario.rover import Rover

WINDING = "rover.wheel.winding"
BEARING = "rover.wheel.bearing"
BATTERY = "rover.battery"
INERTIA = "rover.wheel.inertia"
DRY, VISCOUS = f"{BEARING}.dry", f"{BEARING}.viscous"
#: where a search begins whose number is 0 in the file, by unit
TYPICAL = {
    "N*m": 5e-4,
    "N*m*s/rad": 1e-6,
    "ohm": 0.02,
    "1": 0.01,
    "N*s/m": 1.0,
    "m": 1e-3,
    "rad": 0.01,
    "W": 0.1,
}


@dataclass(frozen=True)
class Parameter:
    """One number to be fitted, in the unit of its place in the file.

    ``value`` is the file's; the search begins at ``start``, counts in ``scale`` and stays between ``lower`` and
    ``upper``.  ``log``: the one log to which it belongs, such as the speed at which a spin-down began, or "".
    """

    path: str
    unit: str
    value: float
    start: float
    scale: float
    lower: float = 0.0
    upper: float = math.inf
    log: str = ""


def resistance_path(motor: Motor) -> str:
    """Return the place of the winding's resistance; a conductor's is fitted as that between two terminals."""
    return f"{MOTOR}.{'terminal_resistance' if motor.phase_resistance is None else 'phase_resistance'}"


def constant_path(motor: Motor) -> str:
    """Return the place of the motor constant that counts."""
    return f"{MOTOR}.{next(name for name in CONSTANTS if getattr(motor, name) is not None)}"


def default_paths(scenario: Scenario, logs: Sequence[Log]) -> list[str]:
    """Return what these logs speak of, by the kinds of their tests and columns."""
    motor, winding = scenario.rover.wheel.motor, scenario.rover.wheel.winding
    kinds = {log.kind for log in logs}
    seen = {(log.kind, channel) for log in logs for channel in log.channels}
    heat_by_copper = {("warm_up", "resistance"), ("warm_up", "voltage")} & seen
    draws = {("no_load", "current"), ("loaded", "current")} & seen
    paths = []
    if kinds & {"locked_rotor", "loaded", "pull_out"} or heat_by_copper:
        paths.append(resistance_path(motor))
    if kinds & {"no_load", "loaded", "back_emf", "pull_out"} or ("locked_rotor", "torque") in seen:
        paths.append(constant_path(motor))
    if draws or "spin_down" in kinds:
        paths += [DRY, VISCOUS]
    if draws and any(log.kind == "spin_down" and "inertia" not in log.settings for log in logs):
        paths.append(INERTIA)
    if "warm_up" in kinds:
        paths += [f"{WINDING}.thermal_resistance", f"{WINDING}.heat_capacity"]
        if winding.housing is not None:
            known = winding.housing.thermal_resistance is not None
            names = ("thermal_resistance", "heat_capacity") if known else ("film_coefficient", "thickness")
            paths += [f"{WINDING}.housing.{name}" for name in names]
    if "cell_pulse" in kinds:
        paths += [f"{BATTERY}.{n}" for n in ("cell_resistance", "diffusion_resistance", "diffusion_time")]
    return paths


def usual_paths(scenario: Scenario) -> list[str]:
    """Return what bench tests speak of, whatever logs there are."""
    motor = scenario.rover.wheel.motor
    heat = [f"{WINDING}.thermal_resistance", f"{WINDING}.heat_capacity"]
    cells = [f"{BATTERY}.{name}" for name in ("cell_resistance", "diffusion_resistance", "diffusion_time")]
    return [resistance_path(motor), constant_path(motor), DRY, VISCOUS, INERTIA, *heat, *cells]


def parameters(scenario: Scenario, logs: Sequence[Log], free: Sequence[str] | None) -> tuple[Parameter, ...]:
    """Return what is to be fitted: ``free``, or what the logs speak of, and what each log has of its own.

    Raises DrivesimError where a path in ``free`` leads to no number, or nothing is to be fitted.
    """
    paths = default_paths(scenario, logs) if free is None else expanded(free, scenario.rover)
    if not paths:
        raise DrivesimError(
            "a rover's log alone does not say what to fit; give --free PATH, such as "
            "--free rover.wheel.tyre.rolling_resistance"
        )
    return (*(parameter(scenario, path) for path in dict.fromkeys(paths)), *own_parameters(scenario, logs))


def own_parameters(scenario: Scenario, logs: Sequence[Log]) -> Iterator[Parameter]:
    """Yield what belongs to one log alone: the speed a spin-down began with, the voltage of a rested cell."""
    for log in logs:
        if log.kind == "spin_down":
            first = max(float(log.table["speed"][0]), 1e-3)
            yield Parameter(f"{log.name}: start_speed", "rad/s", first, first, first, log=log.name)
        elif log.kind == "cell_pulse":
            cells = 1 if log.settings.get("across") == "cell" else scenario.rover.battery.cells_in_series
            rested = max(float(log.table["voltage"].max()) / cells, 0.1)
            yield Parameter(f"{log.name}: open_circuit", "V", rested, rested, 0.1, log=log.name)


def expanded(free: Sequence[str], rover: Rover) -> list[str]:
    """Return the paths with 'wheels.*' written out for each wheel."""
    return [
        path.replace(".wheels.*.", f".wheels.{name}.")
        for path in free
        for name in (rover.wheel_names if ".wheels.*." in path else ("",))
    ]


def parameter(scenario: Scenario, path: str) -> Parameter:
    """Return the number at ``path`` of the file as one to be fitted."""
    value = value_at(scenario, path)
    kind = Spot(tuple(path.split("."))).kind
    unit = unit_of(kind) or "1"
    start = value or (
        scenario.rover.battery.cell_resistance / 2 if path.startswith(BATTERY) else TYPICAL.get(unit, 1e-3)
    )
    scale = abs(start)
    lower, upper = limits(kind)
    least = lower if lower in (0.0, -math.inf) else lower + 1e-9 * scale
    if _open_below(kind):
        least += 1e-4 * scale
    return Parameter(path, unit, value, start, scale, least, upper)


def limits(kind: Any) -> tuple[float, float]:
    """Return the least and the greatest value that a field of ``kind`` allows."""
    lower, upper = -math.inf, math.inf
    for mark in _marks(kind):
        for name in ("gt", "ge"):
            lower = max(lower, getattr(mark, name, -math.inf))
        for name in ("lt", "le"):
            upper = min(upper, getattr(mark, name, math.inf))
    return lower, upper


def _open_below(kind: Any) -> bool:
    return any(hasattr(mark, "gt") for mark in _marks(kind))


def _marks(kind: Any) -> Iterator[Any]:
    """Yield the marks with limits in an annotation, also of one that may be left out."""
    if get_origin(kind) is Annotated:
        base, *marks = get_args(kind)
        for mark in marks:
            yield from getattr(mark, "metadata", (mark,))
        yield from _marks(base)
    elif get_origin(kind) is not None:
        for inner in get_args(kind):
            yield from _marks(inner)
