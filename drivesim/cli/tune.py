"""``drivesim tune``: find the gains to flash, and prove them on grounds they were not tuned on."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path

import click


@click.command("tune")
@click.argument("study", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="Folder to write [default: runs/NAME-tune, numbered].",
)
@click.option("--force", is_flag=True, help="Replace the folder of an older tuning.")
@click.option("--no-pictures", is_flag=True, help="Write no pictures.")
@click.option("--jobs", type=click.IntRange(1, 1024), help="Runs at once [default: one a core].")
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON.")
def command(
    study: Path, output: Path | None, force: bool, no_pictures: bool, jobs: int | None, as_json: bool
) -> None:
    """Find the gains of STUDY, a tune file or a scenario, and prove them on grounds they were not tuned on.

    \b
    drivesim tune scenarios/studies/tune_rubble.yaml
    drivesim tune scenarios/rubble_speed_loop.yaml -o runs/gains

    Starts from the gains as they are and from a published rule, searches on training grounds, and compares all of
    them on held-out grounds.  Writes a folder with tuned.yaml (to put into a scenario), gains.h (for the wheel
    controller, in whole numbers), scenario.yaml, summary.json, tables and pictures.

    Exits with 1 where no gains keep what the file requires.
    """

    from drivesim.analysis.files import check_target, free_folder, writing
    from drivesim.cli import tables, tune_tables
    from drivesim.cli.mistakes import told_where_written
    from drivesim.cli.progress import counted
    from drivesim.scenario.study import study_kind
    from drivesim.tuning.files import write_tuned
    from drivesim.tuning.search import NothingKeepsError
    from drivesim.tuning.tune import loaded_from, runs_expected, tune

    loaded = loaded_from(study)
    folder = output or free_folder(Path("runs") / f"{study.stem.removeprefix('tune_')}-tune")
    check_target(folder, force)
    expected = runs_expected(loaded)
    located_in = contextlib.nullcontext if study_kind(study) else told_where_written
    try:
        with located_in(study), counted(expected) as progress:
            tuned = tune(loaded, jobs=jobs, progress=progress)
    except NothingKeepsError as error:
        click.echo(str(error), err=True)
        raise click.exceptions.Exit(1) from None
    with writing(folder, force=force) as partial:
        write_tuned(tuned, partial)
        if not no_pictures:
            from drivesim.plots.tuning import write_pictures

            write_pictures(tuned, partial)
    if as_json:
        click.echo(json.dumps(tuned.summary, indent=2, ensure_ascii=False))
        return
    out = tables.console()
    tune_tables.print_tuned(out, tuned)
    tables.print_written(out, folder)
