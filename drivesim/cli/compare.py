"""``drivesim compare``: several cases over the same grounds."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from drivesim.cli import options

LONGEST_NAME = 60  # characters of a case's name


@click.command(
    "compare",
    cls=options.Command,
    examples=(
        "drivesim compare scenarios/rubble_speed_loop.yaml scenarios/rubble_locked.yaml",
        "drivesim compare scenarios/studies/closed_or_locked.yaml --grounds 5",
    ),
    more="docs/compare.md: what is compared, how sure that is, and what a file with cases may hold",
)
@click.argument("files", nargs=-1, required=True, type=options.InputFile("a scenario, or a file with cases"))
@click.option(
    "--grounds",
    type=options.Whole(1),
    metavar="NUMBER",
    help="How many grounds [default: 40, or the file's own].",
)
@click.option(
    "--first-ground",
    type=options.Whole(0),
    metavar="SEED",
    help="Seed of the first ground [default: 1001, or the file's own].",
)
@click.option(
    "--success",
    "bars",
    multiple=True,
    metavar="BAR",
    help="What counts as success, such as 'progress > 1 m'; may be given again.",
)
@click.option(
    "--against", metavar="CASE", help="The case that the others are held against [default: the first]."
)
@click.option(
    "--keep",
    type=options.Whole(0),
    metavar="SEED",
    help="The ground whose whole runs are kept, to look at [default: where the cases differ most].",
)
@options.jobs
@options.output("runs/NAME, numbered")
@options.no_pictures
@options.style
@options.as_json
@options.quiet
def command(
    files: tuple[Path, ...],
    grounds: int | None,
    first_ground: int | None,
    bars: tuple[str, ...],
    against: str | None,
    keep: int | None,
    jobs: int | None,
    output: Path | None,
    force: bool,
    no_pictures: bool,
    style: str,
    as_json: bool,
    quiet: bool,
) -> None:
    """Compare cases over the same grounds: which is better, by how much, how sure is that?

    FILES are two or more scenarios, or one file that lists its cases.  Every case drives the same grounds, with the
    same parts drawn where the file gives a spread.

    Prints each case's figures, the paired differences with 95 % intervals, and what the data decide and do not
    decide.  Writes a folder with summary.json, runs.csv, runs.nc, differences.csv, each case's scenario,
    pictures, and the whole runs of one ground, which drivesim report plays side by side.

    After Ctrl-C the finished runs are kept beside that folder, and the same command goes on from there.
    """
    from drivesim.analysis.files import check_target, free_folder, writing
    from drivesim.analysis.headlines import Requirement
    from drivesim.cli import compare_tables
    from drivesim.cli.console import tell
    from drivesim.cli.mistakes import check_study
    from drivesim.cli.progress import counted
    from drivesim.scenario import load_scenario
    from drivesim.study.compare import plan, run_plan
    from drivesim.study.compare_keep import check_kept, keep_runs

    for bar in bars:
        Requirement.parse(bar, "--success")
    given = {"grounds": grounds, "first_ground": first_ground, "success": bars or None, "against": against}
    settings = {name: value for name, value in given.items() if value is not None}
    for file in files:
        check_study(file, "compare" if len(files) == 1 else "")
    source: Any = (
        files[0] if len(files) == 1 else {_name(files, i): load_scenario(f) for i, f in enumerate(files)}
    )
    planned = plan(source, **settings)
    if keep is not None:
        check_kept(planned, keep)
    name = files[0].stem if len(files) == 1 else f"{files[0].stem}_compared"
    folder = output or free_folder(Path("runs") / name)
    check_target(folder, force)
    unfinished = folder.with_name(f".{folder.name}.unfinished")
    try:
        with counted(planned.runs, quiet=quiet) as progress:
            found = run_plan(planned, jobs=jobs, progress=progress, unfinished=unfinished)
        with writing(folder, force=force) as partial:
            found.write(partial)
            ground = found.summary["most_different_ground"] if keep is None else keep
            kept = [folder / path.relative_to(partial) for path in keep_runs(planned, ground, partial)]
            if not no_pictures:
                from drivesim.plots.compare import write_pictures

                write_pictures(found, partial, style)
    except KeyboardInterrupt as stop:
        stop.add_note("finished runs are kept, and the same command goes on from there")
        raise
    unfinished.unlink(missing_ok=True)
    tell(
        found.summary, as_json=as_json, quiet=quiet, folder=folder,
        printed=lambda out: compare_tables.print_compared(out, found, ground, kept),
    )  # fmt: skip


def _name(files: tuple[Path, ...], index: int) -> str:
    """Return what a scenario's file is called in the comparison: its name, or where it is if names are alike.

    Of what is too long for a case's name the end is kept.
    """
    stems = [file.stem for file in files]
    own = stems[index]
    if stems.count(own) > 1 or len(own) > LONGEST_NAME:
        own = f"{files[index]} ({index + 1})"
    return own if len(own) <= LONGEST_NAME else f"…{own[1 - LONGEST_NAME :]}"
