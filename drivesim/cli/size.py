"""``drivesim size``: what a drive can do at all, what limits it, which change pays."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from rich.table import Table

    from drivesim.sizing.size import Sizing

NOTHING = 0.05  # %; a lever that changes no limit by more is not printed
SHORT = {
    "grade": "grade", "step_front": "front step", "step_rear": "rear step", "turn": "turn", "tow": "pull",
    "top_speed": "top speed", "endurance": "endurance",
}  # fmt: skip


@click.command("size")
@click.argument("scenario", metavar="ROVER_OR_SCENARIO", type=click.Path(path_type=Path))
@click.option("--charge", metavar="SHARE", help="Charge of the battery, such as 20% [default: the file's].")
@click.option("--cells", type=int, metavar="NUMBER", help="Cells in series [default: the file's].")
@click.option(
    "--speed", metavar="SPEED", help="Speed to drive at [default: the fastest command, or 0.1 m/s]."
)
@click.option(
    "--slope", metavar="ANGLE", help="Slope to climb [default: the scenario's steepest ramp, if any]."
)
@click.option(
    "--step", metavar="HEIGHT", help="Sharp step to climb [default: the scenario's highest, if any]."
)
@click.option("--tow", metavar="FORCE", help="Level pull to drag along.")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Folder for tables and pictures.")
@click.option("--force", is_flag=True, help="Replace an older folder of drivesim.")
@click.option("--json", "as_json", is_flag=True, help="Print all of it as JSON.")
def command(
    scenario: Path,
    charge: str | None,
    cells: int | None,
    speed: str | None,
    slope: str | None,
    step: str | None,
    tow: str | None,
    output: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Work out what a drive can do at all, without simulating: limits, what sets them, and which change pays.

    \b
    drivesim size scenarios/slab_edge.yaml
    drivesim size scenarios/rovers/crawler.yaml --charge 20% --step 10mm --slope 15deg -o runs/size

    ROVER_OR_SCENARIO is a scenario, of which rover, drive, kind of ground and battery count, or a rover's own file,
    which then stands on a dry hard floor.  Limits: now, with hot windings, for ever, and with a wheel in the air.
    """
    from drivesim.analysis.files import check_target, writing
    from drivesim.cli import tables
    from drivesim.cli.mistakes import told_where_written
    from drivesim.sizing.size import rover_scenario, size

    asked = {
        "charge": _read("charge", charge, "1"),
        "speed": _read("speed", speed, "m/s"),
        "slope": _read("slope", slope, "rad"),
        "step": _read("step", step, "m"),
        "tow": _read("tow", tow, "N"),
    }
    if output is not None:
        check_target(output, force)
    loaded = rover_scenario(scenario)
    with told_where_written(scenario):
        found = size(loaded, cells=cells, **asked)
    if output is not None:
        from drivesim.plots.sizing import write_sizing

        with writing(output, force=force) as partial:
            write_sizing(found, partial)
    if as_json:
        click.echo(json.dumps(found.summary, indent=2, ensure_ascii=False))
        return
    out = tables.console()
    print_sizing(out, found)
    if output is not None:
        tables.print_written(out, output)


def _read(name: str, text: str | None, unit: str) -> float | None:
    """Return an option's quantity in SI; its mistake in one line."""
    from drivesim import units
    from drivesim.errors import DrivesimError, UnitError

    if text is None:
        return None
    try:
        return units.parse(text, unit)
    except UnitError as error:
        raise DrivesimError(f"--{name}: {error}") from None


def print_sizing(out: Any, found: Sizing) -> None:
    """Print verdict, limits, currents and heat, levers and cautions."""
    from rich.text import Text

    summary = found.summary
    out.print(Text(summary["name"], style="bold"))
    out.print(Text(about_line(summary)))
    out.print(Text("→ " + summary["verdict"]))
    out.print()
    out.print(limits_table(found))
    out.print()
    out.print(loading_table(found))
    out.print(Text(heat_line(summary["heat"])))
    out.print()
    out.print(levers_table(found))
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


def _table(title: str, *columns: str) -> Table:
    from rich.table import Table

    table = Table(title=title, title_justify="left", box=None, pad_edge=False)
    table.add_column(columns[0])
    for name in columns[1:]:
        table.add_column(name, justify="right")
    return table


def limits_table(found: Sizing) -> Table:
    """Return each limit with what sets it, a column a state."""
    from drivesim.sizing.answers import STATE_WORDS, STATES, TASKS
    from drivesim.sizing.verdict import shown

    table = _table("limits, and what sets them", "", *(STATE_WORDS[state] for state in STATES), "asked")
    for task, row in found.limits.iterrows():
        cells = []
        for state in STATES:
            text = shown(str(task), row[state])
            cells.append(text if text == "–" else f"{text} {row[f'{state}_limit']}".strip())
        if any(cell != "–" for cell in cells):
            table.add_row(TASKS[str(task)].words, *cells, shown(str(task), row["asked"]))
    return table


def loading_table(found: Sizing) -> Table:
    """Return currents, bus and heat of each situation."""
    table = _table(
        "currents and heat, windings cold at first", "", "a wheel", "phase, peak", "pack", "bus", "settles at",
        "at its limit", "over",
    )  # fmt: skip
    for _, row in found.loading.iterrows():
        after = row["limit_after_s"]
        bus = f"{row['bus_V']:.2f} V" if math.isfinite(row["bus_V"]) else "–"
        table.add_row(
            row["words"] + ("" if row["possible"] else " (cannot)"),
            f"{row['torque_Nm'] * 1e3:.3g} mN·m", f"{row['phase_current_A']:.2f} A",
            f"{row['pack_current_A']:.2f} A", bus, f"{row['settles_degC']:.0f} degC",
            f"after {after:.0f} s" if math.isfinite(after) else "never", row["over"] or "–",
        )  # fmt: skip
    return table


def heat_line(heat: dict[str, Any]) -> str:
    """Return what heat lets the wheels hold for ever."""
    amplitude = heat["continuous_amplitude_at_standstill_V"]
    return (
        f"for ever at standstill: {heat['continuous_current_A']:.2f} A, {amplitude:.2f} V peak in a phase "
        f"({heat['limit']}, winding then at {heat['winding_degC']:.0f} degC)"
    )


def levers_table(found: Sizing) -> Table:
    """Return by how many per cent each limit changes, a row a lever; those that change nothing are left out."""
    from drivesim.sizing.answers import FOR_EVER, NOW, WHEEL_UP
    from drivesim.sizing.levers import column_name

    columns = [(column_name(task, NOW), words) for task, words in SHORT.items()]
    columns += [
        (column_name("grade", FOR_EVER), "grade for ever"),
        (column_name("grade", WHEEL_UP), "grade, wheel up"),
    ]
    table = _table("levers: change of each limit in %", "", "by", *(words for _, words in columns))
    for _, row in found.levers.iterrows():
        values = [float(row[name]) for name, _ in columns]
        if any(abs(value) >= NOTHING for value in values if math.isfinite(value)):
            by = "the whole" if row["change"] == "whole" else row["change"]
            table.add_row(row["words"], by, *(_percent(value) for value in values))
    return table


def _percent(value: float) -> str:
    if not math.isfinite(value):
        return "–"
    return "0" if abs(value) < NOTHING else f"{value:+.2f}" if abs(value) < 10 else f"{value:+.0f}"
