"""An append-only file of finished runs that survives being killed; knows nothing of what a run is.

One line a run: a checksum, a blank, JSON.  A line is ``[key, number, values]`` with the number of a line before it,
``{"number": …, "names": […]}``, that says what the values are, or ``[key, reason]`` for a run that could not be made.
What a killed process left half written has no valid checksum and is dropped.
"""

from __future__ import annotations

import contextlib
import json
import os
import time
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from drivesim.errors import RunError

SYNC_EVERY = 2.0  # s between the times at which the disk is told to keep what was written

Outcome = dict[str, float] | str  # measures, or why there are none


class Store:
    """Finished runs of one folder and one state of the code; use it as a context."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.known: set[bytes] = set()  # keys of all runs in the file
        self.dropped = 0  # damaged lines
        self._numbers: dict[tuple[str, ...], int] = {}
        self._synced = time.monotonic()

    def __enter__(self) -> Store:
        self._file = open(self.path, "a+b")
        try:
            _lock(self._file, self.path)
            self._mend()
        except BaseException:
            self._file.close()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        with contextlib.suppress(OSError):
            self.sync()
        self._file.close()

    def add(self, key: str, outcome: Outcome) -> None:
        """Append one finished run: whole, or after a kill not at all."""
        if isinstance(outcome, str):
            self._write([key, outcome])
        else:
            names = tuple(outcome)
            if names not in self._numbers:
                self._numbers[names] = max(self._numbers.values(), default=-1) + 1
                self._write({"number": self._numbers[names], "names": names})
            self._write([key, self._numbers[names], [float(value) for value in outcome.values()]])
        self.known.add(bytes.fromhex(key))
        if time.monotonic() - self._synced > SYNC_EVERY:
            self.sync()

    def sync(self) -> None:
        """Make sure that what was added outlives a power failure."""
        self._file.flush()
        os.fsync(self._file.fileno())
        self._synced = time.monotonic()

    def read(self) -> Iterator[tuple[bytes, Outcome]]:
        """Go through all runs in the order in which they were finished, one at a time."""
        self._file.flush()
        with self.path.open("rb") as file:
            names: dict[int, list[str]] = {}
            for line in file:
                item = _checked(line)
                if isinstance(item, dict):
                    names[item["number"]] = item["names"]
                elif item is not None and (len(item) == 2 or item[1] in names):
                    outcome = item[1] if len(item) == 2 else dict(zip(names[item[1]], item[2], strict=True))
                    yield bytes.fromhex(item[0]), outcome

    def _write(self, item: object) -> None:
        text = json.dumps(item, ensure_ascii=False, separators=(",", ":")).encode()
        self._file.write(b"%08x %s\n" % (zlib.crc32(text), text))
        self._file.flush()

    def _mend(self) -> None:
        """Learn what the file holds, and cut off a line that was never finished."""
        end, whole = 0, True
        self._file.seek(0)
        for line in self._file:
            item, whole = _checked(line), line.endswith(b"\n")
            if isinstance(item, dict):
                self._numbers[tuple(item["names"])] = item["number"]
            elif item is not None and (len(item) == 2 or item[1] in self._numbers.values()):
                self.known.add(bytes.fromhex(item[0]))
            else:
                self.dropped += 1
            end += len(line) if whole else 0
        if not whole:
            self._file.truncate(end)


def _checked(line: bytes) -> Any:
    """Return what a line holds, or None where it is damaged."""
    text = line[9:-1]
    if line[-1:] != b"\n" or line[8:9] != b" ":
        return None
    try:
        return json.loads(text) if int(line[:8], 16) == zlib.crc32(text) else None
    except ValueError:
        return None


def _lock(file: IO[bytes], path: Path) -> None:
    """Keep other processes from writing into the same file.  Raises RunError where one does already."""
    try:
        import fcntl
    except ImportError:  # no such locks on this system: the user takes care
        return
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        raise RunError(f"{path.parent}: another drivesim is at work on it") from None
