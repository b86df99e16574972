"""``drivesim sweep``: many designs over the same grounds."""

from __future__ import annotations

import json
from pathlib import Path

import click


@click.command("sweep")
@click.argument("study", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="Folder to write, or to go on in [default: runs/NAME].",
)
@click.option("--jobs", type=click.IntRange(1, 1024), help="Threads [all cores]; the result is the same.")
@click.option(
    "--cluster", metavar="ADDRESS", help="Run on the workers of this dask scheduler, such as tcp://host:8786."
)
@click.option("--no-pictures", is_flag=True, help="Write no pictures.")
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON.")
def command(
    study: Path, output: Path | None, jobs: int | None, cluster: str | None, no_pictures: bool, as_json: bool
) -> None:
    """Drive every design that STUDY asks for: where does it move, and what matters most?

    \b
    drivesim sweep scenarios/studies/sweep_mass_friction.yaml
    drivesim sweep my_study.yaml -o runs/my_study --cluster tcp://workshop:8786

    Every design drives the same grounds.  Finished runs are kept in the folder as they come: after Ctrl-C, a kill or
    a change of the study, the same command does only what is missing.  Writes table.csv, table.nc, sensitivity.csv,
    summary.json and pictures.
    """
    from drivesim.cli import sweep_tables, tables
    from drivesim.cli.progress import counted
    from drivesim.study.sweep import sweep
    from drivesim.study.sweep_setup import load_sweep

    if jobs is not None and cluster is not None:
        raise click.UsageError("--jobs counts threads here; a cluster has workers of its own")
    setup = load_sweep(study)
    folder = output or Path("runs") / study.stem
    try:
        with counted(len(setup.design) * len(setup.seeds)) as report:
            found = sweep(
                setup, folder=folder, jobs=jobs, cluster=cluster, progress=lambda done, total: report(done)
            )
    except KeyboardInterrupt:
        text = f"interrupted; finished runs are kept in {folder}/, and the same command goes on from there"
        click.echo(text, err=True)
        raise click.exceptions.Exit(130) from None
    if not no_pictures:
        from drivesim.plots.sweep import write_pictures

        write_pictures(found, folder)
    if as_json:
        click.echo(json.dumps(found.summary, indent=2, ensure_ascii=False))
        return
    out = tables.console()
    sweep_tables.print_swept(out, found)
    tables.print_written(out, folder)
