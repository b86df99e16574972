"""Scenario files → a valid Scenario, or all mistakes at once; imports the models, files and messages."""

from __future__ import annotations

import os

from pydantic import ValidationError

from drivesim import units
from drivesim.errors import ScenarioError
from drivesim.scenario.expected import INCLUDABLE, Spot, part_of
from drivesim.scenario.files import Reader, check_ground_file
from drivesim.scenario.messages import note_all, place_of, steps, unknown_key
from drivesim.scenario.problems import Node, Path, Place, Problems, Source, UnreadableError, one_line
from drivesim.scenario.scenario import Scenario

_LONGEST_PATH = 20  # steps in a dotted path under ``change``


def load_scenario(path: str | os.PathLike[str]) -> Scenario:
    """Return the scenario in the YAML file ``path``, with its base, includes and changes carried out.

    Raises ScenarioError with one line for each mistake: ``file:line: field: what was found, what is allowed``.
    """
    return _load(os.fsdecode(path))


def scenario_from_text(text: str, folder: str | os.PathLike[str] = ".", name: str = "<text>") -> Scenario:
    """Return the scenario in ``text``; files it names are relative to ``folder``, messages call it ``name``.

    Raises ScenarioError as ``load_scenario`` does.
    """
    return _load(name, text, os.fsdecode(folder))


def top_keys(path: str | os.PathLike[str]) -> set[str]:
    """Return the keys at the top of a YAML file, to tell what it is; none where it cannot be read."""
    try:
        top = Reader(Problems()).top(os.fsdecode(path)).value
    except UnreadableError:
        return set()
    return set(top) if isinstance(top, dict) else set()


def located(path: str | os.PathLike[str], error: ScenarioError) -> ScenarioError:
    """Return ``error``, found while building the scenario of ``path``, with file and line of each field it names."""
    problems = Problems()
    reader = Reader(problems)
    tree = Assembly(reader, problems).tree(reader.top(os.fsdecode(path)))
    told = []
    for problem in error.problems:
        field, _, text = problem.partition(": ")
        if field.partition(".")[0] in Scenario.model_fields:
            place = place_of(steps(field), tree)
            problem = f"{one_line(place.source.shown)}:{place.line}: {field}: {text}"
        told.append(problem)
    return ScenarioError(*told)


def _load(name: str, text: str | None = None, folder: str = ".") -> Scenario:
    problems = Problems()
    reader = Reader(problems)
    try:
        top = reader.top(name) if text is None else reader.text(text, Source(name, folder))
        tree = Assembly(reader, problems).tree(top)
    except UnreadableError:
        problems.raise_any()
        raise
    return checked(tree, problems)


def checked(tree: Node, problems: Problems) -> Scenario:
    """Return the scenario of an assembled ``tree``.  Raises ScenarioError with these and all earlier ``problems``."""
    _prepare(tree, problems)
    try:
        scenario = Scenario.model_validate(tree.plain())
    except ValidationError as error:
        note_all(error, tree, problems)
        problems.raise_any()
        raise
    problems.raise_any()
    return scenario


def _prepare(tree: Node, problems: Problems) -> None:
    """Check what the models cannot see: files of the ground, and a word that only their inner form knows."""
    drive = tree.child("drive")
    if drive and isinstance(drive.value, dict) and (inner := drive.value.pop("all_wheels", None)):
        strategy = drive.child("strategy")
        allowed = Spot(("drive", "all_wheels", str(strategy and strategy.value), "strategy")).allowed_keys
        problems.add(inner.key or inner.place, ("drive", "all_wheels"), unknown_key("all_wheels", allowed))
    features = tree.at(("ground", "features"))
    for i, feature in enumerate(features.value if features and isinstance(features.value, list) else []):
        kind, file = feature.child("kind"), feature.child("file")
        if kind and kind.value in ("profile", "height_map") and file and isinstance(file.value, str):
            check_ground_file(file, ("ground", "features", i, "file"), problems)


