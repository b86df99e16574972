"""Dotted paths into a rover: the number that stands there, and the same scenario with others; imports scenario.

Imports the engine's winding too: a resistance may follow from a conductor's layers.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pydantic_core import PydanticCustomError

from drivesim.engine.winding_build import star_resistance
from drivesim.errors import DrivesimError
from drivesim.scenario import Scenario
from drivesim.scenario.motor import CONSTANTS, Motor
from drivesim.scenario.quantities import Model, nearest
from drivesim.scenario.rover import Rover, WheelPlace

WHEEL = "rover.wheel."
MOTOR = "rover.wheel.motor"
#: fields of the motor that say the same in other words: one is fitted, the others are taken away
FORMS = (
    ("phase_resistance", "terminal_resistance", "conductor"),
    ("phase_inductance", "terminal_inductance"),
    CONSTANTS,
)
FITTED_PARTS = ("rover", "ground")


def value_at(scenario: Scenario, path: str) -> float:
    """Return the number at a dotted path.  Raises DrivesimError, with the nearest path, where there is none."""
    steps = path.split(".")
    if path.startswith(f"{MOTOR}.") and len(steps) == 4:
        return _motor_value(scenario.rover.wheel.motor, steps[-1], path, scenario)
    value = _walk(scenario, steps)
    if isinstance(value, float) and not isinstance(value, bool) and steps[0] in FITTED_PARTS:
        return value
    raise _no_number(scenario, path)


def _no_number(scenario: Scenario, path: str) -> DrivesimError:
    known = numbers(scenario)
    shown = path[:80]
    near = nearest(shown, known) or f"allowed: numbers of the rover and the ground, such as {known[0]}"
    return DrivesimError(f"--free {shown}: found no number there that can be fitted; {near.rstrip()}")


def _motor_value(motor: Motor, name: str, path: str, scenario: Scenario) -> float:
    """Return a number of the motor, also where the file gives it in another form that means the same."""
    own = getattr(motor, name, None)
    if isinstance(own, float):
        return own
    if name in ("terminal_resistance", "phase_resistance"):
        one = _with_motor(motor, {name: 1.0})
        return star_resistance(motor) / star_resistance(one)
    form = next((form for form in FORMS if name in form), None)
    if form is None:
        raise _no_number(scenario, path)
    given = next(f for f in form if getattr(motor, f) is not None)
    raise DrivesimError(f"--free {path}: the file gives {given} instead; give --free {MOTOR}.{given}")


def _walk(part: Any, steps: Sequence[str]) -> Any:
    for step in steps:
        if isinstance(part, Rover) and step == "wheels":
            part = {name: part.wheels.get(name, WheelPlace()) for name in part.wheel_names}
        elif isinstance(part, Model):
            part = getattr(part, step, None)
        else:
            part = part.get(step) if isinstance(part, dict) else None
    return part


def numbers(scenario: Scenario) -> list[str]:
    """Return the paths of all numbers that can be fitted."""

    def inside(part: Any, path: str) -> Iterator[str]:
        if isinstance(part, float) and not isinstance(part, bool):
            yield path
        elif isinstance(part, Rover):
            for name in type(part).model_fields:
                yield from inside(_walk(part, [name]), f"{path}.{name}")
        elif isinstance(part, Model):
            for name in type(part).model_fields:
                yield from inside(getattr(part, name), f"{path}.{name}")
        elif isinstance(part, dict):
            for name, inner in part.items():
                yield from inside(inner, f"{path}.{name}")

    return [path for part in FITTED_PARTS for path in inside(getattr(scenario, part), part)]


def changed(scenario: Scenario, values: Mapping[str, float]) -> Scenario:
    """Return ``scenario`` with the numbers at these paths, unchecked: the limits of a search are kept elsewhere."""
    tree: dict[str, Any] = {}
    for path, value in values.items():
        branch = tree
        *steps, last = path.split(".")
        for step in steps:
            branch = branch.setdefault(step, {})
        branch[last] = value
    result: Scenario = _replaced(scenario, tree)
    if "rover" in tree:
        try:
            rover = result.rover.with_own_wheels()
        except PydanticCustomError as error:
            raise DrivesimError(f"{', '.join(values)}: {error.message()}") from None
        result = result.model_copy(update={"rover": rover})
    return result


def overridden(rover: Rover, path: str) -> list[tuple[str, str]]:
    """Return each wheel with a number of its own instead of that at ``path`` for all wheels, and where that stands."""
    if not path.startswith(WHEEL):
        return []
    mine = path.removeprefix(WHEEL)
    part, _, key = mine.partition(".")
    form = next((form for form in FORMS if part == "motor" and key in form), (key,))
    same = {mine, *(f"{part}.{name}" for name in form if key)}
    return [(name, own) for name, place in rover.wheels.items() for own in place.change if own in same]


def _replaced(part: Any, tree: Mapping[str, Any]) -> Any:
    if isinstance(part, Motor):
        return _with_motor(part, tree)
    if isinstance(part, dict):
        return part | {name: _replaced(part.get(name, WheelPlace()), inner) for name, inner in tree.items()}
    update = {
        name: _replaced(getattr(part, name), inner) if isinstance(inner, dict) else inner
        for name, inner in tree.items()
    }
    return part.model_copy(update=update)


def _with_motor(motor: Motor, values: Mapping[str, float]) -> Motor:
    """Return the motor with these numbers; other forms of the same are taken away."""
    update: dict[str, Any] = dict.fromkeys(dropped(motor, values))
    return motor.model_copy(update=update | dict(values))


def dropped(motor: Motor, values: Mapping[str, float]) -> list[str]:
    """Return the given fields of ``motor`` that say the same as one of ``values`` in another form."""
    return [
        name
        for form in FORMS
        for name in form
        if set(form) & set(values) and name not in values and getattr(motor, name) is not None
    ]
