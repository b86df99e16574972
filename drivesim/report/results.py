"""The parts that pages of studies are made of, and ``results_page`` that puts them together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from drivesim.plots.style import wheel_look
from drivesim.report.folder import finite_or_none
from drivesim.report.page import render
from drivesim.report.scenery import DASHES

SCRIPTS = ("data.js", "marks.js", "plotter.js", "tables.js", "results.js")
MOST_ROWS = 500  # of a table in a page
MOST_POINTS = 2000  # of a line in a page
UNITS = {"1": "", "N*m": "N·m", "degC": "°C"}


@dataclass(frozen=True)
class Table:
    """A table: ``words`` of its columns are text and stand left; one with ``tools`` can be sorted and filtered."""

    caption: str
    heads: Sequence[str]
    rows: Sequence[Sequence[str]]
    words: int = 1
    tools: bool = False
    note: str = ""


@dataclass(frozen=True)
class Text:
    """A text to take over into another file."""

    title: str
    text: str
    about: str = ""
    is_open: bool = True


@dataclass(frozen=True)
class Section:
    """A section of a page: lines, a chart, tables, texts, pictures, in this order."""

    title: str
    lines: Sequence[str] = ()
    chart: dict[str, Any] | None = None
    tables: Sequence[Table] = ()
    after: Sequence[str] = ()
    texts: Sequence[Text] = ()
    pictures: Sequence[Mapping[str, str]] | None = None
    how_to_draw: str = ""


@dataclass(frozen=True)
class Head:
    """What a page begins with."""

    name: str
    question: str
    verdict: Sequence[str]
    more: Sequence[str] = ()
    cautions: Sequence[str] = ()
    foot: Sequence[str] = field(default_factory=tuple)


def results_page(kind: str, head: Head, sections: Iterable[Section]) -> str:
    """Return the page of a study.  ``kind``: what it is, in a word or two."""
    kept = [section for section in sections if _says_something(section)]
    charts: list[dict[str, Any]] = []
    shown = []
    for section in kept:
        place = None
        if section.chart is not None:
            place = len(charts)
            charts.append(section.chart)
        shown.append((section, place))
    about = {"title": head.name, "kind": kind, "head": head, "sections": shown}
    return render("results.html.j2", {"charts": charts}, script_files=SCRIPTS, **about)


def _says_something(section: Section) -> bool:
    return bool(
        section.lines or section.chart or section.tables or section.texts or section.pictures is not None
    )


def bounded(frame: pd.DataFrame, what: str, file: str) -> tuple[pd.DataFrame, str]:
    """Return at most ``MOST_ROWS`` rows, and a note on those left out."""
    if len(frame) <= MOST_ROWS:
        return frame, ""
    left = len(frame) - MOST_ROWS
    return frame.head(MOST_ROWS), f"The first {MOST_ROWS} of {len(frame)} {what}; {left} more are in {file}."


def thinned(frame: pd.DataFrame) -> tuple[pd.DataFrame, str]:
    """Return every so many-th row so that at most ``MOST_POINTS`` are left, and a note on it."""
    each = -(-len(frame) // MOST_POINTS)
    return (frame.iloc[::each], f"One of every {each} is shown.") if each > 1 else (frame, "")


def versions(summary: Mapping[str, Any]) -> str:
    """Return with what a result was made."""
    return ", ".join(f"{name} {version}" for name, version in summary["versions"].items())


def number(value: float) -> str:
    """Return a number in four digits with a true minus sign, a dash for none."""
    return "–" if value != value else f"{value:.4g}".replace("-", "−")


def unit_word(unit: str) -> str:
    """Return a unit as the page shows it; nothing for a plain ratio."""
    return UNITS.get(unit, unit)


def titled(words: str, unit: str) -> str:
    """Return words with their unit in brackets."""
    shown = unit_word(unit)
    return f"{words} [{shown}]" if shown else words


def line(words: str, values: Iterable[float], look: int, *, dots: bool = False) -> dict[str, Any]:
    """Return a line or a row of dots of a chart, in the look that pictures give to their wheels and cases."""
    own = wheel_look(look)
    return {
        "words": words, "values": finite_or_none(list(values)), "dots": dots,
        "colour": own.colour, "dash": DASHES[own.line], "mark": own.marker,
    }  # fmt: skip


def choice(title: str, unit: str, lines: Sequence[dict[str, Any]], **more: Any) -> dict[str, Any]:
    """Return one of a chart's choices of what is upright; ``more``: its own ``across``, ``points``, or a ``hint``."""
    return {"title": title, "unit": unit_word(unit), "lines": list(lines), **more}


def across(title: str, unit: str, values: Iterable[float], **more: Any) -> dict[str, Any]:
    """Return one of a chart's choices of what is level.

    ``more``: ``log`` for a scale by factors, ``words`` for places without numbers, ``is_name`` where the number names
    the row.
    """
    return {"title": title, "unit": unit_word(unit), "values": finite_or_none(list(values)), **more}