class Assembly:
    """Puts base, includes and changes together into one tree."""

    def __init__(self, reader: Reader, problems: Problems) -> None:
        self._reader, self._problems = reader, problems

    def tree(self, top: Node) -> Node:
        """Return the whole tree of the scenario file ``top``.  Raises UnreadableError if its base fails."""
        assert isinstance(top.value, dict)
        if part := part_of(set(top.value)):
            text = f"this looks like a {part[-1]} file; a scenario names it under {'.'.join(map(str, part))}:"
            self._problems.stop(top.place, (), text)
        base, change = top.value.pop("base", None), top.value.pop("change", None)
        if base:
            if not isinstance(base.value, str):
                found = units.found(base.value)
                self._problems.stop(
                    base.told_at, ("base",), f"found {found}, needed: the name of a YAML file"
                )
            below = self.tree(self._reader.named_by(base, ("base",)))
            assert isinstance(below.value, dict)
            top.value = below.value | top.value
        self._include(top)
        if change and change.value is not None:
            if not isinstance(change.value, dict):
                found = units.found(change.value)
                text = f"found {found}, needed: dotted paths and values, such as 'rover.mass: 520 g'"
                self._problems.stop(change.told_at, ("change",), text)
            for dotted, value in change.value.items():
                self.set(top, dotted, value)
        return top

    def _include(self, tree: Node) -> None:
        """Put the content of files in the place of their names."""
        for path in INCLUDABLE:
            around = tree.at(path[:-1])
            node = around.child(path[-1]) if around else None
            if not around or not node or not isinstance(node.value, str):
                continue
            assert isinstance(around.value, dict)
            try:
                around.value[str(path[-1])] = self._reader.named_by(node, path)
            except UnreadableError:
                del around.value[str(path[-1])]
                self._problems.unreadable.add(path)

    def set(self, tree: Node, dotted: str, value: Node) -> None:
        """Carry out one change; what it names wrongly is found when the whole is checked."""
        steps = dotted.split(".")
        place = value.key or value.place
        if "" in steps or len(steps) > _LONGEST_PATH or steps[0] in ("base", "change"):
            text = f"found {units.found(dotted)}, needed: a dotted path such as 'rover.mass'"
            self._problems.add(place, ("change",), text)
            return
        holder: Node = tree
        for i, step in enumerate(steps[:-1]):
            inner = self._below(holder, step, place, tuple(steps[:i]))
            if inner is None:
                return
            holder = inner
        self._put(holder, steps[-1], value, tuple(steps[:-1]))
        self._include(tree)

    def _below(self, holder: Node, step: str, place: Place, path: Path) -> Node | None:
        """Return what stands at ``step`` of ``holder``, or a new mapping; None after noting why not."""
        if isinstance(holder.value, dict):
            inner = holder.value.setdefault(step, Node({}, place, place))
            inner.value = {} if inner.value is None else inner.value
            return inner
        index = self._index(holder, step, place, path)
        return None if index is None else holder.child(index)

    def _put(self, holder: Node, step: str, value: Node, path: Path) -> None:
        if isinstance(holder.value, dict):
            holder.value[step] = value
        else:
            index = self._index(holder, step, value.key or value.place, path)
            if index is not None and isinstance(holder.value, list):
                holder.value[index] = value

    def _index(self, holder: Node, step: str, place: Place, path: Path) -> int | None:
        """Return ``step`` as a place in the list ``holder``; None after noting why it is none."""
        if not isinstance(holder.value, list):
            found = units.found(holder.value)
            self._problems.add(place, path, f"found {found}, so that nothing can be changed inside it")
            return None
        if step.isdecimal() and len(step) < 9 and int(step) < len(holder.value):
            return int(step)
        places = f"0 to {len(holder.value) - 1}" if holder.value else "none"
        self._problems.add(
            place, path, f"found the place {units.found(step)} of this list, allowed: {places}"
        )
        return None
