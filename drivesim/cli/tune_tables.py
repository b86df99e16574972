"""What ``drivesim tune`` prints: gains side by side, what they cost on held-out grounds, margins, whole numbers."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from drivesim.cli.console import filled, show
from drivesim.tuning import rows
from drivesim.tuning.tuned import Tuned


def print_tuned(out: Console, tuned: Tuned) -> None:
    """Print the result: verdict first, then what it rests on."""
    s = tuned.summary
    out.print(Text(s["name"], style="bold"))
    if s["question"]:
        out.print(Text(s["question"]))
    out.print(Text("→ " + s["verdict"]))
    for line in rows.verdict_lines(s):
        out.print(Text(f"  {line}", style="yellow" if line.startswith(rows.PAID) else ""))
    out.print()
    show(out, filled(*rows.gains_rows(s), title="gains"))
    out.print()
    show(out, filled(*rows.cost_rows(s, tuned.held_out), title=rows.cost_title(s)))
    for line in rows.gap_lines(s):
        out.print(line)
    out.print()
    if s["linear_loop"] is not None:
        show(out, filled(*rows.margin_rows(s), title=rows.MARGINS_TITLE))
    for line in rows.loop_lines(s):
        out.print(Text(line))
    for caution in rows.cautions(s):
        out.print(Text("! " + caution, style="yellow"))
