"""Figures → files, all of them or none; imports the styles, matplotlib, and Pillow that comes with it."""

from __future__ import annotations

import gc
import os
import tempfile
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from drivesim.errors import DrivesimError
from drivesim.plots import chosen_style
from drivesim.plots.palettes import restyle
from drivesim.plots.style import DPI, styled

#: what is passed on for each format; no dates, so that the same run gives the same file
FORMATS: dict[str, dict[str, Any]] = {
    "png": {"dpi": (DPI, DPI), "compress_level": 1},
    "svg": {"metadata": {"Date": None}},
    "pdf": {"metadata": {"CreationDate": None}},
}


def write_figures(
    drawn: Mapping[str, Callable[[], Figure]],
    folder: str | os.PathLike[str],
    formats: Iterable[str] = ("png",),
    style: str = "light",
) -> list[Path]:
    """Write figures to ``folder`` as NAME.FORMAT, all of them or none, and return their paths.

    ``drawn``: by name, what draws a figure in the light style.  Raises DrivesimError for unknown formats and styles.
    """
    forms = tuple(dict.fromkeys(formats))
    for form in forms:
        if form not in FORMATS:
            raise DrivesimError(f"format of pictures: found '{form}', allowed: {', '.join(FORMATS)}")
    chosen_style(style)
    made = [f"{name}.{form}" for name in drawn for form in forms]
    with (
        filled(folder) as home,
        tempfile.TemporaryDirectory(prefix=".pictures-", dir=home) as workshop,
        _no_collection(),
    ):
        for name, draw in drawn.items():
            figure = restyle(draw(), style)
            for form in forms:
                path = Path(workshop, f"{name}.{form}")
                if form == "png":
                    pack(pixels(figure), path)
                else:
                    save(figure, path)
        for file in made:
            os.replace(Path(workshop, file), home / file)
    return [home / file for file in made]


@contextmanager
def filled(folder: str | os.PathLike[str]) -> Iterator[Path]:
    """Give a folder to fill, made anew if need be; one that was made anew goes again where the work is broken off."""
    home = Path(folder)
    new = not home.exists()
    home.mkdir(parents=True, exist_ok=True)
    try:
        yield home
    except BaseException:
        if new:
            with suppress(OSError):  # others have put something into it
                home.rmdir()
        raise


def pack(image: Image.Image, path: Path) -> None:
    """Write an image as PNG."""
    image.save(path, "png", **FORMATS["png"])


def pixels(figure: Figure) -> Image.Image:
    """Return a figure made by ``drivesim.plots`` as an image."""
    with styled(), _any_letters():
        figure.canvas.draw()
    assert isinstance(figure.canvas, FigureCanvasAgg)
    buffer = figure.canvas.buffer_rgba()
    return Image.frombuffer("RGBA", buffer.shape[1::-1], buffer, "raw", "RGBA", 0, 1).convert("RGB")


def save(figure: Figure, path: Path) -> None:
    """Write a figure in the format that ``path`` ends with."""
    with styled(), _any_letters():
        figure.savefig(path, **FORMATS[path.suffix[1:]])


@contextmanager
def _any_letters() -> Iterator[None]:
    """Let letters that the font lacks be shown as boxes without a warning."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


@contextmanager
def _no_collection() -> Iterator[None]:
    """Hold back the garbage collector: looking through the parts of figures costs a tenth of the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
