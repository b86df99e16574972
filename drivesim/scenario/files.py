"""Opening the files of a scenario, with limits and plain words for what is wrong; imports only yaml_lines."""

from __future__ import annotations

import difflib
import os
import stat

from drivesim import units
from drivesim.scenario.problems import Node, Path, Place, Problems, Source
from drivesim.scenario.yaml_lines import MAX_BYTES, read_text

MAX_FILES = 50
MAX_CHAIN = 10
MAX_GROUND_BYTES = 200_000_000


class Reader:
    """Opens YAML files and keeps count of them."""

    def __init__(self, problems: Problems) -> None:
        self._problems = problems
        self._opened = 0

    def top(self, name: str) -> Node:
        """Return the content of the file a user named.  Raises UnreadableError after noting why."""
        source = Source(
            name, os.path.dirname(name) or ".", os.path.realpath(name) if "\0" not in name else name
        )
        return self._content(name, source, Place(source, 1), (), "")

    def named_by(self, node: Node, path: Path) -> Node:
        """Return the content of the file whose name is the text of ``node``, relative to the file around it.

        ``path`` is where it will stand in the scenario.  Raises UnreadableError after noting why.
        """
        name, place = str(node.value), node.place
        full = os.path.join(place.source.folder, name)
        shown = os.path.normpath(os.path.join(os.path.dirname(place.source.shown), name))
        identity = os.path.realpath(full) if "\0" not in full else full
        source = Source(shown, os.path.dirname(full) or ".", identity, parent=place.source)
        names = " → ".join(file.shown for file in source.chain)
        if any(file.identity == identity for file in place.source.chain):
            self._problems.stop(place, path, f"these files include each other without end: {names}")
        if len(source.chain) > MAX_CHAIN + 1:
            self._problems.stop(place, path, f"more than {MAX_CHAIN} files deep: {names}")
        return self._content(full, source, place, path, f"found {units.found(name)}, ")

    def _content(self, full: str, source: Source, place: Place, path: Path, found: str) -> Node:
        self._opened += 1
        if self._opened > MAX_FILES:
            self._problems.stop(place, path, f"more than the {MAX_FILES} files allowed for one scenario")
        wrong = _trouble(full, (".yaml", ".yml"))
        data = b""
        if not wrong:
            try:
                with open(full, "rb") as file:
                    data = file.read(MAX_BYTES + 1)
            except OSError as error:
                wrong = f"which cannot be read: {error.strerror}"
        if wrong:
            self._problems.stop(place, path, f"{found}{wrong}" if found else wrong)
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            line = data.count(b"\n", 0, error.start) + 1
            text_ends = len(data) > MAX_BYTES  # a character cut in two by the limit is not the user's mistake
            what = "the file is too large" if text_ends else "the file is not UTF-8 text"
            self._problems.stop(Place(source, line), path, what)
        return self.text(text, source, path)

    def text(self, text: str, source: Source, path: Path = ()) -> Node:
        """Return the mapping written in ``text``.  Raises UnreadableError after noting why."""
        node = read_text(text, source, self._problems, path)
        if not isinstance(node.value, dict):
            found = units.found(node.value)
            self._problems.stop(node.place, path, f"found {found}, needed: keys and values (key: value)")
        return node


def check_ground_file(node: Node, path: Path, problems: Problems) -> None:
    """Note whether the CSV file named by ``node`` is there, and make its name independent of any folder."""
    full = os.path.abspath(os.path.join(node.place.source.folder, str(node.value)))
    wrong = _trouble(full, (".csv", ".txt"), MAX_GROUND_BYTES)
    if wrong:
        problems.add(node.place, path, f"found {units.found(node.value)}, {wrong}")
    node.value = full


def _trouble(full: str, endings: tuple[str, ...], most: int = 0) -> str:
    """Return what keeps ``full`` from being read as a file, in words; empty when nothing does."""
    try:
        status = os.stat(full)
    except FileNotFoundError:
        return f"no such file{_nearest_file(full, endings)}"
    except (OSError, ValueError) as error:
        return f"which cannot be read: {getattr(error, 'strerror', None) or error}"
    if stat.S_ISDIR(status.st_mode):
        return "which is a folder; a file is needed"
    if not stat.S_ISREG(status.st_mode):
        return "which is not an ordinary file"
    if most and status.st_size > most:
        return f"which has {status.st_size / 1e6:.0f} MB, allowed: at most {most / 1e6:.0f} MB"
    return ""


def _nearest_file(full: str, endings: tuple[str, ...]) -> str:
    folder, name = os.path.split(full)
    try:
        names = [entry for entry in os.listdir(folder or ".")[:2000] if entry.endswith(endings)]
    except (OSError, ValueError):
        return ""
    close = difflib.get_close_matches(name[:100], names, n=1, cutoff=0.6)
    return f"; did you mean '{close[0]}'?" if close else ""
