"""Where a value was written, and the list of a user's mistakes; imports only errors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NoReturn

from drivesim.errors import ScenarioError

MOST_SHOWN = 20
_LONGEST_FIELD = 120

Path = tuple[str | int, ...]  # of a value: keys and list places from the top of the scenario


@dataclass(frozen=True)
class Source:
    """One file of a scenario: its name for messages, its folder, and the file that named it."""

    shown: str
    folder: str
    identity: str = ""  # the real path, to find loops; empty for a text
    parent: Source | None = None

    @property
    def chain(self) -> tuple[Source, ...]:
        """The files that led here, the first one first."""
        return (*(self.parent.chain if self.parent else ()), self)


@dataclass(frozen=True)
class Place:
    """A line of a file."""

    source: Source
    line: int


@dataclass
class Node:
    """A value of a file with its place; mappings and lists hold nodes."""

    value: bool | int | float | str | list[Node] | dict[str, Node] | None
    place: Place
    key: Place | None = None  # where the key before the value is written

    @property
    def told_at(self) -> Place:
        """The line to name in a message: for a mapping or a list that of its key."""
        return self.key if self.key and isinstance(self.value, list | dict) else self.place

    def child(self, step: str | int) -> Node | None:
        """Return what stands at one key or list place, or None."""
        if isinstance(self.value, dict):
            return self.value.get(step) if isinstance(step, str) else None
        if isinstance(self.value, list) and isinstance(step, int) and 0 <= step < len(self.value):
            return self.value[step]
        return None

    def at(self, path: Sequence[str | int]) -> Node | None:
        """Return what stands at ``path`` below, or None."""
        node: Node | None = self
        for step in path:
            node = node.child(step) if node else None
        return node

    def copy(self) -> Node:
        """Return the same values and places in nodes of their own, to be changed."""
        value = self.value
        if isinstance(value, dict):
            value = {key: node.copy() for key, node in value.items()}
        elif isinstance(value, list):
            value = [node.copy() for node in value]
        return Node(value, self.place, self.key)

    def plain(self) -> object:
        """Return the value without places: dict, list or scalar."""
        if isinstance(self.value, dict):
            return {key: node.plain() for key, node in self.value.items()}
        if isinstance(self.value, list):
            return [node.plain() for node in self.value]
        return self.value


class UnreadableError(Exception):
    """Ends the reading of one file; its problem is in the list already.  Never leaves the loader."""


@dataclass
class Problems:
    """The mistakes found so far; each is told once."""

    found: dict[str, Place] = field(default_factory=dict)  # line of text → where
    unreadable: set[Path] = field(default_factory=set)  # paths whose file could not be read: told already

    def add(self, place: Place, path: Path, text: str) -> None:
        """Note one mistake as the line 'FILE:LINE: field.path: text'."""
        dotted = one_line(".".join(str(step) for step in path))[:_LONGEST_FIELD]
        line = (
            f"{one_line(place.source.shown)}:{place.line}: {dotted + ': ' if dotted else ''}{one_line(text)}"
        )
        self.found.setdefault(line, place)

    def stop(self, place: Place, path: Path, text: str) -> NoReturn:
        """Note one mistake after which its file cannot be read on."""
        self.add(place, path, text)
        raise UnreadableError

    def is_told(self, path: Path) -> bool:
        """Tell whether ``path`` lies in a part that could not be read."""
        return any(path[: len(known)] == known for known in self.unreadable)

    def raise_any(self) -> None:
        """Raise ScenarioError with all mistakes in the order of files and lines, if there are any."""
        if not self.found:
            return
        files = list(dict.fromkeys(place.source.shown for place in self.found.values()))
        ordered = sorted(
            self.found.items(), key=lambda item: (files.index(item[1].source.shown), item[1].line)
        )
        lines = [line for line, _ in ordered[:MOST_SHOWN]]
        if len(ordered) > MOST_SHOWN:
            place = ordered[MOST_SHOWN][1]
            lines.append(f"{one_line(place.source.shown)}:{place.line}: and {len(ordered) - MOST_SHOWN} more")
        raise ScenarioError(*lines)


def one_line(text: str) -> str:
    """Return ``text`` on one line, with everything unprintable spelled out."""
    shown = " ".join(text.split())
    return shown if shown.isprintable() else "".join(c if c.isprintable() else ascii(c)[1:-1] for c in shown)
