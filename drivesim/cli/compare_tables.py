"""The tables that ``drivesim compare`` prints."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from drivesim.cli.console import filled, show
from drivesim.study.compare_result import Compared
from drivesim.study.compare_rows import DECIDED_NOTE, case_rows, difference_rows, scope_line


def print_compared(out: Console, found: Compared, ground: int = 0, kept: Sequence[Path] = ()) -> None:
    """Print the verdict, the cases, the differences, what to keep in mind; how to look at the runs kept of a ground."""
    summary = found.summary
    out.print(Text(found.verdict, style="bold"))
    out.print()
    out.print(scope_line(summary))
    show(out, case_table(found))
    out.print()
    show(out, difference_table(found), lead=2)
    out.print(DECIDED_NOTE)
    for note in [*summary["notes"], *summary["cautions"]]:
        out.print(Text("! " + note, style="yellow"))
    if kept:
        which = ", where the ways differ most," if ground == summary["most_different_ground"] else ""
        out.print(Text(f"\nground {ground}{which} is kept to look at:"))
        out.print(Text("  " + shlex.join(["drivesim", "report", *map(str, kept)])))


def case_table(found: Compared) -> Table:
    """Return the figures of each case, a column a case."""
    return filled(*case_rows(found.summary))


def difference_table(found: Compared) -> Table:
    """Return each case less the one it is held against, a row a case and measure."""
    return filled(*difference_rows(found.summary), title=f"less {found.summary['against']}", left=2)
