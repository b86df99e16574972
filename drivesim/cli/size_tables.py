"""What ``drivesim size`` prints: limits and what sets them, currents and heat, levers."""

from __future__ import annotations

import math
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from drivesim.cli.console import show, table
from drivesim.sizing.answers import FOR_EVER, NOW, STATE_WORDS, STATES, TASKS, WHEEL_UP
from drivesim.sizing.levers import column_name
from drivesim.sizing.size import Sizing
from drivesim.sizing.verdict import shown

NOTHING = 0.05  # %; a lever that changes no limit by more is not printed
SHORT = {
    "grade": "grade", "step_front": "front step", "step_rear": "rear step", "turn": "turn", "tow": "pull",
    "top_speed": "top speed", "endurance": "endurance",
}  # fmt: skip


def print_sizing(out: Console, found: Sizing) -> None:
    """Print verdict, limits, currents and heat, levers and cautions."""
    summary = found.summary
    out.print(Text(summary["name"], style="bold"))
    out.print(Text(about_line(summary)))
    out.print(Text("→ " + summary["verdict"]))
    out.print()
    show(out, limits_table(found))
    out.print()
    show(out, loading_table(found))
    out.print(Text(heat_line(summary["heat"])))
    out.print()
    show(out, levers_table(found))
    for row in summary["levers"]:
        if row["swaps"]:
            out.print(Text(f"  {row['lever'].replace('_', ' ')}: another limit takes over, {row['swaps']}"))
    out.print()
    for caution in summary["cautions"]:
        out.print(Text("! " + caution, style="yellow"))


def about_line(summary: dict[str, Any]) -> str:
    """Return what has been sized: rover, drive, battery, speed."""
    pack = (
        f"{summary['cells_in_series']} in series at {summary['charge']:.0%}: {summary['open_circuit_V']:.2f} V behind "
        f"{summary['pack_resistance_ohm']:.2g} ohm"
    )
    speed = f"{summary['asked']['speed_m_s']:.3g} m/s"
    ground = "on even ground as it is away from features and patches"
    return f"{summary['rover']}, {summary['drive']}, {pack}; at {speed}, {ground}"


def limits_table(found: Sizing) -> Table:
    """Return each limit with what sets it, a column a state."""
    made = table("", *(STATE_WORDS[state] for state in STATES), "asked", title="limits, and what sets them")
    for task, row in found.limits.iterrows():
        cells = []
        for state in STATES:
            text = shown(str(task), row[state])
            cells.append(text if text == "–" else f"{text} {row[f'{state}_limit']}".strip())
        if any(cell != "–" for cell in cells):
            made.add_row(TASKS[str(task)].words, *cells, shown(str(task), row["asked"]))
    return made


def loading_table(found: Sizing) -> Table:
    """Return currents, bus and heat of each situation."""
    made = table(
        "", "a wheel", "phase, peak", "pack", "bus", "settles at", "at its limit", "over",
        title="currents and heat, windings cold at first",
    )  # fmt: skip
    for _, row in found.loading.iterrows():
        after = row["limit_after_s"]
        bus = f"{row['bus_V']:.2f} V" if math.isfinite(row["bus_V"]) else "–"
        made.add_row(
            row["words"] + ("" if row["possible"] else " (cannot)"),
            f"{row['torque_Nm'] * 1e3:.3g} mN·m", f"{row['phase_current_A']:.2f} A",
            f"{row['pack_current_A']:.2f} A", bus, f"{row['settles_degC']:.0f} degC",
            f"after {after:.0f} s" if math.isfinite(after) else "never", row["over"] or "–",
        )  # fmt: skip
    return made


def heat_line(heat: dict[str, Any]) -> str:
    """Return what heat lets the wheels hold for ever."""
    amplitude = heat["continuous_amplitude_at_standstill_V"]
    return (
        f"for ever at standstill: {heat['continuous_current_A']:.2f} A, {amplitude:.2f} V peak in a phase "
        f"({heat['limit']}, winding then at {heat['winding_degC']:.0f} degC)"
    )


def levers_table(found: Sizing) -> Table:
    """Return by how many per cent each limit changes, a row a lever; those that change nothing are left out."""
    columns = [(column_name(task, NOW), words) for task, words in SHORT.items()]
    columns += [
        (column_name("grade", FOR_EVER), "grade for ever"),
        (column_name("grade", WHEEL_UP), "grade, wheel up"),
    ]
    made = table("", "by", *(words for _, words in columns), title="levers: change of each limit in %")
    for _, row in found.levers.iterrows():
        values = [float(row[name]) for name, _ in columns]
        if any(abs(value) >= NOTHING for value in values if math.isfinite(value)):
            by = "the whole" if row["change"] == "whole" else row["change"]
            made.add_row(row["words"], by, *(_percent(value) for value in values))
    return made


def _percent(value: float) -> str:
    if not math.isfinite(value):
        return "–"
    return "0" if abs(value) < NOTHING else f"{value:+.2f}" if abs(value) < 10 else f"{value:+.0f}"
