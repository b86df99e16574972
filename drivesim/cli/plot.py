"""``drivesim plot``: the pictures of a finished run."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("plot")
@click.argument("run", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="Folder for the pictures [default: the run's own].",
)
@click.option("--picture", "names", multiple=True, help="Draw only this picture; may be given again.")
@click.option(
    "--format",
    "formats",
    multiple=True,
    type=click.Choice(["png", "svg", "pdf"]),
    default=["png"],
    show_default=True,
)
def command(run: Path, output: Path | None, names: tuple[str, ...], formats: tuple[str, ...]) -> None:
    """Draw the pictures of RUN, a folder that ``drivesim run`` wrote.

    \b
    drivesim plot runs/slab_edge
    drivesim plot runs/slab_edge --picture fighting --format svg -o pictures
    """
    from drivesim.analysis.files import read_run
    from drivesim.plots import write_pictures

    folder = output or run
    written = write_pictures(read_run(run), folder, formats=formats, names=names or None)
    for path in written:
        click.echo(path)
