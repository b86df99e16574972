"""The tables that ``drivesim sweep`` prints."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from drivesim.cli.console import filled, show, table
from drivesim.study.sweep_result import Sweep
from drivesim.study.sweep_rows import MOST_WORDS, measure_rows, scope_line, sensitivity_rows


def print_swept(out: Console, found: Sweep) -> None:
    """Print the verdict, how each measure lies over the designs, and what matters."""
    summary = found.summary
    out.print(Text(found.verdict, style="bold"))
    out.print()
    out.print(f"{scope_line(summary)}; {'; '.join(found.notes)}")
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
    heads, rows = measure_rows(found.summary)
    made = table(*heads[:4])
    for head in heads[4:]:
        in_words = len(found.summary["axes"]) <= MOST_WORDS
        made.add_column(head, justify="left" if in_words else "right", overflow="fold")
    for row in rows:
        made.add_row(*row)
    return made


def sensitivity_table(found: Sweep) -> Table:
    """Return how much each axis explains, a row a measure and axis, a column a kind of number."""
    return filled(*sensitivity_rows(found.summary), left=2)
