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
    help="May be given again.",
)
@click.option(
    "--style",
    default="light",
    show_default=True,
    metavar="[light|dark|print]",
    help="print: black and grey, with heavier lines.",
)
@click.option(
    "--clip", is_flag=True, help="Write clip.gif, a few seconds to look at; pictures only where named too."
)
def command(
    run: Path, output: Path | None, names: tuple[str, ...], formats: tuple[str, ...], style: str, clip: bool
) -> None:
    """Draw the pictures of RUN, a folder that ``drivesim run`` wrote.

    \b
    drivesim plot runs/slab_edge
    drivesim plot runs/slab_edge --picture fighting --format svg -o pictures
    drivesim plot runs/slab_edge --clip --style dark
    """
    from drivesim.analysis.files import read_run
    from drivesim.plots import write_pictures

    folder, found = output or run, read_run(run)
    if names or not clip:
        for path in write_pictures(found, folder, formats=formats, names=names or None, style=style):
            click.echo(path)
    if clip:
        from drivesim.cli.progress import counted
        from drivesim.plots.clip import Clip, write_clip

        film = Clip(found, style)
        with counted(len(film.frames), "frames") as report:
            written = write_clip(film, folder / "clip.gif", report)
        click.echo(written)
