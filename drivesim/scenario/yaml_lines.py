"""YAML text → values that know their lines, and back; knows nothing of scenarios, imports only problems.

The text is read event by event, so that size, depth and aliases are bounded before anything is built.  Plain
words follow the core schema of YAML 1.2: ``yes`` and ``1:30`` are text, and there is no infinity or NaN.
"""

from __future__ import annotations

import re
from typing import Any, NoReturn

import yaml

from drivesim.scenario.problems import Node, Path, Place, Problems, Source

MAX_DEPTH = 40
MAX_NODES = 50_000
MAX_BYTES = 1_000_000

#: what the parser says, and what it means to someone who writes a scenario
_WORDS = {
    "cannot start any token": "no value begins with a character such as @ ` %; use quotes",
    "mapping values are not allowed": "there is a second ':' in this line, or the indentation is wrong",
    "incompatible YAML document": "this version of YAML is not known; leave the %YAML line out",
    "unexpected end of stream": "a quote is opened and never closed",
    "could not find expected ':'": "a ':' is missing after the key",
    "block end": "the indentation is wrong",
    "expected key": "the indentation is wrong, or a ':' is missing",
    "expected '-' indicator": "this line is no list item ('- ...') as those before it are",
}
_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_NOT_TEXT = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_NULL = re.compile(r"~|null|Null|NULL|")
_BOOL = re.compile(r"true|True|TRUE|false|False|FALSE")
_INT = re.compile(r"[-+]?[0-9]{1,20}")
_FLOAT = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]{1,3})?")
_TAGS = {"null": _NULL, "bool": _BOOL, "int": _INT, "float": _FLOAT}


def plain_value(text: str) -> bool | int | float | str | None:
    """Return what a word without quotes means."""
    if _NULL.fullmatch(text):
        return None
    if _BOOL.fullmatch(text):
        return text.lower() == "true"
    if _INT.fullmatch(text):
        return int(text)
    if _FLOAT.fullmatch(text):
        return float(text)
    return text


def read_text(text: str, source: Source, problems: Problems, path: Path = ()) -> Node:
    """Return the one document in ``text``; ``path`` is where it will stand in the scenario.

    Mistakes are noted in ``problems``; those after which reading cannot go on raise UnreadableError.
    """
    text = text.removeprefix("\ufeff")
    if len(text.encode("utf-8", "replace")) > MAX_BYTES:
        problems.stop(
            Place(source, 1), path, f"the file is larger than the {MAX_BYTES // 1_000_000} MB allowed"
        )
    odd = _NOT_TEXT.search(text)
    if odd:
        line = text.count("\n", 0, odd.start()) + 1
        problems.stop(Place(source, line), path, f"found the character {odd[0]!a}, which no text file holds")
    return _Composer(text, source, problems).document(path)


