"""What the files of many runs have in common: a scenario, grounds, tolerances; read with line numbers as scenarios are.

Comparing, tuning and sweeping extend ``Study`` by what they need; ``load_study`` reads a file as one of them.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import Annotated, Any, Generic, NoReturn, TypeVar

from pydantic import BeforeValidator, Field, ValidationError

from drivesim import units
from drivesim.errors import ScenarioError, UnitError
from drivesim.scenario import quantities as q
from drivesim.scenario.files import Reader
from drivesim.scenario.loader import Assembly, checked, top_keys
from drivesim.scenario.messages import note_all, place_of
from drivesim.scenario.problems import Node, Path, Problems, Source, UnreadableError
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.spread import Spread, Tolerance
from drivesim.scenario.variation import GIVEN, Template, tree_of
from drivesim.scenario.writing import resolved

MOST_GROUNDS = 100_000
SCENARIO_NEEDED = "needed: the name of a scenario's file, or its keys"


def _scenario(value: Any) -> Any:
    if not isinstance(value, str | dict):
        raise ValueError(f"found {units.found(value)}, {SCENARIO_NEEDED}")
    return value


class Study(q.Model):
    """A scenario, driven over ``grounds`` seeds from ``first_ground`` on, with parts drawn anew for each of them."""

    name: str = Field(default="study", min_length=1, max_length=120)
    """Words for the result."""
    question: str = ""
    """What it asks, printed with the answer."""
    scenario: Annotated[Any, BeforeValidator(_scenario)]
    """Name of a scenario's file, or its keys."""
    grounds: int = Field(default=40, strict=True, ge=1, le=MOST_GROUNDS)
    """How many grounds are driven."""
    first_ground: int = Field(default=1001, strict=True, ge=0, le=2_000_000_000)
    """Seed of the first ground; the others follow it."""
    seed: int = Field(default=1, strict=True, ge=0, le=2**62)
    """Seed of the parts that are drawn."""
    spread: dict[str, Spread] = Field(default_factory=dict)
    """Tolerances: dotted path of a number, and how far it varies."""


S = TypeVar("S", bound=Study)


@dataclass(frozen=True)
class Loaded(Generic[S]):
    """A study as read: its model, its scenario, the tolerance of each number drawn, and the file for messages."""

    study: S
    template: Template
    tolerances: dict[str, Tolerance]
    tree: Node
    scenario_tree: Node

    def refuse(self, path: Path, text: str) -> NoReturn:
        """Raise ScenarioError with 'FILE:LINE: path: text'; without file and line where it is of no file."""
        place = place_of(path, self.tree)
        if place.source.shown == GIVEN:
            raise ScenarioError(f"{'.'.join(map(str, path))}: {text}")
        problems = Problems()
        problems.add(place, path, text)
        problems.raise_any()
        raise AssertionError

    def case(self, path: Path) -> Scenario:
        """Return the scenario with the changes (dotted paths → values, or names of files) that stand at ``path``.

        The key ``scenario`` there names another file to begin with.  Raises ScenarioError with file and line.
        """
        changes = self.tree.at(path)
        assert changes is not None
        if not isinstance(changes.value, dict):
            if changes.value is None:
                return self.template.scenario
            self.refuse(path, f"found {units.found(changes.value)}, needed: dotted paths and values")
        problems = Problems()
        assembly = Assembly(Reader(problems), problems)
        own = dict(changes.value)
        try:
            begin = own.pop("scenario", None)
            if begin is not None and not isinstance(begin.value, str | dict):
                self.refuse((*path, "scenario"), f"found {units.found(begin.plain())}, {SCENARIO_NEEDED}")
            tree = self.scenario_tree.copy() if begin is None else _scenario_tree(begin, problems)
            for dotted, node in own.items():
                assembly.set(tree, dotted, node)
        except UnreadableError:
            problems.raise_any()
            raise
        return checked(tree, problems)


def load_study(path: str | os.PathLike[str], model: type[S]) -> Loaded[S]:
    """Return the study in the YAML file ``path`` read as ``model``.

    Raises ScenarioError with one line for each mistake: ``file:line: field: what was found, what is allowed``.
    """
    return _load(os.fsdecode(path), model)


def study_kind(path: str | os.PathLike[str]) -> str:
    """Return what a file of many runs is for: compare, sweep or tune; empty for a scenario and what cannot be read."""
    keys = top_keys(path)
    if "scenario" not in keys:
        return ""
    return "compare" if "cases" in keys else "sweep" if "axes" in keys else "tune"


def study_from_text(
    text: str, model: type[S], folder: str | os.PathLike[str] = ".", name: str = "<text>"
) -> Loaded[S]:
    """Return the study in ``text``; files it names are relative to ``folder``, messages call it ``name``."""
    return _load(name, model, text, os.fsdecode(folder))


def study_of(scenario: Scenario, model: type[S], **fields: Any) -> Loaded[S]:
    """Return a study of ``scenario`` as if written in a file; ``fields``: the other keys of ``model``.

    Raises ScenarioError.
    """
    template = Template(scenario)
    tree = tree_of({"scenario": {}, **fields})
    try:
        study = _validated(tree, model, Problems())
    except ScenarioError as error:
        raise ScenarioError(*(line.removeprefix(f"{GIVEN}:1: ") for line in error.problems)) from None
    return _with_tolerances(study, template, tree, tree_of(resolved(scenario)))


def _load(name: str, model: type[S], text: str | None = None, folder: str = ".") -> Loaded[S]:
    problems = Problems()
    reader = Reader(problems)
    try:
        tree = reader.top(name) if text is None else reader.text(text, Source(name, folder))
        study = _validated(tree, model, problems)
        node = tree.child("scenario")
        assert node is not None
        scenario_tree = _scenario_tree(node, problems)
    except UnreadableError:
        problems.raise_any()
        raise
    scenario = checked(scenario_tree.copy(), problems)
    return _with_tolerances(study, Template(scenario), tree, scenario_tree)


def _validated(tree: Node, model: type[S], problems: Problems) -> S:
    keys = set(tree.value) if isinstance(tree.value, dict) else set()
    if "scenario" not in keys and keys & {"base", "rover", "drive", "commands"}:
        text = "this looks like a scenario; a file of many runs names one under scenario:"
        problems.stop(tree.place, (), text)
    try:
        return model.model_validate(tree.plain())
    except ValidationError as error:
        note_all(error, tree, problems, model)
        problems.raise_any()
        raise


def _scenario_tree(node: Node, problems: Problems) -> Node:
    """Return the assembled tree of the scenario that a node names or holds."""
    reader = Reader(problems)
    top = reader.named_by(node, ("scenario",)) if isinstance(node.value, str) else node.copy()
    return Assembly(reader, problems).tree(top)


def _with_tolerances(study: S, template: Template, tree: Node, scenario_tree: Node) -> Loaded[S]:
    loaded = Loaded(study, template, {}, tree, scenario_tree)
    for path, spread in study.spread.items():
        try:
            loaded.tolerances.update(spread.tolerances(template, path))
        except (ScenarioError, UnitError) as error:
            loaded.refuse(("spread", path), str(error).removeprefix(f"{path}: "))
    return loaded
