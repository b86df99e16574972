"""A starter folder on disk: its name looked at, written whole or not at all; imports the files' text and errors."""

from __future__ import annotations

import os
import shutil
import tempfile
import unicodedata
from pathlib import Path
from typing import NamedTuple

from drivesim import units
from drivesim.errors import DrivesimError
from drivesim.scenario.starter_files import ROVER, SCENARIO, starter_files

LONGEST_NAME = 60  # characters; in UTF-8 and with what is put before it a file's name still
#: kinds of characters that no name in a file or on a screen should hold: controls, halves, breaks of a line
_REFUSED = {"Cc", "Cs", "Zl", "Zp"}
_TURNS = set(
    "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff"
)  # the direction of writing, or unseen


class Starter(NamedTuple):
    """The files that were written, and where an older folder was moved to."""

    files: tuple[str, ...]
    kept: Path | None


def name_problem(name: str) -> str:
    """Return why ``name`` is no name for a rover and its folder; empty where it is one."""
    if name in ("", ".", ".."):
        return "needs a name for the rover's folder, such as my_rover"
    shown = units.found(name)
    if len(name) > LONGEST_NAME:
        return f"the name {shown} has {len(name)} characters, allowed: at most {LONGEST_NAME}"
    odd = next((c for c in name if _odd(c)), "")
    if odd:
        return f"the name holds the character {odd!a}, which cannot stand in a name"
    if name.startswith("-"):
        return f"the name {shown} begins with a dash, which commands take for an option"
    if name != name.strip():
        return f"the name {shown} begins or ends with a space"
    return ""


def _odd(character: str) -> bool:
    no_character = ord(character) & 0xFFFE == 0xFFFE
    return unicodedata.category(character) in _REFUSED or character in _TURNS or no_character


def write_starter(folder: Path, ground: str, drive: str, *, force: bool = False) -> Starter:
    """Write the starter files of a rover named like ``folder``, all of them or nothing.

    With ``force`` an older starter there is kept beside it as NAME-old.  Raises DrivesimError.
    """
    if wrong := name_problem(folder.name):
        raise DrivesimError(wrong)
    _check_free(folder, force)
    files = starter_files(folder.name, ground, drive)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        partial = Path(tempfile.mkdtemp(prefix=".new-", dir=folder.parent))
    except OSError as error:
        raise _unwritable(folder, error) from None
    try:
        partial.chmod(0o755)
        for file, text in files.items():
            (partial / file).write_text(text, encoding="utf-8")
        _check_free(folder, force)
        return Starter(tuple(files), _put_in_place(partial, folder))
    except OSError as error:
        raise _unwritable(folder, error) from None
    finally:
        shutil.rmtree(partial, ignore_errors=True)


def _unwritable(folder: Path, error: OSError) -> DrivesimError:
    in_the_way = isinstance(error, FileExistsError | NotADirectoryError)
    reason = "a file stands where a folder is needed" if in_the_way else error.strerror
    return DrivesimError(f"{folder}: cannot be written ({reason})")


def _check_free(folder: Path, force: bool) -> None:
    """Raise DrivesimError unless ``folder`` is free, or an older starter that may be moved aside."""
    if not os.path.lexists(folder):
        return
    if not ((folder / SCENARIO).is_file() and (folder / ROVER).is_file()):
        raise DrivesimError(
            f"{folder} exists and is not a starter of drivesim; it is left alone, give another name"
        )
    if not force:
        raise DrivesimError(f"{folder} exists already; give another name, or --force to move it to -old")


def _put_in_place(partial: Path, folder: Path) -> Path | None:
    """Rename ``partial`` to ``folder``, and return where an older one there was moved to."""
    old = None
    if os.path.lexists(folder):
        old, number = folder.with_name(f"{folder.name}-old"), 1
        while os.path.lexists(old):
            number += 1
            old = folder.with_name(f"{folder.name}-old-{number}")
        folder.rename(old)
    try:
        partial.rename(folder)
    except OSError:
        if old is not None:
            old.rename(folder)
        raise
    return old
