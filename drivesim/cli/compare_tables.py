"""The tables that ``drivesim compare`` prints."""

from __future__ import annotations

import math
import shlex
from collections.abc import Sequence
from pathlib import Path

import pandas as pd
from rich.console import Console
from rich.table import Table
from rich.text import Text

from drivesim.analysis.measures import MEASURES
from drivesim.cli.console import show, table
from drivesim.study.compare_result import Compared
from drivesim.study.compare_words import scale


def print_compared(out: Console, found: Compared, ground: int = 0, kept: Sequence[Path] = ()) -> None:
    """Print the verdict, the cases, the differences, what to keep in mind; how to look at the runs kept of a ground."""
    summary = found.summary
    out.print(Text(found.verdict, style="bold"))
    out.print()
    drawn = f", parts drawn: {', '.join(summary['spread'])}" if summary["spread"] else ""
    out.print(
        f"{summary['grounds']} grounds from seed {summary['first_ground']} on{drawn}; mean (95 % interval)"
    )
    show(out, case_table(found))
    out.print()
    show(out, difference_table(found), lead=2)
    out.print(
        "* decided: interval without zero, and Holm, 5 % for the whole table, by McNemar (success) and Wilcoxon"
    )
    for note in [*summary["notes"], *summary["cautions"]]:
        out.print(Text("! " + note, style="yellow"))
    if kept:
        which = ", where the ways differ most," if ground == summary["most_different_ground"] else ""
        out.print(Text(f"\nground {ground}{which} is kept to look at:"))
        out.print(Text("  " + shlex.join(["drivesim", "report", *map(str, kept)])))


def case_table(found: Compared) -> Table:
    """Return the figures of each case, a column a case."""
    names = list(dict.fromkeys(found.cases.index.get_level_values("case")))
    made = table("", *(str(name) for name in names))
    count = found.summary["grounds"]
    for measure in dict.fromkeys(found.cases.index.get_level_values("measure")):
        rows = [found.cases.loc[(name, measure)] for name in names]
        if measure == "success":
            cells = [
                f"{row['mean'] * count:.0f} of {count} ({row['low']:.0%} … {row['high']:.0%})" for row in rows
            ]
            made.add_row(found.summary["success"], *cells)
            continue
        unit, factor, digits = _alike([row["mean"] for row in rows], str(rows[0]["unit"]))
        cells = [_cell(row, factor, digits) for row in rows]
        made.add_row(f"{MEASURES[measure].words} [{unit}]", *cells)
    return made


def difference_table(found: Compared) -> Table:
    """Return each case less the one it is held against, a row a case and measure."""
    made = table(
        "case", "figure", "difference", "p", "pairing is worth", "grounds to decide",
        title=f"less {found.summary['against']}", left=2,
    )  # fmt: skip
    last = None
    for (case, measure), row in found.differences.iterrows():
        unit, factor, digits = _alike([row["mean"]], str(row["unit"]))
        if measure == "success":
            unit, factor, digits = "%", 100.0, 0
        words = "success" if measure == "success" else MEASURES[measure].words
        mark = "* " if row["decided"] else ""
        needed = "–" if pd.isna(row["grounds_needed"]) else f"{row['grounds_needed']}"
        made.add_row(
            "" if case == last else str(case),
            f"{words} [{unit}]",
            mark + _cell(row, factor, digits, signed=True),
            "–" if math.isnan(row["p"]) else f"{row['p']:.2g}",
            f"{row['gain']:.1f} ×" if math.isfinite(row["gain"]) else "–",
            needed,
        )
        last = case
    return made


def _alike(means: list[float], unit: str) -> tuple[str, float, int]:
    """Return unit, factor and decimals that suit all of a row's values."""
    sizes = [abs(mean) for mean in means if math.isfinite(mean)]
    shown, factor, digits = scale(unit, max(sizes, default=0.0))
    return ("degC" if unit == "degC" and len(means) > 1 else shown), factor, digits


def _cell(row: pd.Series, factor: float, digits: int, *, signed: bool = False) -> str:
    if math.isnan(row["mean"]):
        return "–"
    form = f"+z.{digits}f" if signed else f"z.{digits}f"
    if math.isnan(row["low"]):
        return f"{factor * row['mean']:{form}}".replace("-", "−")
    values = [f"{factor * row[name]:{form}}" for name in ("mean", "low", "high")]
    return f"{values[0]} ({values[1]} … {values[2]})".replace("-", "−")
