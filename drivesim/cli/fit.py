"""``drivesim fit``: bench logs → the rover's own numbers, with intervals and a YAML fragment."""

from __future__ import annotations

import json
from pathlib import Path

import click


@click.command("fit")
@click.argument("target", metavar="ROVER_OR_SCENARIO", type=click.Path(path_type=Path))
@click.argument("logs", metavar="LOG.csv...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--free", multiple=True, metavar="PATH", help="Fit this number, and only those named so (repeatable)."
)
@click.option(
    "-o", "--output", type=click.Path(path_type=Path), help="Folder to write fragment and pictures to."
)
@click.option("--force", is_flag=True, help="Replace the folder of an older fit.")
@click.option("--no-pictures", is_flag=True, help="Write no pictures.")
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON.")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="Seed of the bootstrap.")
@click.option(
    "--bootstrap",
    type=click.IntRange(0),
    default=200,
    show_default=True,
    help="Readings drawn anew so often.",
)
def command(
    target: Path,
    logs: tuple[Path, ...],
    free: tuple[str, ...],
    output: Path | None,
    force: bool,
    no_pictures: bool,
    as_json: bool,
    seed: int,
    bootstrap: int,
) -> None:
    """Fit the numbers of a rover to bench logs: what does it really have, and how sure is that?

    \b
    drivesim fit scenarios/rovers/crawler.yaml scenarios/bench/no_load.csv scenarios/bench/locked_rotor.csv
    drivesim fit my_rover.yaml spin_down.csv -o runs/bench

    All logs are fitted together. Their first line tells the test: '# test: no_load', loaded, back_emf, locked_rotor,
    spin_down, pull_out, warm_up, cell_pulse or rover; the header names columns and units: 'speed [rpm]'. The page
    docs/fit.md tells which columns each test has.

    Prints each number with its 95 % interval and what the file says. With -o it writes fitted.yaml (to stand under
    change: of a scenario), the tables, and pictures of measured against simulated.
    """
    from drivesim.analysis.files import check_target, writing
    from drivesim.cli import fit_tables, tables
    from drivesim.fitting.fit import fit
    from drivesim.fitting.target import load_target
    from drivesim.fitting.writing import fragment, write_fit

    if output is not None:
        check_target(output, force)
    _, whole = load_target(target)
    with fit_tables.working() as tick:
        found = fit(target, logs, free=free or None, seed=seed, bootstrap=bootstrap, tick=tick)
    if output is not None:
        with writing(output, force=force) as partial:
            write_fit(found, partial, target=target if whole else None, final=output)
            if not no_pictures:
                from drivesim.plots.fitting import write_fit_pictures

                write_fit_pictures(found, partial)
    if as_json:
        click.echo(json.dumps(found.summary, indent=2, ensure_ascii=False))
        return
    out = tables.console()
    fit_tables.print_fit(out, found)
    if output is None:
        out.print("\nto stand in a scenario:\n")
        out.print(fragment(found).rstrip(), markup=False, soft_wrap=True)
    else:
        tables.print_written(out, output)
