"""From one entry under ``axes`` to an axis in SI, mistakes told at their lines; imports scenario and the axes."""

from __future__ import annotations

import os
import re
from dataclasses import replace
from typing import Any, NoReturn

import numpy as np

from drivesim import units
from drivesim.errors import ScenarioError, UnitError
from drivesim.scenario.files import Reader
from drivesim.scenario.loader import Assembly, checked
from drivesim.scenario.problems import Node, Path, Problems, UnreadableError
from drivesim.scenario.spread import Spread
from drivesim.scenario.study import Loaded
from drivesim.scenario.sweep_file import SweepFile
from drivesim.study import sweep_axes
from drivesim.study.draws import inverse
from drivesim.study.sweep_axes import Axis, Level

SMALL = 0.1  # of a unit; less is told in thousandths
_UNIT = re.compile(r"\s*[+-]?[0-9.]+(?:[eE][+-]?[0-9]+)?\s*(.*?)\s*")


def is_labelled(value: object) -> bool:
    """Tell whether an entry of a list is a word with what it stands for, as ``value`` or as ``change``."""
    return isinstance(value, dict) and "label" in value and set(value) <= {"label", "value", "change"}


class AxisMaker:
    """Makes one axis of what stands in the file, and says what is wrong with it at its line."""

    def __init__(self, loaded: Loaded[SweepFile], name: str, written: Any) -> None:
        self.loaded, self.name, self.written = loaded, name, written
        self.paths: tuple[str, ...] = written.paths or (name,)
        self.place: Path = ("axes", name)

    def axis(self) -> Axis:
        """Return the axis."""
        written = self.written
        if "seed" in self.paths:
            self._refuse((), "the seeds are those of the grounds; give grounds and first_ground")
        if written.values is not None and not self._all_numbers(written.values):
            return self._of_words(written.values)
        unit, whole = self._unit()
        values = written.values
        begin = getattr(written, "from")
        first = next((v for v in (begin, *(values or ()), *(written.between or ())) if v is not None), None)
        nominal = self.loaded.template.number(self.paths[0])
        common = Axis(
            self.name, written.label or label_of(self.paths[0]), unit, _shown(first, unit, nominal),
            shared=(*((path, 1.0) for path in self.paths), *written.also.items()),
            logarithmic=written.scale == "log",
        )  # fmt: skip
        if values is not None:
            places = [self._number(value, unit, ("values", i)) for i, value in enumerate(values)]
            return self._with_levels(common, places, whole)
        if begin is not None:
            return self._over_range(common, begin, unit, whole)
        return self._distributed(common, whole)

    def _over_range(self, common: Axis, begin: object, unit: str, whole: bool) -> Axis:
        start, end = self._number(begin, unit, ("from",)), self._number(self.written.to, unit, ("to",))
        if start >= end:
            self._refuse(("to",), f"found {self.written.to}, allowed: more than from ({begin})")
        if common.logarithmic and start <= 0:
            self._refuse(("from",), f"found {begin}, allowed with scale log: more than 0")
        if self.loaded.study.design == "grid":
            if self.written.count is None:
                self._refuse((), "count is missing: into how many values a grid cuts from … to")
            places = sweep_axes.counted(start, end, self.written.count, common.logarithmic)
            return self._with_levels(common, [float(place) for place in places], whole)
        if self.written.count is not None:
            self._refuse(
                ("count",), f"goes with a grid; {self.loaded.study.design} draws between from and to"
            )
        if whole:
            self._refuse((), "is a count; give a list of whole numbers")
        return replace(common, spread=sweep_axes.between(start, end, common.logarithmic))

    def _distributed(self, common: Axis, whole: bool) -> Axis:
        form = next(key for key in ("normal", "uniform", "between") if getattr(self.written, key) is not None)
        if self.loaded.study.design == "grid":
            self._refuse(
                (form,), "goes with the designs sobol and latin_hypercube; a grid needs a list or from … to"
            )
        if whole:
            self._refuse((form,), "is a count; give a list of whole numbers")
        try:
            spread = Spread(**{form: getattr(self.written, form)})
            template, path = self.loaded.template, self.paths[0]
            tolerance = spread.tolerance(template.number(path), template.unit(path))
        except (ScenarioError, UnitError) as error:
            text = str(error).removeprefix(f"{self.paths[0]}: ")
            self._refuse((form,), text.removeprefix(f"{form}: "))
        return replace(common, spread=lambda share: inverse(tolerance, share))

    def _with_levels(self, common: Axis, places: list[float], whole: bool) -> Axis:
        for i, place in enumerate(places):
            where = ("values", i) if self.written.values is not None else ()
            if place in places[:i]:
                self._refuse(where, f"found {common.word(place)} twice")
            if whole and place != round(place):
                self._refuse(where, f"found {common.word(place)}, needed: whole numbers")
        levels = [Level(common.word(place), place, common.changes(place)) for place in places]
        return replace(common, levels=tuple(levels))

    def _all_numbers(self, values: tuple[Any, ...]) -> bool:
        """Tell whether a list is one of quantities or numbers; a path that holds none takes words."""
        if any(is_labelled(value) for value in values):
            return False
        try:
            self.loaded.template.unit(self.paths[0])
        except ScenarioError:
            return all(isinstance(value, int | float) and not isinstance(value, bool) for value in values)
        return True

    def _unit(self) -> tuple[str, bool]:
        """Return the unit that all paths of this axis have, and whether they are counts."""
        template, found = self.loaded.template, []
        for path in (*self.paths, *self.written.also):
            try:
                found.append((template.unit(path), template.whole(path)))
            except ScenarioError as error:
                where: Path = ("also", path) if path in self.written.also else ()
                self._refuse(where, str(error).removeprefix(f"{path}: ") if len(found) == 0 else str(error))
            if found[-1] != found[0]:
                self._refuse(
                    (),
                    f"{path} is no quantity in {found[0][0]} as {self.paths[0]} is; they cannot move as one",
                )
        return found[0]

    def _number(self, value: object, unit: str, where: Path) -> float:
        try:
            return units.parse(value, unit)
        except UnitError as error:
            self._refuse(where, str(error))

    def _of_words(self, values: tuple[Any, ...]) -> Axis:
        if self.written.also:
            self._refuse(("also",), "goes with numbers only; give each value a change with all its paths")
        levels: list[Level] = []
        for i, value in enumerate(values):
            label, changes = self._word(value, i)
            if label in [level.label for level in levels]:
                self._refuse(("values", i), f"found {label} twice; give each a label of its own")
            levels.append(Level(label, float(i), changes))
        return Axis(self.name, self.written.label or label_of(self.paths[0]), None, ("", 1.0), tuple(levels))

    def _word(self, value: Any, i: int) -> tuple[str, dict[str, Any]]:
        """Return the label of one value and what it sets; each has to make a scenario by itself."""
        place = self._written_at(("values", i))
        node = self.loaded.tree.at(place)
        assert node is not None
        if not is_labelled(value):
            if isinstance(value, dict | list):
                self._refuse(("values", i), "needs a word for tables: {label: …, value: …}")
            return _label(value), self._resolved(dict.fromkeys(self.paths, node))
        if ("value" in value) == ("change" in value):
            self._refuse(("values", i), "give the label either a value or a change with dotted paths")
        if not isinstance(value["label"], str):
            self._refuse(
                ("values", i), f"found {units.found(value['label'])} as a label, needed: text in quotes"
            )
        inner = node.child("value" if "value" in value else "change")
        assert inner is not None
        if "value" in value:
            return value["label"], self._resolved(dict.fromkeys(self.paths, inner))
        if not isinstance(inner.value, dict) or not inner.value:
            found = units.found(inner.plain())
            self._refuse(("values", i), f"found {found} under change, needed: dotted paths and values")
        return value["label"], self._resolved(inner.value)

    def _resolved(self, nodes: dict[str, Node]) -> dict[str, Any]:
        """Return what stands at each path once files are read in; the scenario with all of it has to be valid."""
        problems = Problems()
        tree = self.loaded.scenario_tree.copy()
        assembly = Assembly(Reader(problems), problems)
        try:
            for path, node in nodes.items():
                assembly.set(tree, path, node.copy())
        except UnreadableError:
            problems.raise_any()
            raise
        checked(tree, problems)
        return {path: _at(tree, path) for path in nodes}

    def _written_at(self, where: Path) -> Path:
        """Return the place in the file: a list may stand for its ``values``."""
        node = self.loaded.tree.at(self.place)
        if where[:1] == ("values",) and node is not None and isinstance(node.value, list):
            return (*self.place, *where[1:])
        return (*self.place, *where)

    def _refuse(self, where: Path, text: str) -> NoReturn:
        self.loaded.refuse(self._written_at(where), text)


