"""Rules between the parts of a scenario: what fits together and what cannot; imports the parts' models."""

from __future__ import annotations

from drivesim.scenario import quantities as q
from drivesim.scenario.coordination import FITTING, WHY_NOT
from drivesim.scenario.drive import Drive
from drivesim.scenario.events import (
    BearingSeizes,
    CellSags,
    DriverDies,
    EdgesLost,
    Event,
    SensorSticks,
    TyreOff,
)
from drivesim.scenario.ground import Ground
from drivesim.scenario.motor import MODULATION
from drivesim.scenario.rover import Rover

Problem = tuple[str, str]  # dotted field, text


def problems_between(rover: Rover, ground: Ground, drive: Drive, events: tuple[Event, ...]) -> list[Problem]:
    """Return all problems that show only when the parts are seen together."""
    problems = _coordination(rover, drive) + _soft_ground(rover, ground)
    for i, event in enumerate(events):
        problems += [(f"events.{i}{field}", text) for field, text in _event(event, rover, drive)]
    return problems


def _coordination(rover: Rover, drive: Drive) -> list[Problem]:
    kind = drive.coordination.kind
    for name in rover.wheel_names:
        strategy = drive.for_wheel(name).strategy
        if rover.place(name).driven and strategy not in FITTING[kind]:
            fitting = " or ".join(FITTING[kind])
            text = f"{kind} needs {fitting} on every wheel; {name} has {strategy} ({WHY_NOT[strategy]})"
            return [("drive.coordination.kind", text)]
    return []


def _soft_ground(rover: Rover, ground: Ground) -> list[Problem]:
    if ground.soils and rover.wheel.tyre.width is None:
        where = "ground.soil" if ground.soil else "the soil of ground.patches"
        text = f"is missing, and {where} needs it; give a quantity such as '25 mm'"
        return [("rover.wheel.tyre.width", text)]
    return []


def full_amplitude(rover: Rover) -> float:
    """Return the largest phase amplitude that the full pack gives [V]."""
    return MODULATION[rover.wheel.driver.modulation] * rover.battery.full_voltage


def _event(event: Event, rover: Rover, drive: Drive) -> list[Problem]:
    """Return what is wrong with one event; fields begin with a point."""
    problems: list[Problem] = []
    names = rover.wheel_names
    when = event.when
    if when is not None and when.wheel is not None and when.wheel not in names:
        problems.append((".when", q.unknown(when.wheel, names)))
    if when is not None and when.quantity == "housing_temperature" and rover.wheel.winding.housing is None:
        problems.append((".when", "housing_temperature needs a housing (rover.wheel.winding.housing)"))
    if isinstance(event, CellSags) and event.voltage_drop >= rover.battery.full_voltage:
        text = f"found {event.voltage_drop:g} V, allowed: less than the full pack's {rover.battery.full_voltage:.4g} V"
        problems.append((".voltage_drop", text))
    if not isinstance(event, DriverDies | SensorSticks | EdgesLost | BearingSeizes | TyreOff):
        return problems
    if event.wheel not in names:
        return [*problems, (".wheel", q.unknown(event.wheel, names))]
    if isinstance(event, TyreOff) and event.radius >= rover.wheel.radius:
        text = f"found {event.radius:g} m, allowed: less than the wheel's radius ({rover.wheel.radius:g} m)"
        problems.append((".radius", text))
    if isinstance(event, SensorSticks | EdgesLost) and drive.for_wheel(event.wheel).sensor.kind == "ideal":
        problems.append((".wheel", f"{event.kind} needs a Hall sensor, and {event.wheel} has an ideal one"))
    if isinstance(event, DriverDies) and not rover.place(event.wheel).driven:
        problems.append((".wheel", f"{event.wheel} is not driven, so that no driver can die"))
    return problems
