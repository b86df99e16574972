"""``drivesim report``: results on one page that opens from disk."""

from __future__ import annotations

from pathlib import Path

import click

from drivesim.cli import options


@click.command(
    "report",
    cls=options.Command,
    examples=(
        "drivesim report runs/slab_edge",
        "drivesim report runs/rubble_speed_loop runs/rubble_locked -o both.html",
    ),
    more="docs/report.md: what is on the page",
)
@click.argument("results", nargs=-1, required=True, type=options.Folder())
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    metavar="FILE",
    cls=options.Output,
    help="File to write [default: report.html in the folder; A_beside_B.html beside it for several].",
)
@click.option(
    "--force", is_flag=True, cls=options.Output, help="Replace a file that is not a page of drivesim."
)
@options.as_json
@options.quiet
def command(results: tuple[Path, ...], output: Path | None, force: bool, as_json: bool, quiet: bool) -> None:
    """Put RESULTS on one page: the folder of one result, or of several runs to see side by side.

    The page holds verdict, cautions, tables, events, pictures, traces to zoom into and the run played back.  Results
    of compare, tune, size, sweep and fit have pages too.

    It is one file that needs no network and no other file, and can be printed.
    """
    from drivesim.cli.console import print_json, say
    from drivesim.report.writing import REPORT, check_page, write_report

    target = output or _default(results, REPORT)
    check_page(target, force)
    path = write_report(results, target, force=force)
    if as_json:
        print_json({"file": str(path)})
    elif not quiet:
        say(path)


def _default(results: tuple[Path, ...], name: str) -> Path:
    """Return where the page goes: into the one result's folder, or beside the first one's."""
    if len(results) == 1:
        return results[0] / name
    return results[0].parent / ("_beside_".join(result.resolve().name for result in results) + ".html")
