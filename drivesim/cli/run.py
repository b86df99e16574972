"""``drivesim run``: run one scenario, print the verdict, write the folder."""

from __future__ import annotations

from pathlib import Path

import click

from drivesim.cli import options


@click.command(
    "run",
    cls=options.Command,
    examples=(
        "drivesim run scenarios/bench_start.yaml",
        'drivesim run scenarios/slab_edge.yaml -o edge --require "distance > 10 cm"',
        "drivesim run scenarios/bench_start.yaml --json --no-pictures > bench.json",
    ),
    several="run them one by one, or hold them against each other with drivesim compare",
    fails="a bar given with --require was not met",
    more="docs/run.md: what the verdict, the table and the pictures say; docs/scenarios.md: what a scenario may hold",
)
@click.argument("scenario", type=options.InputFile("a scenario"))
@click.option(
    "--require",
    "bars",
    multiple=True,
    metavar="BAR",
    help="Exit with 1 unless met, such as 'distance > 2 m'; may be given again.",
)
@click.option("--check-step", is_flag=True, help="Run at half the step too, and print what changes.")
@options.output("runs/NAME, numbered")
@options.no_pictures
@options.style
@click.option(
    "--csv", "csv_traces", is_flag=True, cls=options.Output, help="Write the traces as traces.csv too."
)
@options.as_json
@options.quiet
def command(
    scenario: Path,
    bars: tuple[str, ...],
    check_step: bool,
    output: Path | None,
    force: bool,
    no_pictures: bool,
    style: str,
    csv_traces: bool,
    as_json: bool,
    quiet: bool,
) -> None:
    """Run SCENARIO: will it move on this ground, and if not, which wheel, when, why?

    Prints a verdict, a table of the wheels, where the energy went, and cautions.  Writes a folder with
    scenario.yaml (every value spelled out), summary.json, traces.nc, events.csv and pictures.

    The folder is written whole or not at all.
    """
    from drivesim.analysis.files import check_target, free_folder, write_run, writing
    from drivesim.analysis.headlines import Requirement, changes
    from drivesim.analysis.run import simulate
    from drivesim.cli import tables
    from drivesim.cli.console import console, say, show, tell
    from drivesim.cli.mistakes import check_study, told_where_written
    from drivesim.cli.progress import simulated
    from drivesim.scenario import load_scenario

    requirements = [Requirement.parse(bar) for bar in bars]
    check_study(scenario)
    loaded = load_scenario(scenario)
    folder = output or free_folder(Path("runs") / scenario.stem)
    check_target(folder, force)
    with told_where_written(scenario), simulated(loaded.duration, quiet=quiet) as progress:
        run = simulate(loaded, progress=progress)
    half = None
    if check_step:
        with simulated(loaded.duration, quiet=quiet) as progress:
            half = simulate(loaded, step=run.summary["step_s"] / 2, progress=progress)
    with writing(folder, force=force) as partial:
        write_run(run, partial, csv_traces=csv_traces)
        if not no_pictures:
            from drivesim.plots import write_pictures

            write_pictures(run, partial, style=style)
    tell(
        run.summary, as_json=as_json, quiet=quiet, folder=folder,
        printed=lambda out: tables.print_summary(out, run.summary),
    )  # fmt: skip
    if half is not None and not quiet:
        show(
            console(stderr=as_json),
            tables.change_table(changes(run.summary, half.summary), run.summary["step_s"]),
        )
    missed = [bar for bar in requirements if not bar.met(run.summary["figures"])]
    for bar in missed:
        found = run.summary["figures"][bar.name]
        say(f"not met: {bar.text} (found {'nothing' if found is None else f'{found:.4g}'})", err=True)
    if missed:
        raise click.exceptions.Exit(1)
