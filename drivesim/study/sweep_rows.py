"""A sweep's summary as rows of words, for the tables of the command line and of the page; plain text only."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from drivesim.study.sweep_result import RANK, SUCCESS, measure_words

Rows = tuple[list[str], list[list[str]]]  # heads, and the texts of each row
MOST_WORDS = 2  # axes; places along more of them are too long for a table


def scope_line(summary: Mapping[str, Any]) -> str:
    """Return what was driven."""
    return (
        f"{summary['designs']} designs ({summary['design'].replace('_', ' ')}) × {summary['grounds']} grounds"
    )


def measure_rows(summary: Mapping[str, Any]) -> Rows:
    """Return least, mean and greatest of each measure mapped over the designs, and where the ends lie."""
    in_words = len(summary["axes"]) <= MOST_WORDS
    ends = ("least at", "greatest at") if in_words else ("least: design", "greatest: design")
    rows = []
    for name in summary["mapped"]:
        row = summary["measures"].get(name)
        if row is None:
            continue
        factor = 100.0 if name == SUCCESS else 1.0
        unit = " [%]" if name == SUCCESS else "" if row["unit"] == "1" else f" [{row['unit']}]"
        values = (row["least"]["value"], row["mean"], row["greatest"]["value"])
        rows.append(
            [
                row["words"] + unit, *(f"{factor * value:.3g}" for value in values),
                *(str(row[end]["at" if in_words else "design"]) for end in ("least", "greatest")),
            ]
        )  # fmt: skip
    return ["mean of each design", "least", "mean", "greatest", *ends], rows


def sensitivity_rows(summary: Mapping[str, Any]) -> Rows:
    """Return how much each axis explains, a row a measure and axis, a column a kind of number."""
    found = summary["sensitivity"]
    kinds = list(dict.fromkeys(row["kind"] for row in found))
    places: dict[tuple[str, str], dict[str, Any]] = {}
    for row in found:
        places.setdefault((row["measure"], row["axis"]), {})[row["kind"]] = row
    rows, last = [], ""
    for (measure, axis), own in places.items():
        cells = [_number(own[kind], kind) if kind in own else "" for kind in kinds]
        words = "" if measure == last else measure_words(measure)[0]
        rows.append([words, summary["axes"][axis]["label"], *cells])
        last = measure
    return ["what matters (95 % interval)", "", *kinds], rows


def _number(row: Mapping[str, Any], kind: str) -> str:
    if row["value"] is None:
        return "–"
    sign = "+" if kind == RANK else ""
    interval = f" ({row['low']:{sign}.2f} … {row['high']:{sign}.2f})" if row["low"] is not None else ""
    return f"{row['value']:{sign}.2f}{interval}".replace("-", "−")
