"""Tables and texts that the commands print, made with rich; colour only on a terminal."""

from __future__ import annotations

import math
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from drivesim.analysis.headlines import change
from drivesim.analysis.rows import figure_lines, ledger_rows, wheel_rows
from drivesim.cli.console import show, table
from drivesim.units import readable, rounded_down


def wheel_table(summary: dict[str, Any]) -> Table:
    """Return what each wheel did, a column a wheel: shares of time, first stall, torque, current, heat."""
    made = table("", *summary["wheels"], title="wheels")
    for words, shown in wheel_rows(summary):
        made.add_row(words, *shown)
    return made


def ledger_table(summary: dict[str, Any]) -> Table:
    """Return where the energy went, in joules and as a share of what was drawn."""
    title = f"energy: {readable(summary['ledger']['drawn'], 'J')} drawn"
    made = table("part", "J", "share", title=title)
    for row in ledger_rows(summary):
        made.add_row(*row)
    return made


def derived_lines(found: dict[str, Any]) -> list[str]:
    """Return what follows from a rover before any run, a line each."""
    lines = winding_lines(found["winding"]) if found["winding"] is not None else []
    rows = [
        ("wheel", "a phase", "carries", "stalls at", "at the rim", "heat lets it hold for ever at standstill")
    ]
    for name, w in found["wheels"].items():
        held = (
            f"{_down(w['continuous_current_A'])} A, {_down(w['continuous_stall_voltage_V'])} V peak "
            f"({w['continuous_limit']}, {w['continuous_limit_degC']:g} degC)"
        )
        rows.append(
            (
                name, f"{w['phase_resistance_ohm']:.3g} ohm", f"{w['standing_load_N']:.2f} N",
                f"{w['stall_torque_Nm'] * 1e3:.1f} mN·m", f"{w['stall_force_N']:.2f} N", held,
            )
        )  # fmt: skip
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines.append(f"windings at 20 degC, bus at {found['bus_voltage_V']:.2f} V:")
    for row in rows:
        lines.append(
            ("  " + "  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True))).rstrip()
        )
    if found["bus_all_stalled_V"] is None:
        lines.append("all wheels stalled at full voltage: the supply collapses")
    else:
        lines.append(
            f"all wheels stalled at full voltage: the bus sags to {found['bus_all_stalled_V']:.2f} V, "
            f"torque for slopes up to {found['steepest_by_torque_deg']:.0f} deg"
        )
    if found["steepest_by_friction_deg"] is not None:
        lines.append(f"friction for slopes up to {found['steepest_by_friction_deg']:.0f} deg")
    if found["ride_through_s"] is not None:
        lines.append(
            f"bus capacitance carries the idle rover for {found['ride_through_s'] * 1e3:.2g} ms without the battery"
        )
    return lines


def _down(value: float) -> str:
    """Return a value ≥ 0 in three digits, never rounded up: what may be held is not more than that."""
    return f"{rounded_down(value, 10.0 ** (math.floor(math.log10(value)) - 2) if value > 0 else 1.0):.3g}"


def winding_lines(table: dict[str, Any]) -> list[str]:
    """Return where a phase's resistance lies, by kinds of layers."""
    lines = [f"winding, {table['phase_ohm']:.3g} ohm a phase at 20 degC as it is wound:"]
    for row in table["layers"]:
        lines.append(
            f"  {row['pieces']} {row['place']} {'layer' if row['pieces'] == 1 else 'layers'} of "
            f"{row['thickness_um']:.1f} um: {row['resistance']:.3g} ohm, {row['share']:.0%}"
        )
    if table["vias_ohm"]:
        lines.append(f"  vias: {table['vias_ohm']:.2g} ohm, {table['vias_share']:.1%}")
    if table["inner_cost"] > 1:
        lines.append(
            f"  inner layers thinner than the outer ones cost {table['inner_cost'] - 1:.0%} more resistance, "
            f"{table['inner_torque_cost']:.0%} of the torque at standstill"
        )
    return lines


def print_summary(out: Console, summary: dict[str, Any]) -> None:
    """Print verdict, figures, wheels, ledger and cautions."""
    out.print(Text(summary["name"], style="bold"))
    if summary["question"]:
        out.print(Text(summary["question"]))
    out.print(Text("→ " + summary["verdict"]))
    if summary["may_help"]:
        out.print(Text("  may help: " + summary["may_help"]))
    out.print()
    if summary["ending"] != "not_finite":
        print_figures(out, summary)
    for caution in summary["cautions"]:
        out.print(Text("! " + caution, style="yellow"))


def print_figures(out: Console, summary: dict[str, Any]) -> None:
    """Print the figures, the wheels and the ledger of a run that has any."""
    for line in figure_lines(summary):
        out.print(line)
    out.print()
    show(out, wheel_table(summary))
    out.print()
    show(out, ledger_table(summary))
    out.print()


def change_table(changes: dict[str, tuple[float, float, str]], step: float) -> Table:
    """Return how each headline figure moved when the step was halved."""
    made = table(
        "figure", "step", "half step", "change",
        title=f"step {step * 1e6:.0f} µs against {step * 5e5:.0f} µs",
    )  # fmt: skip
    for name, (first, second, unit) in changes.items():
        share = change(first, second, unit)
        shown = "negligible" if share is None else f"{share:.2%}"
        made.add_row(name.replace("_", " "), f"{first:.5g} {unit}", f"{second:.5g} {unit}", shown)
    return made
