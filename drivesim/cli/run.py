"""``drivesim run``: run one scenario, print the verdict, write the folder."""

from __future__ import annotations

import json
from pathlib import Path

import click


@click.command("run")
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option(
    "-o", "--output", type=click.Path(path_type=Path), help="Folder to write [default: runs/NAME, numbered]."
)
@click.option("--force", is_flag=True, help="Replace the folder of an older run.")
@click.option("--no-pictures", is_flag=True, help="Write no pictures.")
@click.option("--csv", "csv_traces", is_flag=True, help="Write the traces as traces.csv too.")
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON.")
@click.option(
    "--require", "bars", multiple=True, metavar="BAR", help="Exit with 1 unless met: 'distance > 2 m'."
)
@click.option("--check-step", is_flag=True, help="Run at half the step too, and print what changes.")
def command(
    scenario: Path,
    output: Path | None,
    force: bool,
    no_pictures: bool,
    csv_traces: bool,
    as_json: bool,
    bars: tuple[str, ...],
    check_step: bool,
) -> None:
    """Run SCENARIO: will it move on this ground, and if not, which wheel, when, why?

    \b
    drivesim run scenarios/slab_edge.yaml
    drivesim run scenarios/rubble_locked.yaml -o runs/locked --require "distance > 1 m"

    Prints a verdict, a table per wheel, the energy ledger and cautions, and writes a folder with the resolved
    scenario, summary.json, traces.nc, events.csv and pictures.
    """
    from drivesim.analysis.files import check_target, free_folder, write_run, writing
    from drivesim.analysis.headlines import Requirement, changes
    from drivesim.analysis.run import simulate
    from drivesim.cli import tables
    from drivesim.cli.mistakes import told_where_written
    from drivesim.cli.progress import simulated
    from drivesim.scenario import load_scenario

    requirements = [Requirement.parse(bar) for bar in bars]
    loaded = load_scenario(scenario)
    folder = output or free_folder(Path("runs") / scenario.stem)
    check_target(folder, force)
    out = tables.console()
    with told_where_written(scenario), simulated(loaded.duration) as progress:
        run = simulate(loaded, progress=progress)
    half = None
    if check_step:
        with simulated(loaded.duration) as progress:
            half = simulate(loaded, step=run.summary["step_s"] / 2, progress=progress)
    with writing(folder, force=force) as partial:
        write_run(run, partial, csv_traces=csv_traces)
        if not no_pictures:
            from drivesim.plots import write_pictures

            write_pictures(run, partial)
    if as_json:
        click.echo(json.dumps(run.summary, indent=2, ensure_ascii=False))
    else:
        tables.print_summary(out, run.summary)
        tables.print_written(out, folder)
    if half is not None:
        tables.console(stderr=as_json).print(
            tables.change_table(changes(run.summary, half.summary), run.summary["step_s"])
        )
    missed = [bar for bar in requirements if not bar.met(run.summary["figures"])]
    for bar in missed:
        found = run.summary["figures"][bar.name]
        click.echo(f"not met: {bar.text} (found {'nothing' if found is None else f'{found:.4g}'})", err=True)
    if missed:
        raise click.exceptions.Exit(1)
