"""``drivesim size``: what a drive can do at all, what limits it, which change pays."""

from __future__ import annotations

from pathlib import Path

import click

from drivesim.cli import options


@click.command(
    "size",
    cls=options.Command,
    examples=(
        "drivesim size scenarios/slab_edge.yaml",
        "drivesim size scenarios/rovers/crawler.yaml --charge 20% --step 10mm",
    ),
    more="docs/size.md: each limit, what sets it, and how far statics can be trusted",
)
@click.argument(
    "scenario", metavar="ROVER_OR_SCENARIO", type=options.InputFile("a rover's file, or a scenario")
)
@click.option("--charge", metavar="SHARE", help="Charge of the battery, such as 20% [default: the file's].")
@click.option(
    "--cells", type=options.Whole(1), metavar="NUMBER", help="Cells in series [default: the file's]."
)
@click.option(
    "--speed", metavar="SPEED", help="Speed to drive at [default: the fastest command, or 0.1 m/s]."
)
@click.option(
    "--slope", metavar="ANGLE", help="Slope to climb [default: the scenario's steepest ramp, if any]."
)
@click.option(
    "--step", metavar="HEIGHT", help="Sharp step to climb [default: the scenario's highest, if any]."
)
@click.option("--tow", metavar="FORCE", help="Level pull to drag along [default: none].")
@options.output("nothing is written")
@options.no_pictures
@options.style
@options.as_json
@options.quiet
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
    no_pictures: bool,
    style: str,
    as_json: bool,
    quiet: bool,
) -> None:
    """Work out what a drive can do at all, without simulating: limits, what sets them, and which change pays.

    ROVER_OR_SCENARIO is a scenario, of which rover, drive, kind of ground and battery count, or a rover's own file,
    which then stands on a dry hard floor.

    Prints the limits as it is now, with hot windings, for ever, and with a wheel in the air; currents and heat; and
    by how much each change would move each limit.  With -o it writes summary.json, scenario.yaml, tables and
    pictures.
    """
    from drivesim.analysis.files import check_target, writing
    from drivesim.cli import size_tables
    from drivesim.cli.console import tell
    from drivesim.cli.mistakes import told_where_written
    from drivesim.sizing.files import write_sizing
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
        with writing(output, force=force) as partial:
            write_sizing(found, partial)
            if not no_pictures:
                from drivesim.plots.sizing import write_pictures

                write_pictures(found, partial, style)
    tell(
        found.summary, as_json=as_json, quiet=quiet, folder=output,
        printed=lambda out: size_tables.print_sizing(out, found),
    )  # fmt: skip


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
