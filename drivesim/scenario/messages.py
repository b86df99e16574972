"""Pydantic's errors → lines in the user's words, at the user's lines; imports expected and problems."""

from __future__ import annotations

from typing import Any, get_args

from pydantic import ValidationError

from drivesim import units
from drivesim.scenario import quantities as q
from drivesim.scenario.expected import Spot, bare, choices, needed
from drivesim.scenario.problems import Node, Path, Place, Problems
from drivesim.scenario.rover import DEFAULT_WHEELS
from drivesim.scenario.scenario import Scenario


def note_all(error: ValidationError, tree: Node, problems: Problems, root: type[q.Model] = Scenario) -> None:
    """Add a line to ``problems`` for each mistake in ``error``, which arose from ``tree`` read as a ``root``."""
    for item in error.errors(include_url=False):
        for path, text in _told(item, Spot(item["loc"], root), tree):
            if not problems.is_told(path):
                problems.add(place_of(path, tree, item["type"]), path, text)


def unknown_key(name: str, allowed: list[str]) -> str:
    """Return the words for a key that is not among ``allowed``."""
    return f"unknown key; {q.nearest(name, allowed)}allowed: {', '.join(allowed)}"


def _told(item: Any, spot: Spot, tree: Node) -> list[tuple[Path, str]]:
    """Return the paths and words for one error."""
    kind, context = item["type"], item.get("ctx", {})
    path = _where_written(spot.path, tree)
    node = tree.at(path)
    value = node.plain() if node else item["input"]
    found = f"found {units.found(value)}"
    match kind:
        case "rule":
            fields = [(tuple(spot.path) + steps(field), text) for field, text in context["problems"]]
            return [(_where_written(where, tree), text) for where, text in fields]
        case "union_tag_invalid" | "union_tag_not_found":
            return [_wrong_choice(spot, tree)]
        case "missing" if isinstance(path[-1], int):
            return [(path[:-1], f"too few values; needed: {needed(spot.around)}")]
        case "too_short" if isinstance(value, list) and len(value) >= context["min_length"]:
            return []  # its entries were refused, and told one by one
        case "missing" if path[0] == "events" and path[-1] == "wheel":
            text = f"is missing; give the name of a wheel: {', '.join(_wheel_names(tree))}"
        case "missing":
            text = f"is missing; give {needed(spot.kind)}"
        case "extra_forbidden":
            text = unknown_key(str(path[-1]), spot.allowed_keys)
        case "quantity":
            text = context["text"]
        case "value_error":
            text = str(context["error"])
        case "literal_error":
            text = q.unknown(value, [str(word) for word in get_args(bare(spot.kind))])
        case "greater_than_equal" | "less_than_equal":
            text = f"{found}, allowed: {spot.limits}"
        case "string_too_short" | "string_too_long" | "too_short" | "too_long":
            text = f"found {_size(value)}, allowed: {_limit(context)}"
        case "string_type" if isinstance(value, int | float):
            text = f"{found}, needed: text; write it in quotes"
        case _ if kind.endswith(("_type", "_parsing", "_from_float")):
            text = f"{found}, needed: {needed(spot.kind)}"
        case _:
            text = f"{found}; {item['msg']}"
    return [(path, text)]


def steps(field: str) -> Path:
    """Return the path that a dotted field names."""
    return tuple(int(step) if step.isdecimal() else step for step in field.split(".")) if field else ()


def _wheel_names(tree: Node) -> list[str]:
    """Return the names of the rover's wheels as far as they can be read from ``tree``."""
    wheels, wheelbase = tree.at(("rover", "wheels")), tree.at(("rover", "wheelbase"))
    named = list(wheels.value) if wheels and isinstance(wheels.value, dict) else []
    placed = wheelbase is None or wheelbase.value is None
    return named if named and placed else list(DEFAULT_WHEELS)


def _size(value: Any) -> str:
    return f"{len(value)} {'characters' if isinstance(value, str) else 'values'}"


def _limit(context: dict[str, Any]) -> str:
    if "min_length" in context:
        return f"at least {context['min_length']}"
    return f"at most {context['max_length']}"


def _wrong_choice(spot: Spot, tree: Node) -> tuple[Path, str]:
    """Return path and words for a missing or unknown strategy or kind."""
    key, words = choices(spot.kind)
    path = _where_written((*spot.path, key), tree)
    node = tree.at(path)
    if node is None:
        return path, f"is missing; allowed: {', '.join(words)}"
    return path, q.unknown(node.plain(), list(words))


def _where_written(path: Path, tree: Node) -> Path:
    """Return ``path``, or for what one wheel's drive takes over from the common settings, the path there."""
    if path[:2] != ("drive", "overrides") or len(path) < 4 or tree.at(path):
        return path
    common = ("drive", *path[3:])
    own, all_wheels = tree.at((*path[:3], "strategy")), tree.at(("drive", "strategy"))
    same = own is None or (all_wheels is not None and own.value == all_wheels.value)
    return common if same or tree.at(common) else path


def place_of(path: Path, tree: Node, kind: str = "") -> Place:
    """Return the line to name: of the value, or of what should hold it."""
    node = tree
    for i, step in enumerate(path):
        inner = node.child(step)
        if inner is None:
            return node.told_at
        node = inner
        if kind == "extra_forbidden" and i + 1 == len(path) and node.key:
            return node.key
    return node.told_at
