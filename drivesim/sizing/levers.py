"""The design numbers a builder can change, and how each limit follows; imports answers and the scenario's models."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import pandas as pd

from drivesim import units
from drivesim.scenario.motor import MODULATION
from drivesim.scenario.scenario import Scenario
from drivesim.sizing.answers import FOR_EVER, NOW, STATE_WORDS, TASKS, WHEEL_UP, Answers, Rover, answers
from drivesim.sizing.ask import Ask

STEP = 0.01  # of the number that is changed
KELVIN = 1.0  # K, of the ambient temperature
WHEEL = "rover.wheel."
STATES = (NOW, FOR_EVER, WHEEL_UP)
LEFT_OUT = ("slope_speed", "range")  # they follow top speed and endurance

Change = Callable[[Scenario, float], Scenario]


class Lever(NamedTuple):
    """A number to change: its words, and how a scenario with ``factor`` times as much of it is made."""

    words: str
    change: Change


def put(model: Any, path: str, new: Callable[[Any], Any]) -> Any:
    """Return a copy of ``model`` in which ``new`` has been applied to what stands at the dotted ``path``."""
    name, _, rest = path.partition(".")
    inner = getattr(model, name)
    return model.model_copy(update={name: put(inner, rest, new) if rest else new(inner)})


def _scaled(*paths: str) -> Change:
    def change(scenario: Scenario, factor: float) -> Scenario:
        for path in paths:
            scenario = put(scenario, path, lambda value: None if value is None else value * factor)
        return _own_scaled(scenario, paths, factor)

    return change


def _own_scaled(scenario: Scenario, paths: Sequence[str], factor: float) -> Scenario:
    """Return ``scenario`` with the own values of single wheels scaled too, and put anew upon what all share."""
    rover = scenario.rover
    keys = [path.removeprefix(WHEEL) for path in paths if path.startswith(WHEEL)]
    wheels = dict(rover.wheels)
    for name, place in rover.wheels.items():
        own = {key: _times(rover.wheel_at(name), key, factor) for key in keys if key in place.change}
        wheels[name] = place.model_copy(update={"change": place.change | own})
    if not any(place.change for place in wheels.values()):
        return scenario
    scenario = put(scenario, "rover.wheels", lambda _: wheels)
    return put(scenario, "rover", lambda rover: rover.with_own_wheels())


def _times(wheel: Any, key: str, factor: float) -> Any:
    """Return ``factor`` times what ``wheel`` has at ``key`` as a file has it."""
    value = wheel.model_dump(mode="json")
    for step in key.split("."):
        value = value[step]
    if not isinstance(value, str):
        return value if value is None else value * factor
    number, unit = value.split(" ", 1)
    return units.show(float(number) * factor, unit)


def _resistance(scenario: Scenario, factor: float) -> Scenario:
    """Scale each winding's resistance, whatever form it is given in."""
    rover = scenario.rover
    places = {name: rover.wheels.get(name, rover.place(name)) for name in rover.wheel_names}
    wheels = {
        name: place.model_copy(update={"resistance_factor": place.resistance_factor * factor})
        for name, place in places.items()
    }
    return put(scenario, "rover.wheels", lambda _: wheels)


def _magnets(scenario: Scenario, factor: float) -> Scenario:
    """Scale the flux linkage, in each form it is given in."""
    for name in ("flux_linkage", "torque_constant", "back_emf_constant", "speed_constant"):
        by = 1 / factor if name == "speed_constant" else factor
        scenario = _scaled(f"rover.wheel.motor.{name}")(scenario, by)
    return scenario


def _stretched(axis: int) -> Change:
    """Scale the distances between wheels, along (0) or across (1)."""

    def change(scenario: Scenario, factor: float) -> Scenario:
        rover = scenario.rover
        places = {}
        for name in rover.wheel_names:
            place = rover.place(name)
            assert place.at is not None
            at = tuple(v * factor if i == axis else v for i, v in enumerate(place.at))
            places[name] = place.model_copy(update={"at": at})
        return put(scenario, "rover.wheels", lambda _: places)

    return change


def _height(scenario: Scenario, factor: float) -> Scenario:
    """Scale the height of the centre of gravity above the ground."""
    rover = scenario.rover
    drops = sum(rover.place(name).drop for name in rover.wheel_names) / len(rover.wheel_names)
    x, y, z = rover.centre_of_gravity
    height = rover.wheel.radius + z + drops
    return put(scenario, "rover.centre_of_gravity", lambda _: (x, y, z + height * (factor - 1)))


def _amplitude(scenario: Scenario, factor: float) -> Scenario:
    def louder(drive: Any) -> Any:
        if not hasattr(drive, "base_amplitude"):
            return drive
        names = ("base_amplitude", "amplitude_per_hertz")
        return drive.model_copy(update={name: getattr(drive, name) * factor for name in names})

    drive = scenario.drive
    overrides = {name: louder(own) for name, own in drive.overrides.items()}
    new = drive.model_copy(update={"all_wheels": louder(drive.all_wheels), "overrides": overrides})
    return scenario.model_copy(update={"drive": new})


