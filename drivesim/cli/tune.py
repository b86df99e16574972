"""``drivesim tune``: find the gains to flash, and prove them on grounds they were not tuned on."""

from __future__ import annotations

import contextlib
from pathlib import Path

import click

from drivesim.cli import options


@click.command(
    "tune",
    cls=options.Command,
    examples=(
        "drivesim tune scenarios/studies/tune_quick.yaml",
        "drivesim tune scenarios/rubble_speed_loop.yaml -o gains    # takes minutes",
    ),
    fails="no gains keep what the file requires",
    more="docs/tune.md: the rule, the search, what is held out, gains in whole numbers",
)
@click.argument("study", type=options.InputFile("a tune file, or a scenario"))
@options.jobs
@options.output("runs/NAME-tune, numbered")
@options.no_pictures
@options.style
@options.as_json
@options.quiet
def command(
    study: Path,
    jobs: int | None,
    output: Path | None,
    force: bool,
    no_pictures: bool,
    style: str,
    as_json: bool,
    quiet: bool,
) -> None:
    """Find the gains of STUDY, a tune file or a scenario, and prove them on grounds they were not tuned on.

    Starts from the gains as they are and from a published rule, searches on training grounds, and compares all of
    them on held-out grounds.

    Prints the gains, what they cost, margins and cautions.  Writes a folder with tuned.yaml (to put into a
    scenario), gains.h (for the wheel controller, in whole numbers), scenario.yaml, summary.json, tables and
    pictures.

    The folder is written whole or not at all; after Ctrl-C the search begins anew.
    """
    from drivesim.analysis.files import check_target, free_folder, writing
    from drivesim.cli import tune_tables
    from drivesim.cli.console import say, tell
    from drivesim.cli.mistakes import check_study, told_where_written
    from drivesim.cli.progress import counted
    from drivesim.scenario.study import study_kind
    from drivesim.tuning.files import write_tuned
    from drivesim.tuning.search import NothingKeepsError
    from drivesim.tuning.tune import loaded_from, runs_expected, tune

    check_study(study, "tune")
    loaded = loaded_from(study)
    folder = output or free_folder(Path("runs") / f"{study.stem.removeprefix('tune_')}-tune")
    check_target(folder, force)
    expected = runs_expected(loaded)
    located_in = contextlib.nullcontext if study_kind(study) else told_where_written
    try:
        with located_in(study), counted(expected, quiet=quiet) as progress:
            tuned = tune(loaded, jobs=jobs, progress=progress)
    except NothingKeepsError as error:
        say(error, err=True)
        raise click.exceptions.Exit(1) from None
    with writing(folder, force=force) as partial:
        write_tuned(tuned, partial)
        if not no_pictures:
            from drivesim.plots.tuning import write_pictures

            write_pictures(tuned, partial, style)
    tell(
        tuned.summary, as_json=as_json, quiet=quiet, folder=folder,
        printed=lambda out: tune_tables.print_tuned(out, tuned),
    )  # fmt: skip
