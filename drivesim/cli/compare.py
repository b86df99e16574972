"""``drivesim compare``: several cases over the same grounds."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click


@click.command("compare")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--grounds", type=click.IntRange(1), help="How many grounds [40, or the file's own].")
@click.option("--first-ground", type=click.IntRange(0), help="Seed of the first ground [1001].")
@click.option(
    "--success", "bars", multiple=True, metavar="BAR", help="What counts as success: 'progress > 1 m'."
)
@click.option("--against", help="The case that the others are held against [the first].")
@click.option("--jobs", type=click.IntRange(1), help="Threads [all cores]; the result is the same.")
@click.option(
    "-o", "--output", type=click.Path(path_type=Path), help="Folder to write [default: runs/NAME, numbered]."
)
@click.option("--force", is_flag=True, help="Replace the folder of an older comparison.")
@click.option("--no-pictures", is_flag=True, help="Write no pictures.")
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON.")
def command(
    files: tuple[Path, ...],
    grounds: int | None,
    first_ground: int | None,
    bars: tuple[str, ...],
    against: str | None,
    jobs: int | None,
    output: Path | None,
    force: bool,
    no_pictures: bool,
    as_json: bool,
) -> None:
    """Compare cases: FILES are one file with ``cases:``, or two and more scenarios.

    \b
    drivesim compare scenarios/rubble_speed_loop.yaml scenarios/rubble_locked.yaml
    drivesim compare scenarios/studies/closed_or_locked.yaml --grounds 80 -o runs/closed_or_locked

    Every case drives the same grounds, with the same parts drawn where the file gives a ``spread``.  Prints each
    case's figures, the paired differences with 95 % intervals, and what the data decide and do not decide.
    """
    from drivesim.analysis.files import check_target, free_folder, writing
    from drivesim.analysis.headlines import Requirement
    from drivesim.cli import compare_tables, tables
    from drivesim.cli.progress import counted
    from drivesim.scenario import load_scenario
    from drivesim.study.compare import plan, run_plan

    for bar in bars:
        Requirement.parse(bar, "--success")
    given = {"grounds": grounds, "first_ground": first_ground, "success": bars or None, "against": against}
    settings = {name: value for name, value in given.items() if value is not None}
    source: Any = (
        files[0] if len(files) == 1 else {_name(files, i): load_scenario(f) for i, f in enumerate(files)}
    )
    planned = plan(source, **settings)
    name = files[0].stem if len(files) == 1 else f"{files[0].stem}_compared"
    folder = output or free_folder(Path("runs") / name)
    check_target(folder, force)
    out = tables.console()
    unfinished = folder.with_name(f".{folder.name}.unfinished")
    try:
        with counted(planned.runs) as progress:
            found = run_plan(planned, jobs=jobs, progress=progress, unfinished=unfinished)
    except KeyboardInterrupt:
        click.echo("interrupted; finished runs are kept, and the same command goes on from there", err=True)
        raise click.exceptions.Exit(130) from None
    with writing(folder, force=force) as partial:
        found.write(partial)
        if not no_pictures:
            from drivesim.plots.compare import write_compared

            write_compared(found, partial)
    unfinished.unlink(missing_ok=True)
    if as_json:
        click.echo(json.dumps(found.summary, indent=2, ensure_ascii=False))
        return
    compare_tables.print_compared(out, found)
    tables.print_written(out, folder)


def _name(files: tuple[Path, ...], index: int) -> str:
    """Return what a scenario's file is called in the comparison: its name, or its whole path where names are alike."""
    stems = [file.stem for file in files]
    return stems[index] if stems.count(stems[index]) == 1 else f"{files[index]} ({index + 1})"
