"""``drivesim report``: results on one page that opens from disk."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("report")
@click.argument("results", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="File to write [default: report.html in the folder; runs/A_beside_B.html for several].",
)
@click.option("--force", is_flag=True, help="Replace a file that is not a page of drivesim.")
def command(results: tuple[Path, ...], output: Path | None, force: bool) -> None:
    """Put RESULTS on one page: the folder of one result, or of several runs to see side by side.

    \b
    drivesim report runs/slab_edge
    drivesim report runs/rubble_speed_loop runs/rubble_locked -o closed_or_locked.html

    The page holds verdict, cautions, tables, events, pictures, traces to zoom into and the run played back; it needs
    no network and no other file, and can be printed.  Results of compare, tune, size, sweep and fit have pages too.
    """
    from drivesim.report.writing import REPORT, check_page, write_report

    target = output or _default(results, REPORT)
    check_page(target, force)
    click.echo(write_report(results, target, force=force))


def _default(results: tuple[Path, ...], name: str) -> Path:
    """Return where the page goes: into the one result's folder, or beside the first one's."""
    if len(results) == 1:
        return results[0] / name
    return results[0].parent / ("_beside_".join(result.name for result in results) + ".html")
