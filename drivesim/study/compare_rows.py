"""A comparison's summary as rows of words, for the tables of the command line and of the page; plain text only."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from drivesim.analysis.measures import MEASURES
from drivesim.study.compare_words import scale

Rows = tuple[list[str], list[list[str]]]  # heads, and the texts of each row

DECIDED_NOTE = (
    "* decided: interval without zero, and Holm, 5 % for the whole table, by McNemar (success) and Wilcoxon"
)


def scope_line(summary: Mapping[str, Any]) -> str:
    """Return over what the figures are taken."""
    drawn = f", parts drawn: {', '.join(summary['spread'])}" if summary["spread"] else ""
    return f"{summary['grounds']} grounds from seed {summary['first_ground']} on{drawn}; mean (95 % interval)"


def case_rows(summary: Mapping[str, Any]) -> Rows:
    """Return the figures of each case, a column a case."""
    cases, count = summary["cases"], summary["grounds"]
    rows = []
    for measure in dict.fromkeys(name for own in cases.values() for name in own):
        own = [case[measure] for case in cases.values()]
        if measure == "success":
            cells = [
                f"{_number(row['mean']) * count:.0f} of {count} "
                f"({_number(row['low']):.0%} … {_number(row['high']):.0%})"
                for row in own
            ]
            rows.append([summary["success"], *cells])
            continue
        unit, factor, digits = _alike([_number(row["mean"]) for row in own], str(own[0]["unit"]))
        cells = [_cell(row, factor, digits) for row in own]
        rows.append([f"{MEASURES[measure].words} [{unit}]", *cells])
    return ["", *cases], rows


def difference_rows(summary: Mapping[str, Any]) -> Rows:
    """Return each case less the one it is held against, a row a case and measure; decided ones have a star."""
    rows = []
    for case, own in summary["differences"].items():
        for i, (measure, row) in enumerate(own.items()):
            unit, factor, digits = _alike([_number(row["mean"])], str(row["unit"]))
            if measure == "success":
                unit, factor, digits = "%", 100.0, 0
            words = "success" if measure == "success" else MEASURES[measure].words
            p, gain, needed = _number(row["p"]), _number(row["gain"]), row["grounds_needed"]
            rows.append(
                [
                    "" if i else str(case), f"{words} [{unit}]",
                    "* " * bool(row["decided"]) + _cell(row, factor, digits, signed=True),
                    "–" if math.isnan(p) else f"{p:.2g}", f"{gain:.1f} ×" if math.isfinite(gain) else "–",
                    "–" if needed is None else f"{needed}",
                ]
            )  # fmt: skip
    return ["case", "figure", "difference", "p", "pairing is worth", "grounds to decide"], rows


def _number(value: float | None) -> float:
    """Return a number of a summary, which has None for what is not finite."""
    return math.nan if value is None else float(value)


def _alike(means: list[float], unit: str) -> tuple[str, float, int]:
    """Return unit, factor and decimals that suit all of a row's values."""
    sizes = [abs(mean) for mean in means if math.isfinite(mean)]
    shown, factor, digits = scale(unit, max(sizes, default=0.0))
    return ("degC" if unit == "degC" and len(means) > 1 else shown), factor, digits


def _cell(row: Mapping[str, Any], factor: float, digits: int, *, signed: bool = False) -> str:
    mean, low, high = (_number(row[name]) for name in ("mean", "low", "high"))
    if math.isnan(mean):
        return "–"
    form = f"+z.{digits}f" if signed else f"z.{digits}f"
    if math.isnan(low):
        return f"{factor * mean:{form}}".replace("-", "−")
    values = [f"{factor * value:{form}}" for value in (mean, low, high)]
    return f"{values[0]} ({values[1]} … {values[2]})".replace("-", "−")
