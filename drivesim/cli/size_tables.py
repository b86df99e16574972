"""What ``drivesim size`` prints: limits and what sets them, currents and heat, levers."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from drivesim.cli.console import filled, show
from drivesim.sizing import rows
from drivesim.sizing.size import Sizing


def print_sizing(out: Console, found: Sizing) -> None:
    """Print verdict, limits, currents and heat, levers and cautions."""
    summary = found.summary
    out.print(Text(summary["name"], style="bold"))
    out.print(Text(rows.about_line(summary)))
    out.print(Text("→ " + summary["verdict"]))
    out.print()
    show(out, limits_table(found))
    out.print()
    show(out, loading_table(found))
    out.print(Text(rows.heat_line(summary["heat"])))
    out.print()
    show(out, levers_table(found))
    for line in rows.swap_lines(found.levers):
        out.print(Text(f"  {line}"))
    out.print()
    for caution in summary["cautions"]:
        out.print(Text("! " + caution, style="yellow"))


def limits_table(found: Sizing) -> Table:
    """Return each limit with what sets it, a column a state."""
    return filled(*rows.limit_rows(found.limits), title=rows.LIMITS_TITLE)


def loading_table(found: Sizing) -> Table:
    """Return currents, bus and heat of each situation."""
    return filled(*rows.loading_rows(found.loading), title=rows.LOADING_TITLE)


def levers_table(found: Sizing) -> Table:
    """Return by how many per cent each limit changes, a row a lever; those that change nothing are left out."""
    return filled(*rows.lever_rows(found.levers), title=rows.LEVERS_TITLE)
