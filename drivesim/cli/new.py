"""``drivesim new``: a commented scenario of a builder's own rover, to be filled in."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from drivesim.cli import options

#: the names of scenario.starter_choices; told here too, because importing them takes longer than --help may
GROUNDS = ("flat", "ramp", "slab_edge", "rubble", "joists", "pavers", "loose_fill", "wet_slope")
DRIVES = ("speed_loop", "locked_frequency", "trimmed_frequency", "fixed_voltage")


@click.command(
    "new",
    cls=options.Command,
    examples=(
        "drivesim new my_rover",
        "drivesim new rovers/second --ground rubble --drive locked_frequency",
    ),
    more="docs/quick_start.md: ten minutes to an answer about your own rover; docs/sheet.md: what to measure",
)
@click.argument("name", type=options.Folder())
@click.option(
    "--ground",
    type=options.OneOf(GROUNDS),
    default="slab_edge",
    show_default=True,
    help="Ground to begin with; written out, to be changed.",
)
@click.option(
    "--drive",
    type=options.OneOf(DRIVES),
    default="speed_loop",
    show_default=True,
    help="Drive of each wheel; written out, to be changed.",
)
@click.option(
    "--force", is_flag=True, cls=options.Output, help="Write it anew; an older one is kept as NAME-old."
)
@options.as_json
@options.quiet
def command(name: Path, ground: str, drive: str, force: bool, as_json: bool, quiet: bool) -> None:
    """Write a folder NAME with a scenario of your own rover, to be filled in, and a sheet of what to measure.

    The last part of NAME is the rover's name.  The files run as they are, with invented numbers: fifteen are marked
    to be measured in rover.yaml, and sheet.html, to be printed, says how.  scenario.yaml holds ground, drive and
    commands; changed.yaml is the same with one thing changed, for a comparison.

    The folder is written whole or not at all.
    """
    from drivesim.cli.console import print_json, say
    from drivesim.scenario.starter_folder import write_starter

    written = write_starter(name, ground, drive, force=force)
    scenario, run = str(name / "scenario.yaml"), str(Path("runs") / name.name)
    steps = (
        ["drivesim", "check", scenario],
        ["drivesim", "run", scenario, "-o", run],
        ["drivesim", "report", run],
    )
    if as_json:
        kept = None if written.kept is None else str(written.kept)
        print_json({"folder": str(name), "files": written.files, "kept": kept, "next": steps})
    elif not quiet:
        say(f"written to {name}/: {', '.join(written.files)}")
        if written.kept is not None:
            say(f"the older one is kept as {written.kept}/")
        say("print sheet.html, measure, put your fifteen numbers into rover.yaml, then:")
        for words in steps:
            say(f"  {shlex.join(words)}")