class _Composer:
    """Builds nodes from the parser's events."""

    def __init__(self, text: str, source: Source, problems: Problems) -> None:
        self._events = yaml.parse(text, Loader=_LOADER)
        self._text, self._source, self._problems = text, source, problems
        self._anchors: dict[str, Node | None] = {}
        self._count = 0
        self._line = 1

    def document(self, path: Path) -> Node:
        self._next(path)  # start of the stream
        event = self._next(path)
        if isinstance(event, yaml.StreamEndEvent):
            self._problems.stop(Place(self._source, 1), path, "the file is empty")
        root = self._node(self._next(path), path, 1)
        self._next(path)  # end of the document
        if not isinstance(self._next(path), yaml.StreamEndEvent):
            self._stop(path, "a second document begins here ('---'); a file holds one")
        if root.value is None:
            self._problems.stop(Place(self._source, 1), path, "the file is empty")
        return root

    def _next(self, path: Path) -> Any:
        event: Any
        try:
            event = next(self._events)
        except yaml.YAMLError as error:
            if isinstance(error, yaml.MarkedYAMLError) and error.problem_mark is not None:
                self._line = error.problem_mark.line + 1
            self._stop(path, self._in_plain_words(error))
        except (ValueError, OverflowError):  # the parser in Python lets these through for odd escapes
            self._stop(path, "this is not YAML")
        self._line = event.start_mark.line + 1
        return event

    def _in_plain_words(self, error: yaml.YAMLError) -> str:
        problem = str(getattr(error, "problem", None) or getattr(error, "reason", None) or error)
        words = next((text for part, text in _WORDS.items() if part in problem), problem)
        lines = self._text.split("\n", self._line)[: self._line]
        if lines and re.match(" *\t", lines[-1]):
            words = "a tab indents this line; use blanks"
        start = getattr(error, "context_mark", None)
        begun = f" (in what begins on line {start.line + 1})" if start and start.line + 1 < self._line else ""
        return f"this is not YAML: {words}{begun}"

    def _here(self) -> Place:
        return Place(self._source, self._line)

    def _stop(self, path: Path, text: str) -> NoReturn:
        self._problems.stop(self._here(), path, text)

    def _node(self, event: Any, path: Path, depth: int) -> Node:
        """Return the node that begins with ``event``."""
        if isinstance(event, yaml.AliasEvent):
            return self._alias(str(event.anchor), path, depth)
        self._grow(path, depth)
        if event.tag not in (None, "!", "tag:yaml.org,2002:str"):
            self._problems.add(self._here(), path, f"found the tag '{event.tag}'; tags are not used here")
        if event.anchor:
            self._anchors[event.anchor] = None
        node = Node(None, self._here())
        if isinstance(event, yaml.ScalarEvent):
            node.value = plain_value(event.value) if event.implicit[0] else event.value
        elif isinstance(event, yaml.SequenceStartEvent):
            node.value = self._list(path, depth)
        else:
            node.value = self._mapping(path, depth)
        if event.anchor:
            self._anchors[event.anchor] = node
        return node

    def _grow(self, path: Path, depth: int) -> None:
        self._count += 1
        if self._count > MAX_NODES:
            self._stop(path, f"more than the {MAX_NODES} values allowed (repeats by alias count too)")
        if depth > MAX_DEPTH:
            self._stop(path, f"nested more than the {MAX_DEPTH} levels allowed")

    def _list(self, path: Path, depth: int) -> list[Node]:
        items: list[Node] = []
        while not isinstance(event := self._next(path), yaml.SequenceEndEvent):
            items.append(self._node(event, (*path, len(items)), depth + 1))
        return items

    def _mapping(self, path: Path, depth: int) -> dict[str, Node]:
        items: dict[str, Node] = {}
        while not isinstance(event := self._next(path), yaml.MappingEndEvent):
            place = Place(self._source, event.start_mark.line + 1)
            key, usable = self._key(event, path)
            node = self._node(self._next(path), (*path, key), depth + 1)
            node.key = place
            if not usable:
                continue
            if key in items:
                first = items[key].key
                text = f"this key stands here twice, first on line {first.line if first else '?'}"
                self._problems.add(place, (*path, key), text)
            else:
                items[key] = node
        return items

    def _key(self, event: Any, path: Path) -> tuple[str, bool]:
        """Return the key's text, and whether it is a word, after noting why not."""
        if not isinstance(event, yaml.ScalarEvent):
            self._stop(path, "a key must be a word, not an alias, a list or a mapping")
        if event.implicit[0] and event.value == "<<":
            text = "merging with '<<' is not done here; use base, includes or aliases"
        elif event.implicit[0] and not isinstance(plain_value(event.value), str):
            found = event.value[:40] or "nothing"
            text = f"found {found} as a key, allowed: words; if it is a name, quote it"
        else:
            return event.value, True
        self._problems.add(self._here(), path, text)
        return event.value, False

    def _alias(self, anchor: str, path: Path, depth: int) -> Node:
        if anchor not in self._anchors:
            self._stop(path, f"the alias *{anchor} has no anchor &{anchor} before it")
        node = self._anchors[anchor]
        if node is None:
            self._stop(path, f"the alias *{anchor} stands inside itself")
        return self._copy(node, path, depth)

    def _copy(self, node: Node, path: Path, depth: int) -> Node:
        """Return a copy, so that a change in one place leaves the other alone."""
        self._grow(path, depth)
        value = node.value
        if isinstance(value, dict):
            value = {key: self._copy(child, path, depth + 1) for key, child in value.items()}
        elif isinstance(value, list):
            value = [self._copy(child, path, depth + 1) for child in value]
        return Node(value, node.place, node.key)


class _Dumper(yaml.SafeDumper):
    """Writes words without quotes only where ``plain_value`` reads the same text back."""

    yaml_implicit_resolvers: dict[Any, Any] = {}  # noqa: RUF012 - not those of YAML 1.1; filled below

    def ignore_aliases(self, data: Any) -> bool:
        """Never write an alias."""
        return True

    def represent_list(self, data: Any) -> Any:
        """Write a list of words and numbers on one line."""
        short = not any(isinstance(item, list | dict) for item in data)
        return self.represent_sequence("tag:yaml.org,2002:seq", data, flow_style=short)

    def represent_str(self, data: str) -> Any:
        """Write odd characters and line ends as escapes, so that none is taken for a plain line end."""
        return self.represent_scalar("tag:yaml.org,2002:str", data, style=None if data.isprintable() else '"')


_Dumper.add_representer(str, _Dumper.represent_str)
_Dumper.add_representer(list, _Dumper.represent_list)
for _name, _pattern in _TAGS.items():
    _Dumper.add_implicit_resolver(
        f"tag:yaml.org,2002:{_name}", re.compile(rf"(?:{_pattern.pattern})\Z"), None
    )


def write_text(data: dict[str, Any]) -> str:
    """Return ``data`` as YAML that ``read_text`` reads back to the same values."""
    text: str = yaml.dump(data, Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=100)
    return text
