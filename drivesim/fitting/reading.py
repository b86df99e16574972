"""CSV files of bench logs, with units in the header → ``Log``; imports logs, kinds, needs, spreadsheet, units, errors.

Every mistake is one line 'FILE:LINE: column: found …, allowed …'.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

from drivesim import units
from drivesim.errors import ScenarioError, UnitError
from drivesim.fitting.kinds import ACROSS, KINDS, OF_WHEELS, SETTINGS, Column, Kind
from drivesim.fitting.logs import Array, Log
from drivesim.fitting.needs import missing
from drivesim.fitting.spreadsheet import RESPELLED, USUAL, between, cells_of, lines_of, with_point
from drivesim.scenario.quantities import nearest

MAX_BYTES = 20_000_000
MAX_ROWS = 100_000
OF_A_STEP = 1 / math.sqrt(12)  # standard deviation of what rounding takes
MOST_TOLD = 20  # mistakes of one file
_HEADER = re.compile(r"\s*(\w+)(?:\s+(\w+))?\s*(?:\[([^\]]*)\])?\s*")
_SETTING = re.compile(r"#\s*([a-z_]\w*)\s*:\s*(.*?)\s*")
_DECIMALS = re.compile(r"[+-]?\d*\.?(\d*)(?:[eE]([+-]?\d+))?")


class _Cell(NamedTuple):
    column: Column
    key: str  # the quantity, with a wheel's name where it has one
    unit: str  # as written
    place: int


def read_logs(paths: Sequence[str | os.PathLike[str]], wheels: Sequence[str]) -> list[Log]:
    """Return the logs in the CSV files ``paths``, for a rover with these ``wheels``.

    Raises ScenarioError with a line for each mistake in any of them.
    """
    logs: list[Log] = []
    problems: list[str] = []
    for path in paths:
        try:
            logs.append(read_log(path, wheels))
        except ScenarioError as error:
            problems += error.problems
    if problems:
        raise ScenarioError(*problems)
    names = [log.name for log in logs]
    twice = next((log for log in logs if names.count(log.name) > 1), None)
    if twice:
        raise ScenarioError(f"{twice.path}:1: found two logs named '{twice.name}', allowed: one of each name")
    return logs


def read_log(path: str | os.PathLike[str], wheels: Sequence[str]) -> Log:
    """Return the log in one CSV file.  Raises ScenarioError with a line for each mistake."""
    return _Reader(Path(path), tuple(wheels)).read()


class _Reader:
    """Reads one file and keeps its mistakes."""

    def __init__(self, path: Path, wheels: tuple[str, ...]) -> None:
        self.path, self.wheels = path, wheels
        self.problems: list[str] = []
        self.between = ","  # what stands between two cells

    def read(self) -> Log:
        lines = self._lines()
        settings, kind, header_line, header = self._top(lines)
        cells = self._header(kind, settings, header_line, header)
        self._stop_if_wrong()
        rows, numbers, decimals = self._rows(lines, cells, len(header))
        self._check_rows(kind, cells, rows, numbers, header_line)
        self._stop_if_wrong()
        values = np.array(rows).T
        table: dict[str, Array] = {}
        resolution: dict[str, float] = {}
        written: dict[str, tuple[str, float]] = {}
        for i, cell in enumerate(cells):
            factor = cell.column.factor
            if cell.column.name == "brake_force":
                factor *= float(settings["arm"])
            table[cell.key] = values[i] * factor
            written[cell.key] = (cell.key if " " in cell.key else cell.column.name, factor)
            step = units.parse(f"{10.0 ** -decimals[i]:.1g} {cell.unit}".strip(), cell.column.unit)
            zero = units.parse(f"0 {cell.unit}".strip(), cell.column.unit)
            resolution[cell.key] = abs(step - zero) * factor * OF_A_STEP
        at_motor = any(cell.column.at_motor for cell in cells)
        return Log(
            self.path.stem, kind.name, table, settings, np.array(numbers), resolution, at_motor,
            str(self.path), written
        )  # fmt: skip

    def _stop_if_wrong(self) -> None:
        if self.problems:
            raise ScenarioError(*self.problems)

    def _note(self, line: int, what: str, text: str) -> None:
        if len(self.problems) < MOST_TOLD:
            self.problems.append(f"{shown(str(self.path), 200)}:{line}: {what}: {text}")

    def _lines(self) -> Iterator[tuple[int, str]]:
        try:
            if not self.path.is_file():
                near = [p.name for p in self.path.parent.glob("*.csv")] if self.path.parent.is_dir() else []
                hint = nearest(self.path.name, near)
                found = "a folder" if self.path.is_dir() else "no such file"
                self._note(1, "file", f"found {found}; {hint}allowed: a CSV file")
                self._stop_if_wrong()
            if self.path.stat().st_size > MAX_BYTES:
                self._note(
                    1,
                    "size",
                    f"found {self.path.stat().st_size / 1e6:.0f} MB, allowed: {MAX_BYTES / 1e6:.0f} MB",
                )
                self._stop_if_wrong()
            text = self.path.read_bytes().decode("utf-8-sig")
        except UnicodeDecodeError:
            self._note(1, "file", "found bytes that are not UTF-8 text, allowed: a CSV file in UTF-8")
            raise ScenarioError(*self.problems) from None
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or "no usable name"
            self._note(1, "file", f"found {reason}, allowed: a CSV file that can be read")
            raise ScenarioError(*self.problems) from None
        lines = lines_of(text)
        self.between = between([line for _, line in lines])
        return iter(lines)

    def _top(self, lines: Iterator[tuple[int, str]]) -> tuple[dict[str, float | str], Kind, int, list[str]]:
        """Read the settings and the header's cells."""
        found: dict[str, tuple[int, str]] = {}
        line, text = 1, ""
        for line, text in lines:
            if not text.startswith("#"):
                break
            match = _SETTING.fullmatch(text)
            if match and match[1] in found and match[1] != "note":
                self._note(line, match[1], f"stands here twice, first on line {found[match[1]][0]}")
            elif match:
                found[match[1]] = (line, match[2])
        else:
            self._note(line, "header", "found none, needed: names and units such as 'time [s], speed [rpm]'")
        if "test" not in found:
            text_ = f"is missing; begin with a line such as '# test: no_load'; allowed: {', '.join(KINDS)}"
            self._note(1, "test", text_)
            self._stop_if_wrong()
        test_line, word = found["test"]
        if word not in KINDS:
            self._note(
                test_line,
                "test",
                f"found {units.found(word)}; {nearest(word, list(KINDS))}allowed: {', '.join(KINDS)}",
            )
            self._stop_if_wrong()
        kind = KINDS[word]
        settings = {name: self._setting(kind, name, *where) for name, where in found.items()}
        return settings, kind, line, cells_of(text, self.between, 1)

    def _setting(self, kind: Kind, name: str, line: int, text: str) -> float | str:
        if name not in kind.settings:
            known = ", ".join(kind.settings)
            remark = "; other remarks go without a colon, or after '# note:'"
            self._note(
                line,
                name,
                f"unknown setting of a {kind.name} test; {nearest(name, kind.settings)}allowed: {known}{remark}",
            )
            return text
        words = {"wheel": self.wheels, "across": ACROSS}.get(name)
        if words is not None and text not in words:
            self._note(
                line, name, f"found {units.found(text)}; {nearest(text, words)}allowed: {', '.join(words)}"
            )
        unit = SETTINGS[name]
        if not unit:
            return text
        try:
            value = units.parse(with_point(text, self.between), unit)
        except UnitError as error:
            self._note(line, name, str(error))
            return math.nan
        if unit != "degC" and value <= 0:
            self._note(line, name, f"found {units.found(text)}, allowed: more than 0")
        if name == "state_of_charge" and value > 1:
            self._note(line, name, f"found {units.found(text)}, allowed: at most 1")
        return value

    def _header(
        self, kind: Kind, settings: dict[str, float | str], line: int, header: list[str]
    ) -> list[_Cell]:
        known = {column.name: column for column in kind.columns}
        of_wheels = {column.name: column for column in OF_WHEELS} if kind.name == "rover" else {}
        cells: list[_Cell] = []
        for i, text in enumerate(header):
            match = _HEADER.fullmatch(text)
            if match is None:
                self._note(
                    line,
                    f"column {i + 1}",
                    f"found '{shown(text)}', needed: a name and a unit such as 'speed [rpm]'",
                )
                continue
            name, wheel, unit = match[1], match[2], match[3]
            column = of_wheels.get(name) if wheel else known.get(name)
            if column is None:
                allowed = [*known, *(f"{n} {w}" for n in of_wheels for w in self.wheels)]
                told = f"{name} {wheel}" if wheel else name
                self._note(
                    line,
                    f"column {shown(told)}",
                    f"unknown in a {kind.name} test; {nearest(told, allowed)}allowed: {', '.join(allowed)}",
                )
                continue
            if wheel and wheel not in self.wheels:
                self._note(
                    line,
                    f"column {name} {shown(wheel)}",
                    f"unknown wheel; {nearest(wheel, self.wheels)}allowed: {', '.join(self.wheels)}",
                )
                continue
            key = f"{column.into} {wheel}" if wheel else column.into
            double = next((cell for cell in cells if cell.key == key), None)
            if double:
                self._note(
                    line, f"column {name}", f"says the same as {double.column.name}, allowed: one of them"
                )
                continue
            try:
                if unit is None:
                    raise UnitError("has no unit")
                unit = RESPELLED.get(unit.strip(), unit.strip())
                units.parse(f"1 {unit}", column.unit)
            except UnitError as error:
                what = (str(error).partition(", but ")[2] or str(error)).partition("; write it like")[0]
                usual = USUAL.get(column.unit, column.unit)
                self._note(line, f"column {name}", f"{what}; write it like '{name} [{usual}]'")
                continue
            cells.append(_Cell(column, key, unit, i))
        if not self.problems:
            names, keys = {cell.column.name for cell in cells}, {cell.key for cell in cells}
            for what, text in missing(kind, names, keys, settings, self.wheels):
                self._note(line, what, text)
        return cells

    def _rows(
        self, lines: Iterator[tuple[int, str]], cells: list[_Cell], width: int
    ) -> tuple[list[list[float]], list[int], list[int]]:
        rows: list[list[float]] = []
        numbers: list[int] = []
        decimals = [-99] * len(cells)
        for line, text in lines:
            if text.startswith("#"):
                continue
            row = cells_of(text, self.between, width)
            if len(row) != width:
                self._note(line, "columns", f"found {len(row)}, allowed: {width} as in the header")
                continue
            if len(rows) >= MAX_ROWS:
                self._note(
                    line, "rows", f"found more than {MAX_ROWS}, allowed: fewer; take every tenth or so"
                )
                break
            values = []
            for i, cell in enumerate(cells):
                word = with_point(row[cell.place], self.between)
                values.append(self._number(line, cell, word))
                match = _DECIMALS.fullmatch(word)
                if match:
                    decimals[i] = max(decimals[i], len(match[1]) - int(match[2] or 0))
            rows.append(values)
            numbers.append(line)
        return rows, numbers, decimals

    def _number(self, line: int, cell: _Cell, word: str) -> float:
        name, least = f"column {cell.column.name}", cell.column.least
        if word == "":
            self._note(line, name, "found a blank, needed: a number")
            return math.nan
        try:
            value = units.parse(f"{word} {cell.unit}", cell.column.unit)
        except UnitError:
            self._note(line, name, f"found '{shown(word)}', needed: a number in {cell.unit}")
            return math.nan
        if value < least:
            self._note(
                line,
                name,
                f"found {shown(word)} {cell.unit}, allowed: at least {units.readable(least, cell.column.unit)}",
            )
        return value

    def _check_rows(
        self, kind: Kind, cells: list[_Cell], rows: list[list[float]], lines: list[int], header: int
    ) -> None:
        if len(rows) < kind.least_rows:
            text = f"found {len(rows)}, allowed: at least {kind.least_rows} for a {kind.name} test"
            self._note(lines[-1] if lines else header, "rows", text)
        times = next((i for i, cell in enumerate(cells) if cell.key == "time"), None)
        if times is not None:
            for before, after, line in zip(rows, rows[1:], lines[1:], strict=False):
                if after[times] <= before[times]:
                    text = (
                        f"found {after[times]:.10g} s after {before[times]:.10g} s, allowed: times that rise"
                    )
                    self._note(line, "column time", text)
                    break


def shown(text: str, most: int = 40) -> str:
    """Return what was found in a file on one line and of bounded length."""
    line = "".join(c if c.isprintable() else "?" for c in text.strip())
    return line if len(line) <= most else line[: most - 1] + "…"