def _at(tree: Node, path: str) -> Any:
    """Return the plain value at a dotted path."""
    node: Node | None = tree
    for step in path.split("."):
        assert node is not None
        node = node.child(int(step) if isinstance(node.value, list) else step)
    assert node is not None
    return node.plain()


def _shown(value: object, unit: str, nominal: float) -> tuple[str, float]:
    """Return the unit that the user wrote, or one that suits, and how many of it an SI unit is; degC stay degC."""
    match = _UNIT.fullmatch(value if isinstance(value, str) else units.readable(nominal, unit))
    written = match[1] if match else ""
    if not written or unit == "degC":
        return ("" if unit == "1" else unit), 1.0
    if written == unit and not isinstance(value, str) and 0 < abs(nominal) < SMALL:
        written = f"m{unit}"
    try:
        factor = 1.0 / units.parse(f"1 {written}", unit)
    except UnitError:  # of "m1/s" and their like
        return unit, 1.0
    return written, float(np.format_float_scientific(factor, precision=sweep_axes.DIGITS - 1))


def label_of(path: str) -> str:
    """Return a few words for a dotted path: rover.mass → mass, rover.wheel.tyre.friction → tyre friction."""
    steps = path.split(".")
    last = steps[-1:] if steps[:-1] == ["rover"] else steps[-2:]
    return " ".join(last).replace("_", " ")


def _label(value: object) -> str:
    """Return a word for a plain value; of a file name what it says."""
    if value is None or isinstance(value, bool):
        return "none" if value is None else str(value).lower()
    return (
        os.path.splitext(os.path.basename(value))[0].replace("_", " ")
        if isinstance(value, str)
        else f"{value:g}"
    )
