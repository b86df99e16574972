"""``drivesim fit``: bench logs → the rover's own numbers, with intervals and a YAML fragment."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from drivesim.cli import options

if TYPE_CHECKING:
    from rich.console import Console


@click.command(
    "fit",
    cls=options.Command,
    examples=(
        "drivesim fit scenarios/rovers/crawler.yaml scenarios/bench/no_load.csv",
        "drivesim fit scenarios/bench_start.yaml scenarios/bench/spin_down.csv -o bench",
    ),
    more="docs/fit.md: the tests, the columns of their logs, and what the intervals mean",
)
@click.argument(
    "target", metavar="ROVER_OR_SCENARIO", type=options.InputFile("a rover's file, or a scenario")
)
@click.argument(
    "logs", metavar="LOG.csv...", nargs=-1, required=True, type=options.InputFile("a log", (".csv", ".txt"))
)
@click.option(
    "--free",
    multiple=True,
    metavar="PATH",
    help="Fit this number, and only those named so; may be given again.",
)
@click.option(
    "--seed",
    type=options.Whole(0),
    metavar="NUMBER",
    default=1,
    show_default=True,
    help="Seed of the bootstrap.",
)
@click.option(
    "--bootstrap",
    type=options.Whole(0),
    metavar="NUMBER",
    default=200,
    show_default=True,
    help="Readings drawn anew so often.",
)
@options.output("nothing is written")
@options.no_pictures
@options.style
@options.as_json
@options.quiet
def command(
    target: Path,
    logs: tuple[Path, ...],
    free: tuple[str, ...],
    seed: int,
    bootstrap: int,
    output: Path | None,
    force: bool,
    no_pictures: bool,
    style: str,
    as_json: bool,
    quiet: bool,
) -> None:
    """Fit the numbers of a rover to bench logs: what does it really have, and how sure is that?

    All logs are fitted together.  Their first line tells the test: '# test: no_load', loaded, back_emf, locked_rotor,
    spin_down, pull_out, warm_up, cell_pulse or rover; the header names columns and units: 'speed [rpm]'.

    Prints each number with its 95 % interval and what the file says, and the lines to put into a scenario.  With -o
    these lines are written as fitted.yaml, with summary.json, tables, and pictures of measured against simulated.
    """
    from drivesim.analysis.files import check_target, writing
    from drivesim.cli import fit_tables
    from drivesim.cli.console import tell
    from drivesim.cli.progress import working
    from drivesim.fitting.fit import fit
    from drivesim.fitting.target import load_target
    from drivesim.fitting.writing import fragment, write_fit

    if output is not None:
        check_target(output, force)
    _, whole = load_target(target)
    with working("fitting", "the model was worked out {} times", quiet=quiet) as tick:
        found = fit(target, logs, free=free or None, seed=seed, bootstrap=bootstrap, tick=tick)
    if output is not None:
        with writing(output, force=force) as partial:
            write_fit(found, partial, target=target if whole else None, final=output)
            if not no_pictures:
                from drivesim.plots.fitting import write_pictures

                write_pictures(found, partial, style)

    def printed(out: Console) -> None:
        fit_tables.print_fit(out, found)
        if output is None:
            out.print("\nto stand in a scenario:\n")
            out.print(fragment(found).rstrip(), soft_wrap=True)

    tell(found.summary, as_json=as_json, quiet=quiet, folder=output, printed=printed)
