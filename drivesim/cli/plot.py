"""``drivesim plot``: the pictures of a finished run."""

from __future__ import annotations

from pathlib import Path

import click
from click.core import ParameterSource

from drivesim.cli import options
from drivesim.errors import DrivesimError


def _pictures() -> list[str]:
    from drivesim.plots import PICTURES

    return list(PICTURES)


def _given(name: str) -> bool:
    """Tell whether a parameter stands on the command line."""
    return click.get_current_context().get_parameter_source(name) is not ParameterSource.DEFAULT


@click.command(
    "plot",
    cls=options.Command,
    examples=(
        "drivesim plot runs/slab_edge",
        "drivesim plot runs/slab_edge --picture fighting --format svg -o pictures",
        "drivesim plot runs/slab_edge --clip --style dark",
    ),
    more="docs/run.md: what each picture shows",
)
@click.argument("run", type=options.Folder())
@click.option(
    "--picture",
    "names",
    multiple=True,
    metavar="NAME",
    type=options.Name(_pictures),
    help="Draw only this picture; may be given again.",
)
@click.option(
    "--format",
    "formats",
    multiple=True,
    type=options.OneOf(["png", "svg", "pdf"]),
    default=["png"],
    show_default=True,
    help="Format of the pictures; may be given again.",
)
@click.option(
    "--clip", is_flag=True, help="Write clip.gif, a few seconds to look at; pictures only where named too."
)
@options.output_only("the run's own", "Folder for the pictures")
@options.style
@options.as_json
@options.quiet
def command(
    run: Path, names: tuple[str, ...], formats: tuple[str, ...], style: str, clip: bool, output: Path | None,
    as_json: bool, quiet: bool,
) -> None:  # fmt: skip
    """Draw the pictures of RUN, a folder that drivesim run wrote.

    Prints the files that were written.  Pictures of the same names are replaced, all of them or none.
    """
    from drivesim.analysis.files import read_run
    from drivesim.cli.console import print_json, say
    from drivesim.plots import write_pictures

    folder = output or run
    if clip and not names and _given("formats"):
        raise DrivesimError(
            "--format is for pictures, a clip is a GIF always; name pictures with --picture too"
        )
    if output is not None and output.exists() and not output.is_dir():
        raise DrivesimError(f"--output: {output} is a file, needed: a folder")
    found, written = read_run(run), []
    if names or not clip:
        written += write_pictures(found, folder, formats=formats, names=names or None, style=style)
    if clip:
        from drivesim.cli.progress import counted
        from drivesim.plots.clip import Clip, write_clip

        film = Clip(found, style)
        with counted(len(film.frames), "frames", quiet=quiet) as report:
            written.append(write_clip(film, folder / "clip.gif", report))
    if as_json:
        print_json({"folder": str(folder), "files": [path.name for path in written]})
    elif not quiet:
        for path in written:
            say(path)
