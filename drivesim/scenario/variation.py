"""A scenario whose numbers can be given other values, by dotted paths as under ``change``; imports the models."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import ValidationError

from drivesim import units
from drivesim.errors import ScenarioError
from drivesim.scenario.drive import Drive
from drivesim.scenario.messages import note_all
from drivesim.scenario.problems import Node, Place, Problems, Source
from drivesim.scenario.rover import own_problem
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.writing import resolved

WHEEL, DRIVE = "rover.wheel.", "drive."
GIVEN = "given"  # the name of no file, for what a program gives
OF_ALL = ("drive.coordination", "drive.overrides")  # parts of the drive that no wheel has of its own


class Template:
    """A scenario to vary: the value at each path, and the scenario with other values there."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self._data = resolved(scenario)
        common = {key: value for key, value in self._data["drive"].items() if key in _drive_keys(self._data)}
        for own in self._data["drive"][
            "overrides"
        ].values():  # what a wheel takes over follows the common value
            for key in [key for key, value in own.items() if key in common and value == common[key]]:
                del own[key]

    def number(self, path: str) -> float:
        """Return the value at ``path``, in SI.  Raises ScenarioError where there is no number."""
        value = self._value(path)
        return float(value.split(" ")[0]) if isinstance(value, str) else float(value)

    def unit(self, path: str) -> str:
        """Return the unit of the number at ``path``; "1" for ratios and counts.  Raises ScenarioError as ``number``."""
        value = self._value(path)
        return value.split(" ", 1)[1] if isinstance(value, str) else "1"

    def whole(self, path: str) -> bool:
        """Tell whether the number at ``path`` is a count."""
        return isinstance(self._value(path), int)

    def wheel_path(self, path: str, wheel: str) -> str:
        """Return the path of one wheel's own value of what ``path`` gives for all.

        Raises ScenarioError where a wheel cannot have one.
        """
        if path.startswith(WHEEL):
            if wrong := own_problem(path.removeprefix(WHEEL)):
                raise ScenarioError(f"{path}: as a wheel's own: {wrong}")
            return f"rover.wheels.{wheel}.change.{path.removeprefix(WHEEL)}"
        if path.startswith(DRIVE) and not path.startswith(OF_ALL):
            return f"drive.overrides.{wheel}.{path.removeprefix(DRIVE)}"
        raise ScenarioError(
            f"{path}: is not a wheel's own; allowed for each wheel: paths below rover.wheel or drive"
        )

    def wheel_number(self, path: str, wheel: str) -> float:
        """Return one wheel's own value of what ``path`` gives for all, or the common one, in SI."""
        start, sep, own = self.wheel_path(path, wheel).partition(".change.")
        value: Any = self._data
        for step in [*start.split("."), *(["change", own] if sep else [])]:
            value = value.get(step) if isinstance(value, dict) else None
        if value is None:
            return self.number(path)
        return units.parse(value, self.unit(path))

    def scenario_with(self, changes: Mapping[str, Any], *, seed: int | None = None) -> Scenario:
        """Return the scenario with other values at some paths, all of it checked.

        Floats stand for SI values; anything else is taken as written in a file (without names of files).
        Raises ScenarioError.
        """
        data = dict(self._data)
        for path, value in changes.items():
            self._put(data, path, value)
        if seed is not None:
            data["seed"] = seed
        try:
            return Scenario.model_validate(data)
        except ValidationError as error:
            problems = Problems()
            note_all(error, tree_of(data), problems)
            raise ScenarioError(*(line.split(": ", 1)[1] for line in problems.found)) from None

    def numbers(self) -> Iterator[str]:
        """Give the paths of all numbers, for messages."""
        yield from _numbers(self._data, "")

    def _value(self, path: str) -> Any:
        value: Any = self._data
        for step in path.split("."):
            inside = value if isinstance(value, dict) else {}
            if isinstance(value, list) and step.isdecimal():
                inside = {str(i): item for i, item in enumerate(value)}
            value = inside.get(step)
        if not _is_number(value):
            near = difflib.get_close_matches(path, list(self.numbers()), n=1, cutoff=0.5)
            hint = f"; did you mean '{near[0]}'?" if near else ""
            raise ScenarioError(f"{path}: has no number in this scenario{hint}")
        return value

    def _put(self, data: dict[str, Any], path: str, value: Any) -> None:
        if isinstance(value, float):
            value = self._written(path, value)
        start, sep, own = path.partition(".change.")
        *around, last = [*start.split("."), *(["change", own] if sep else [])]
        holder: Any = data
        for step in around:  # what is changed inside is copied, the rest is shared
            place = _place(holder, step, path)
            inner = holder[place] if isinstance(holder, list) else holder.get(place, {})
            if not isinstance(inner, dict | list):
                raise ScenarioError(f"{path}: nothing can be changed inside {step}")
            holder[place] = inner.copy()
            holder = holder[place]
        holder[_place(holder, last, path)] = value

    def _written(self, path: str, value: float) -> str | float | int:
        """Return an SI value as a file has it."""
        common = path
        if ".change." in path:
            common = WHEEL + path.split(".change.", 1)[1]
        elif path.startswith("drive.overrides."):
            common = DRIVE + path.split(".", 3)[3]
        if self.whole(common):
            if value != round(value):
                raise ScenarioError(f"{path}: found {value:g}, needed: a whole number")
            return round(value)
        return (
            float(units.show(value, "1"))
            if self.unit(common) == "1"
            else units.show(value, self.unit(common))
        )


def _place(holder: dict[str, Any] | list[Any], step: str, path: str) -> Any:
    """Return ``step`` as a key of a mapping or a place in a list.  Raises ScenarioError where the list has none."""
    if isinstance(holder, dict):
        return step
    if not step.isdecimal() or int(step) >= len(holder):
        raise ScenarioError(f"{path}: has no place {units.found(step)} in this scenario")
    return int(step)


def _drive_keys(data: dict[str, Any]) -> set[str]:
    return set(data["drive"]) - set(Drive.model_fields)


def _is_number(value: Any) -> bool:
    if isinstance(value, str):
        number, _, unit = value.partition(" ")
        try:
            float(number)
        except ValueError:
            return False
        return bool(unit)
    return isinstance(value, int | float) and not isinstance(value, bool)


def _numbers(value: Any, path: str) -> Iterator[str]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _numbers(inner, f"{path}.{key}" if path else key)
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            yield from _numbers(inner, f"{path}.{i}")
    elif _is_number(value):
        yield path


def tree_of(value: Any) -> Node:
    """Return plain data as nodes of no file."""
    place = Place(Source(GIVEN, "."), 1)
    if isinstance(value, dict):
        return Node({key: tree_of(inner) for key, inner in value.items()}, place)
    if isinstance(value, list | tuple):
        return Node([tree_of(inner) for inner in value], place)
    return Node(value, place)
