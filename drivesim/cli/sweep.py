"""``drivesim sweep``: many designs over the same grounds."""

from __future__ import annotations

from pathlib import Path

import click

from drivesim.cli import options
from drivesim.errors import DrivesimError


@click.command(
    "sweep",
    cls=options.Command,
    examples=(
        "drivesim sweep scenarios/studies/sweep_quick.yaml",
        "drivesim sweep scenarios/studies/sweep_mass_friction.yaml    # takes minutes",
    ),
    more="docs/sweep.md: axes, designs, maps, what matters most, and running on several computers",
)
@click.argument("study", type=options.InputFile("a sweep file"))
@click.option(
    "--cluster", metavar="ADDRESS", help="Run on the workers of this dask scheduler, such as tcp://host:8786."
)
@options.jobs
@options.output_only("runs/NAME", "Folder to write, or to go on in")
@options.no_pictures
@options.style
@options.as_json
@options.quiet
def command(
    study: Path, cluster: str | None, jobs: int | None, output: Path | None, no_pictures: bool, style: str,
    as_json: bool, quiet: bool,
) -> None:  # fmt: skip
    """Drive every design that STUDY asks for: where does it move, and what matters most?

    Every design drives the same grounds.  Prints how each figure lies over the designs and what explains it.
    Writes a folder with table.csv, table.nc, sensitivity.csv, summary.json and pictures.

    Finished runs are kept in the folder as they come: after Ctrl-C, a kill or a change of the study, the same
    command does only what is missing.  So there is no --force; a folder that holds anything else is refused.
    """
    from drivesim.cli import sweep_tables
    from drivesim.cli.console import tell
    from drivesim.cli.mistakes import check_study
    from drivesim.cli.progress import counted
    from drivesim.study.sweep import sweep
    from drivesim.study.sweep_setup import load_sweep

    if jobs is not None and cluster is not None:
        raise DrivesimError("--jobs counts runs at once here; a cluster has workers of its own")
    check_study(study, "sweep")
    setup = load_sweep(study)
    folder = output or Path("runs") / study.stem
    try:
        with counted(len(setup.design) * len(setup.seeds), quiet=quiet) as report:
            found = sweep(
                setup, folder=folder, jobs=jobs, cluster=cluster, progress=lambda done, total: report(done)
            )
        if not no_pictures:
            from drivesim.plots.sweep import write_pictures

            write_pictures(found, folder, style)
    except KeyboardInterrupt as stop:
        stop.add_note(f"finished runs are kept in {folder}/, and the same command goes on from there")
        raise
    tell(
        found.summary, as_json=as_json, quiet=quiet, folder=folder,
        printed=lambda out: sweep_tables.print_swept(out, found),
    )  # fmt: skip
