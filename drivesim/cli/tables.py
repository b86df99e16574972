"""Tables and texts that the commands print, made with rich; colour only on a terminal."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from drivesim.analysis.conditions import CONDITIONS
from drivesim.analysis.headlines import change
from drivesim.analysis.ledger import PARTS
from drivesim.units import readable


def console(*, stderr: bool = False) -> Console:
    """Return a console; in a pipe its lines are as long as they need to be."""
    out = Console(stderr=stderr, highlight=False)
    return out if out.is_terminal else Console(stderr=stderr, highlight=False, width=140)


def wheel_table(summary: dict[str, Any]) -> Table:
    """Return what each wheel did: share of time in each condition, first stall, torque, current, heat."""
    table = Table(title="wheels (share of time)", title_justify="left", box=None, pad_edge=False)
    table.add_column("")
    for name in (
        *(c.replace("_", " ") for c in CONDITIONS),
        "poles slipped",
        "first stall",
        "torque",
        "current",
        "winding",
    ):
        table.add_column(name, justify="right")
    for name, wheel in summary["wheels"].items():
        stall = wheel["first_stall_s"]
        table.add_row(
            name,
            *(f"{wheel[c]:.0%}" if wheel[c] >= 0.005 else "–" for c in CONDITIONS),
            str(wheel["pole_slips"]) if wheel["pole_slips"] else "–",
            f"{stall:.2f} s" if stall is not None else "–",
            f"{wheel['mean_torque_Nm'] * 1e3:.1f} mN·m",
            f"{wheel['peak_current_A']:.2f} A",
            f"{wheel['peak_temperature_degC']:.0f} degC",
        )
    return table


def ledger_table(summary: dict[str, Any]) -> Table:
    """Return where the energy went, in joules and as a share of what was drawn."""
    ledger = summary["ledger"]
    drawn = ledger["drawn"]
    table = Table(
        title=f"energy: {readable(drawn, 'J')} drawn", title_justify="left", box=None, pad_edge=False
    )
    table.add_column("part")
    table.add_column("J", justify="right")
    table.add_column("share", justify="right")
    for part, words in PARTS.items():
        share = ledger[part] / drawn if drawn else 0.0
        if abs(share) >= 0.0005 or part == "remainder":
            table.add_row(
                words, f"{ledger[part]:.3g}", f"{share:.1%}" if part != "remainder" else f"{share:.3%}"
            )
    return table


def print_summary(out: Console, summary: dict[str, Any]) -> None:
    """Print verdict, figures, wheels, ledger and cautions."""
    out.print(Text(summary["name"], style="bold"))
    if summary["question"]:
        out.print(Text(summary["question"]))
    out.print(Text("→ " + summary["verdict"]))
    out.print()
    fighting = summary["fighting"]
    stuck = f"stuck {summary['stuck_s']:.1f} s, " if summary["stuck_s"] else ""
    out.print(
        f"{summary['distance_m']:.2f} m in {summary['duration_s']:.1f} s, {stuck}"
        f"wheels against each other {fighting['force_mean_N']:.2f} N on average "
        f"({fighting['share_of_drive_power']:.0%} of the drive power), "
        f"bus at least {summary['lowest_bus_voltage_V']:.2f} V"
    )
    out.print()
    out.print(wheel_table(summary))
    out.print()
    out.print(ledger_table(summary))
    out.print()
    for caution in summary["cautions"]:
        out.print(Text("! " + caution, style="yellow"))


def change_table(changes: dict[str, tuple[float, float, str]], step: float) -> Table:
    """Return how each headline figure moved when the step was halved."""
    table = Table(
        title=f"step {step * 1e6:.0f} µs against {step * 5e5:.0f} µs",
        title_justify="left",
        box=None,
        pad_edge=False,
    )
    for name in ("figure", "step", "half step", "change"):
        table.add_column(name, justify="left" if name == "figure" else "right")
    for name, (first, second, unit) in changes.items():
        share = change(first, second, unit)
        shown = "negligible" if share is None else f"{share:.2%}"
        table.add_row(name.replace("_", " "), f"{first:.5g} {unit}", f"{second:.5g} {unit}", shown)
    return table