def levers_of(scenario: Scenario) -> dict[str, Lever]:
    """Return the levers of one rover by name; those that it does not have are left out."""
    rover = scenario.rover
    wheels = [rover.wheel_at(name) for name in rover.wheel_names]
    found = {
        "mass": Lever("mass", _scaled("rover.mass")),
        "wheel_radius": Lever("wheel radius", _scaled("rover.wheel.radius")),
        "winding_resistance": Lever("winding resistance (copper)", _resistance),
        "flux_linkage": Lever("flux linkage (magnets)", _magnets),
        "tyre_friction": Lever("tyre friction", _scaled("rover.wheel.tyre.friction")),
        "rolling_resistance": Lever("rolling resistance", _scaled("rover.wheel.tyre.rolling_resistance")),
        "bearing_drag": Lever(
            "bearing drag", _scaled("rover.wheel.bearing.dry", "rover.wheel.bearing.viscous")
        ),
        "wheelbase": Lever("wheelbase", _stretched(0)),
        "track": Lever("track", _stretched(1)),
        "gravity_centre_height": Lever("height of the centre of gravity", _height),
        "cell_resistance": Lever(
            "cell resistance", _scaled("rover.battery.cell_resistance", "rover.battery.diffusion_resistance")
        ),
        "capacity": Lever("cell capacity", _scaled("rover.battery.capacity")),
        "electronics": Lever("electronics' power", _scaled("rover.battery.electronics")),
        "on_resistance": Lever("driver's on-resistance", _scaled("rover.wheel.driver.on_resistance")),
        "thermal_resistance": Lever("thermal resistance", _thermal),
    }
    if any(wheel.driver.current_limit is not None for wheel in wheels):
        found["current_limit"] = Lever("driver's current limit", _scaled("rover.wheel.driver.current_limit"))
    if any(hasattr(scenario.drive.for_wheel(name), "base_amplitude") for name in rover.wheel_names):
        found["amplitude"] = Lever("amplitude of the forced field", _amplitude)
    given = {
        "rolling_resistance": max(wheel.tyre.rolling_resistance for wheel in wheels),
        "electronics": rover.battery.electronics,
        "on_resistance": max(wheel.driver.on_resistance for wheel in wheels),
        "bearing_drag": max(wheel.bearing.dry + wheel.bearing.viscous for wheel in wheels),
    }  # fmt: skip
    return {name: lever for name, lever in found.items() if given.get(name, 1.0) > 0}


def _thermal(scenario: Scenario, factor: float) -> Scenario:
    """Scale the way of the heat to the air, all of it."""
    scenario = _scaled("rover.wheel.winding.thermal_resistance")(scenario, factor)
    if scenario.rover.wheel.winding.housing is None:
        return scenario
    scenario = _scaled("rover.wheel.winding.housing.thermal_resistance")(scenario, factor)
    return _scaled("rover.wheel.winding.housing.area")(scenario, 1 / factor)


def whole_steps(scenario: Scenario) -> dict[str, tuple[str, Scenario]]:
    """Return what can only be changed as a whole, by name: its words and the scenario with it."""
    found = {}
    cells = scenario.rover.battery.cells_in_series
    path = "rover.battery.cells_in_series"
    found["one_cell_more"] = ("one cell more in series", put(scenario, path, lambda n: n + 1))
    if cells > 1:
        found["one_cell_less"] = ("one cell less in series", put(scenario, path, lambda n: n - 1))
    if scenario.rover.wheel.driver.modulation == "sine" and "space_vector" in MODULATION:
        found["space_vector"] = (
            "space-vector modulation",
            _own_scaled(put(scenario, "rover.wheel.driver.modulation", lambda _: "space_vector"), (), 1.0),
        )  # fmt: skip
    return found


def columns() -> list[tuple[str, str]]:
    """Return task and state of each column of the table."""
    return [
        (task, state)
        for state in STATES
        for task, about in TASKS.items()
        if state in about.states and task not in LEFT_OUT and not (state == FOR_EVER and task == "top_speed")
    ]


def column_name(task: str, state: str) -> str:
    """Return the name of a column."""
    return f"{task} {STATE_WORDS[state]}"


def lever_table(
    scenario: Scenario, ask: Ask, base: Answers, lifted: dict[str, int], warm: Any
) -> pd.DataFrame:
    """Return how each limit changes [%], a row a lever: for 1 % more of it (central difference), or for a whole step.

    ``swaps`` tells where another limit takes over within the step.
    """

    def found(changed: Scenario) -> Answers:
        return answers(Rover.of(changed), ask, STATES, warm, lifted, base)[0]

    rows = []
    for name, lever in levers_of(scenario).items():
        low, high = (found(lever.change(scenario, 1 + sign * STEP)) for sign in (-1, 1))
        rows.append(_row(name, lever.words, "+1 %", base, low, high, 2 * STEP))
    low, high = (
        found(scenario.model_copy(update={"ambient": scenario.ambient + d})) for d in (-KELVIN, KELVIN)
    )
    rows.append(_row("ambient", "ambient temperature", "+1 K", base, low, high, 2 * STEP))
    for name, (words, changed) in whole_steps(scenario).items():
        rows.append(_row(name, words, "whole", base, base, found(changed), STEP))
    return pd.DataFrame(rows)


def _row(
    name: str, words: str, change: str, base: Answers, low: Answers, high: Answers, width: float
) -> dict[str, Any]:
    row: dict[str, Any] = {"lever": name, "words": words, "change": change}
    swaps: dict[str, list[str]] = {}
    for task, state in columns():
        at, below, above = base[task, state], low[task, state], high[task, state]
        small = at.value == 0 or not math.isfinite(at.value)
        share = math.nan if small else (above.value - below.value) / at.value
        row[column_name(task, state)] = share * (STEP / width) * 100
        names = dict.fromkeys((below.name, at.name, above.name))
        if len(names) > 1:
            swaps.setdefault(f"{' → '.join(names)} {STATE_WORDS[state]}", []).append(task.replace("_", " "))
    row["swaps"] = "; ".join(f"{change}: {', '.join(tasks)}" for change, tasks in swaps.items())
    return row
