"""Pictures of a sweep: which there are, and what they have in common; imports matplotlib (not pyplot)."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import LogLocator, NullLocator

from drivesim.plots.style import FAINT, one_line
from drivesim.study.sweep_axes import Axis
from drivesim.study.sweep_result import measure_words

if TYPE_CHECKING:
    from drivesim.study.sweep_result import Sweep

MOST_SLICES = 6  # of a third axis
SHARES_NOT = {"pole_slips"}  # plain numbers that are no shares
MARGIN, KEYS, BOTTOM = 0.1, 0.48, 0.28  # inches: left of words, down to the keys, below the panels
LETTER, SMALL_LETTER = 0.075, 0.063  # inches of one
SMALL = 0.1  # below this a figure is told in thousandths of its unit
THOUSANDTHS = {"W", "A", "J", "N", "V", "s", "m"}


ALL = {"map", "effects", "sensitivity"}


def pictures(sweep: Sweep) -> dict[str, Callable[[Sweep], Figure]]:
    """Return what can be drawn of ``sweep``, by the name of the file."""
    from drivesim.plots.sweep_effects import effects, sensitivity
    from drivesim.plots.sweep_maps import cells, scattered, slices

    found: dict[str, Callable[[Sweep], Figure]] = {}
    axes = sweep.design.axes
    if sweep.design.shape is None:
        if len(axes) == 2 and all(axis.unit is not None for axis in axes):
            found["map"] = scattered
    elif len(axes) == 2:
        found["map"] = cells
    elif len(axes) == 3 and min(sweep.design.shape) <= MOST_SLICES:
        found["map"] = slices
    found["effects"] = effects
    if len(axes) > 1 and len(sweep.sensitivity):
        found["sensitivity"] = sensitivity
    return found


def write_pictures(
    sweep: Sweep, folder: Path, style: str = "light", formats: Iterable[str] = ("png",)
) -> list[Path]:
    """Draw all pictures of ``sweep`` into ``folder`` as NAME.FORMAT (png, svg, pdf) and return their paths."""
    from drivesim.plots.files import FORMATS, write_figures

    drawn = {name: partial(draw, sweep) for name, draw in pictures(sweep).items()}
    written = write_figures(drawn, folder, formats, style)
    for name in ALL - drawn.keys():  # of what the folder held before
        for form in FORMATS:
            (folder / f"{name}.{form}").unlink(missing_ok=True)
    return written


def page(
    sweep: Sweep,
    title: str,
    rows: int,
    columns: int,
    size: tuple[float, float],
    note: str,
    *,
    keys: bool = True,
) -> tuple[Figure, Any]:
    """Return a page of panels of ``size`` inches each, with a title, the sweep's name, and a ``note`` below.

    ``keys``: leave room for a row of keys below the name.
    """
    width = columns * size[0]
    lines = textwrap.wrap(note, int((width - MARGIN) / SMALL_LETTER))
    top, bottom = KEYS + (0.28 if keys else 0.04), BOTTOM + 0.13 * (len(lines) - 1)
    figure = Figure(figsize=(width, rows * size[1] + top + bottom), layout="constrained")
    FigureCanvasAgg(figure)
    height = figure.get_figheight()
    inside = (0, bottom / height, 1, 1 - (top + bottom) / height)
    figure.set_layout_engine("constrained", rect=inside, w_pad=0.06, h_pad=0.06)
    x = MARGIN / width
    figure.text(x, 1 - 0.08 / height, title, va="top", fontsize=11, weight="bold")
    bars = f"success: {' and '.join(sweep.summary['success'])}"
    name = one_line(f"{one_line(sweep.name, 60)}   ·   {bars}", int(width / LETTER))
    figure.text(x, 1 - 0.28 / height, name, va="top", color=FAINT)
    figure.text(x, 0.08 / height, "\n".join(lines), va="bottom", color=FAINT, fontsize=7.5)
    return figure, figure.subplots(rows, columns, squeeze=False)


def keys_below_title(figure: Figure, handles: list[Any]) -> None:
    """Say what lines and marks mean, in a row below the sweep's name."""
    width, height = figure.get_size_inches()
    figure.legend(
        handles=handles, loc="upper left", bbox_to_anchor=(MARGIN / width, 1 - KEYS / height), ncols=len(handles),
        columnspacing=1.4, borderpad=0, borderaxespad=0, handletextpad=0.5,
    )  # fmt: skip


def shown(measure: str, values: np.ndarray) -> tuple[np.ndarray, str]:
    """Return the values of a measure as people read them, and its words with that unit."""
    words, unit = measure_words(measure)
    if unit == "1":
        if measure in SHARES_NOT:
            return values, words
        return 100 * values, f"{words} [%]"
    size = np.nanmax(np.abs(values), initial=0.0)
    if unit in THOUSANDTHS and 0 < size < SMALL:
        return 1e3 * values, f"{words} [m{unit}]"
    return values, f"{words} [{'°C' if unit == 'degC' else unit}]"


def axis_words(axis: Axis) -> str:
    """Return the label of an axis with its unit."""
    return f"{axis.label} [{axis.shown[0]}]" if axis.shown[0] else axis.label


def tick(axis: Axis, place: float) -> str:
    """Return a place of an axis without its unit."""
    return one_line(axis.word(place), 20) if axis.unit is None else f"{place * axis.shown[1]:.4g}"


def by_factors(along: Any) -> None:
    """Give one of matplotlib's axes a logarithmic scale, with plain numbers."""
    along._set_axes_scale("log")
    along.set_major_locator(LogLocator(subs=(1.0, 2.0, 3.0, 5.0, 7.0)))
    along.set_major_formatter("{x:g}")
    along.set_minor_locator(NullLocator())


def grounds_of(sweep: Sweep) -> str:
    """Return on how many grounds a design was driven."""
    count = len(sweep.dataset["ground"])
    return f"the same {count} grounds" if count > 1 else "one ground"
