"""Ground measured by the user, read from CSV files; imports only units and errors.

Every mistake raises ScenarioError with one line 'FILE:LINE: column: found …, allowed …'.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drivesim import units
from drivesim.errors import ScenarioError, UnitError

Array = NDArray[np.float64]

MAX_BYTES = 200_000_000
MAX_VALUES = 20_000_000
MAX_SIZE = 10_000.0  # no coordinate lies farther out [m]; more is a wrong unit

_HEADER = re.compile(r"\s*(\w+)\s*\[([^\]]*)\]\s*")


def read_profile(path: Path) -> tuple[Array, Array]:
    """Return rising places x and heights z [m], both of shape (rows,), from a CSV file.

    Its first line names the columns and their units: 'x [m], z [mm]'.  Lines that start with '#' and
    empty lines are passed over.
    """
    rows = _rows(path)
    line, cells = next(rows, (1, []))
    scales = _header(path, line, cells)
    values: list[list[float]] = []
    for line, cells in rows:
        _same_width(path, line, cells, 2)
        row = [
            _number(path, line, name, cell, scale)
            for name, cell, scale in zip("xz", cells, scales, strict=True)
        ]
        if values and row[0] <= values[-1][0]:
            before = _plain(values[-1][0] / scales[0])
            raise _problem(path, line, "column x", cells[0], f"more than the {before} before it")
        values.append(row)
    if len(values) < 2:
        raise _problem(path, line, "rows", len(values), "two or more")
    table = np.array(values)
    return np.ascontiguousarray(table[:, 0]), np.ascontiguousarray(table[:, 1])


def read_height_map(path: Path, unit: str) -> Array:
    """Return heights [m], shape (rows along x, columns along y), from a CSV file of numbers in ``unit``.

    Columns run from right (-y) to left (+y).  Lines that start with '#' and empty lines are passed over.
    """
    try:
        scale = units.parse(f"1 {unit}", "m")
    except UnitError:
        raise _problem(path, 1, "unit", unit, "a unit of length such as mm") from None
    rows: list[Array] = []
    line = 1
    for line, cells in _rows(path):
        _same_width(path, line, cells, rows[0].size if rows else max(2, len(cells)))
        rows.append(np.array([_number(path, line, i + 1, cell, scale) for i, cell in enumerate(cells)]))
        if len(rows) * rows[0].size > MAX_VALUES:
            raise _problem(path, line, "size", f"over {MAX_VALUES:,} heights", "fewer; use a wider spacing")
    if len(rows) < 2:
        raise _problem(path, line, "rows", len(rows), "two or more")
    return np.stack(rows)


def _rows(path: Path) -> Iterator[tuple[int, list[str]]]:
    """Yield line number and cells of each line that is neither empty nor a comment."""
    _readable(path)
    with path.open(encoding="utf-8-sig", errors="replace") as lines:
        for number, text in enumerate(lines, start=1):
            if text.strip() and not text.lstrip().startswith("#"):
                yield number, text.strip().split(",")


def _readable(path: Path) -> None:
    try:
        if path.is_file():
            size = path.stat().st_size
            if size > MAX_BYTES:
                raise _problem(path, 1, "size", f"{size / 1e6:.0f} MB", f"up to {MAX_BYTES / 1e6:.0f} MB")
            with path.open("rb"):
                return
        near = difflib.get_close_matches(path.name, [p.name for p in path.parent.glob("*.csv")], n=1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "no usable name"
        raise _problem(path, 1, "file", reason, "a CSV file that can be read") from None
    found = "no such file" if not path.is_dir() else "a folder"
    hint = f"; did you mean '{_shown(near[0])}'?" if near else ""
    raise _problem(path, 1, "file", found, f"a CSV file{hint}")


def _header(path: Path, line: int, cells: list[str]) -> list[float]:
    matches = [_HEADER.fullmatch(cell) for cell in cells]
    if [m[1] if m else None for m in matches] != ["x", "z"]:
        found = ",".join(cells) or "none"
        raise _problem(path, line, "header", found, "'x [m], z [mm]' with your units in brackets")
    scales = []
    for match in matches:
        assert match is not None
        try:
            scales.append(units.parse(f"1 {match[2]}", "m"))
        except UnitError:
            raise _problem(
                path, line, f"column {match[1]}", f"[{match[2]}]", "a unit of length such as [mm]"
            ) from None
    return scales


def _same_width(path: Path, line: int, cells: list[str], width: int) -> None:
    if len(cells) != width:
        raise _problem(path, line, "columns", len(cells), f"{width} as in the lines before")


def _number(path: Path, line: int, column: str | int, cell: str, scale: float) -> float:
    try:
        value = float(cell) * scale
    except ValueError:
        value = math.nan
    if not abs(value) <= MAX_SIZE or "_" in cell:  # NaN fails too
        limit = _plain(MAX_SIZE / scale)
        raise _problem(path, line, f"column {column}", cell, f"a number within ±{limit}")
    return value


def _plain(value: float) -> str:
    return f"{value:.10g}"


def _shown(found: object) -> str:
    """Return ``found`` on one line and of bounded length."""
    text = str(found).strip()
    text = text if len(text) <= 40 else text[:37] + "..."
    return "".join(c if c.isprintable() else "?" for c in text)


def _problem(path: Path, line: int, column: str, found: object, allowed: str) -> ScenarioError:
    shown = str(found) if isinstance(found, int) else f"'{_shown(found)}'"
    name = "".join(c if c.isprintable() else "?" for c in str(path))
    return ScenarioError(f"{name}:{line}: {column}: found {shown}, allowed {allowed}")
