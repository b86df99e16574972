"""The tables that ``drivesim sweep`` prints."""

from __future__ import annotations

import numpy as np
import pandas as pd
from rich.console import Console
from rich.table import Table
from rich.text import Text

from drivesim.cli.console import show, table
from drivesim.study.sweep_result import RANK, SUCCESS, Sweep, measure_words

MOST_WORDS = 2  # axes; places along more of them are too long for a table


def print_swept(out: Console, found: Sweep) -> None:
    """Print the verdict, how each measure lies over the designs, and what matters."""
    summary = found.summary
    out.print(Text(found.verdict, style="bold"))
    out.print()
    out.print(
        f"{summary['designs']} designs ({summary['design'].replace('_', ' ')}) × {summary['grounds']} grounds; "
        f"{'; '.join(found.notes)}"
    )
    for reason in summary["refused"]["reasons"][:3]:
        out.print(Text(f"! refused: {reason}", style="yellow"))
    show(out, measure_table(found))
    if len(found.sensitivity):
        out.print()
        show(out, sensitivity_table(found), lead=2)
    for caution in summary["cautions"]:
        out.print(Text("! " + caution, style="yellow"))


def measure_table(found: Sweep) -> Table:
    """Return least, mean and greatest of each measure over the designs, and where the ends lie."""
    in_words = len(found.design.axes) <= MOST_WORDS
    ends = ("least at", "greatest at") if in_words else ("least: design", "greatest: design")
    made = table("mean of each design", "least", "mean", "greatest")
    for head in ends:
        made.add_column(head, justify="left" if in_words else "right", overflow="fold")
    for name in found.mapped:
        row = found.summary["measures"].get(name)
        if row is None:
            continue
        factor = 100.0 if name == SUCCESS else 1.0
        unit = " [%]" if name == SUCCESS else "" if row["unit"] == "1" else f" [{row['unit']}]"
        made.add_row(
            row["words"] + unit,
            *(f"{factor * value:.3g}" for value in (row["least"]["value"], row["mean"], row["greatest"]["value"])),
            *(str(row[end]["at" if in_words else "design"]) for end in ("least", "greatest")),
        )  # fmt: skip
    return made


def sensitivity_table(found: Sweep) -> Table:
    """Return how much each axis explains, a row a measure and axis, a column a kind of number."""
    rows = found.sensitivity
    kinds = list(dict.fromkeys(rows["kind"]))
    labels = {axis.name: axis.label for axis in found.design.axes}
    made = table("what matters (95 % interval)", "", *kinds, left=2)
    last = ""
    for (measure, axis), own in rows.groupby(["measure", "axis"], sort=False):
        numbers = own.set_index("kind")
        cells = [_number(numbers.loc[kind], kind) if kind in numbers.index else "" for kind in kinds]
        made.add_row("" if measure == last else measure_words(measure)[0], labels[axis], *cells)
        last = measure
    return made


def _number(row: pd.Series, kind: str) -> str:
    sign = "+" if kind == RANK else ""
    interval = f" ({row['low']:{sign}.2f} … {row['high']:{sign}.2f})" if np.isfinite(row["low"]) else ""
    return f"{row['value']:{sign}.2f}{interval}".replace("-", "−")
