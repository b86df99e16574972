"""Maps of a sweep over two of its axes; imports matplotlib (not pyplot) and what all its pictures have in common."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patheffects import withStroke

from drivesim.plots.palettes import KEEP, SHADES, on_shade
from drivesim.plots.style import FAINT, INK, signed, styled
from drivesim.plots.sweep import axis_words, by_factors, grounds_of, keys_below_title, page, shown, tick
from drivesim.study.sweep_axes import Axis
from drivesim.study.sweep_result import SUCCESS, per_design
from drivesim.study.sweep_words import HALF, regions

if TYPE_CHECKING:
    from drivesim.study.sweep_result import Sweep

MOST_CELLS = 14  # along a side, for numbers to fit
MOST_TICKS = 12


@styled()
def cells(sweep: Sweep) -> Figure:
    """Return a panel a measure: the first axis upwards, the second to the right, a cell a design."""
    names = sweep.mapped
    columns = min(2, len(names))
    rows = -(-len(names) // columns)
    figure, panels = page(
        sweep,
        "What each design does, mean over the grounds",
        rows,
        columns,
        (4.9 if columns > 1 else 6.5, 3.9),
        _note(sweep),
    )
    first, second = sweep.design.axes
    rates = _rates(sweep)
    for ax, name in zip(panels.flat, names, strict=False):
        values, words = shown(name, sweep.means(name).reshape(sweep.design.shape or ()))
        mesh = _cells(ax, values, _norm(values, name))
        _border(ax, rates)
        if name == SUCCESS:
            _undecided(ax, _open(sweep))
        _ticks(ax, second, first)
        _bar(figure, mesh, ax, words)
    for ax in panels.flat[len(names) :]:
        ax.axis("off")
    _keys(figure, sweep, rates)
    return figure


@styled()
def slices(sweep: Sweep) -> Figure:
    """Return maps over two axes, a column for each value of the third: the axis with the fewest values."""
    shape = sweep.design.shape
    assert shape is not None
    across = int(np.argmin(shape))
    rest = [i for i in range(3) if i != across]
    names = sweep.mapped[:4]
    figure, panels = page(
        sweep,
        "What each design does, mean over the grounds",
        len(names),
        shape[across],
        (3.3, 2.9),
        _note(sweep),
    )
    third, first, second = (sweep.design.axes[i] for i in (across, *rest))
    rates, undecided = _rates(sweep), _open(sweep)
    for i, (row, name) in enumerate(zip(panels, names, strict=True)):
        values, words = shown(name, sweep.means(name).reshape(shape))
        norm = _norm(values, name)
        for j, ax in enumerate(row):
            mesh = _cells(ax, values.take(j, across), norm)
            _border(ax, rates.take(j, across))
            if name == SUCCESS:
                _undecided(ax, undecided.take(j, across))
            _ticks(ax, second, first, small=True)
            if i == 0:
                ax.set_title(f"{third.label} {third.word(third.levels[j].place)}", fontsize=8.5)
        _bar(figure, mesh, list(row), words)
    _keys(figure, sweep, rates)
    return figure


@styled()
def scattered(sweep: Sweep) -> Figure:
    """Return a panel a measure with a dot a design; dots are filled where the grounds decide that the bars are met."""
    names = sweep.mapped
    columns = min(2, len(names))
    figure, panels = page(
        sweep, "What each design does, mean over the grounds", -(-len(names) // columns), columns, (4.9, 3.7),
        f"Each mark is a design, driven over {grounds_of(sweep)}.",
    )  # fmt: skip
    region = regions(per_design(sweep.dataset, sweep.design, SUCCESS))
    horizontal, vertical = sweep.design.axes[1], sweep.design.axes[0]
    x, y = (sweep.design.places[:, i] * axis.shown[1] for i, axis in ((1, horizontal), (0, vertical)))
    for ax, name in zip(panels.flat, names, strict=False):
        values, words = shown(name, sweep.means(name))
        norm = _norm(values, name)
        for rows, marker in ((region.yes, "o"), (region.no, "X"), (region.open, "D")):
            dots = ax.scatter(
                x[rows], y[rows], c=values[rows], norm=norm, cmap=SHADES, marker=marker, s=26,
                edgecolor=INK, linewidth=0.4,
            )  # fmt: skip
        _bar(figure, dots, ax, words)
        ax.set_xlabel(axis_words(horizontal))
        ax.set_ylabel(axis_words(vertical))
        for axis, along in ((horizontal, ax.xaxis), (vertical, ax.yaxis)):
            if axis.logarithmic:
                by_factors(along)
    for ax in panels.flat[len(names) :]:
        ax.axis("off")
    marks = (("o", "bars met on more than half of the grounds"), ("X", "on fewer"), ("D", "not decided"))
    keys_below_title(figure, [
        Line2D([], [], linestyle="none", marker=mark, color=FAINT, markeredgecolor=INK, label=words)
        for mark, words in marks
    ])  # fmt: skip
    return figure


def _rates(sweep: Sweep) -> np.ndarray:
    return sweep.means(SUCCESS).reshape(sweep.design.shape or ())


def _open(sweep: Sweep) -> np.ndarray:
    success = per_design(sweep.dataset, sweep.design, SUCCESS)
    undecided = regions(success).open & np.isfinite(success).any(axis=1)
    return undecided.reshape(sweep.design.shape or ())


def _note(sweep: Sweep) -> str:
    empty = "  Empty cells could not be made." if sweep.summary["refused"]["runs"] else ""
    return f"Each cell is a design, driven over {grounds_of(sweep)}.{empty}"


def _norm(values: np.ndarray, name: str) -> Normalize:
    if name == SUCCESS:
        return Normalize(0.0, 100.0)
    low, high = (float(end(values)) if np.isfinite(values).any() else 0.0 for end in (np.nanmin, np.nanmax))
    return Normalize(low, high if high > low else low + 1.0)


def _cells(ax: Axes, values: np.ndarray, norm: Normalize) -> Any:
    """Draw a matrix as cells, its first row at the bottom, with the numbers in them where they fit."""
    mesh = ax.pcolormesh(
        np.ma.masked_invalid(values), cmap=SHADES, norm=norm, edgecolors="white", linewidth=0.4
    )
    if max(values.shape) <= MOST_CELLS:
        peak = max(abs(norm.vmin or 0.0), abs(norm.vmax or 0.0))
        digits = 0 if peak >= 100 else 1 if peak >= 10 else 2
        size = 7.0 if max(values.shape) <= 8 else 6.0
        for (i, j), value in np.ndenumerate(values):
            if np.isfinite(value):
                ax.text(
                    j + 0.5, i + 0.5, signed(f"{value:.{digits}f}"), ha="center", va="center", fontsize=size, zorder=5,
                    **on_shade(SHADES, float(norm(value))),
                )  # fmt: skip
    return mesh


def _border(ax: Axes, rates: np.ndarray) -> None:
    """Draw the border between designs that meet the bars on more than half of the grounds and those that do not."""
    meets, known = rates > HALF, np.isfinite(rates)
    across = (meets[:, 1:] != meets[:, :-1]) & known[:, 1:] & known[:, :-1]
    upwards = (meets[1:] != meets[:-1]) & known[1:] & known[:-1]
    lines = [((j + 1, i), (j + 1, i + 1)) for i, j in np.argwhere(across)]
    lines += [((j, i + 1), (j + 1, i + 1)) for i, j in np.argwhere(upwards)]
    if lines:
        border = LineCollection(lines, colors="white", linewidths=1.3, capstyle="round", zorder=3, gid=KEEP)
        border.set_path_effects([withStroke(linewidth=3.2, foreground="black", capstyle="round")])
        ax.add_collection(border, autolim=False)


def _undecided(ax: Axes, cells_open: np.ndarray) -> None:
    for i, j in np.argwhere(cells_open):
        ax.plot(
            j + 0.88,
            i + 0.86,
            marker="o",
            markersize=3.6,
            color="white",
            markeredgecolor="black",
            zorder=4,
            gid=KEEP,
        )


def _ticks(ax: Axes, horizontal: Axis, vertical: Axis, *, small: bool = False) -> None:
    most = MOST_TICKS // 2 if small else MOST_TICKS
    for axis, set_ticks, set_label in (
        (horizontal, ax.set_xticks, ax.set_xlabel),
        (vertical, ax.set_yticks, ax.set_ylabel),
    ):
        places = [level.place for level in axis.levels]
        every = -(-len(places) // most)
        at = range(0, len(places), every)
        set_ticks([i + 0.5 for i in at], [tick(axis, places[i]) for i in at])
        set_label(axis_words(axis))
    if horizontal.unit is None:
        ax.tick_params(axis="x", rotation=20)
    ax.tick_params(length=0)
    for spine in ax.spines.values():
        spine.set_visible(False)


def _bar(figure: Figure, mesh: Any, ax: Any, words: str) -> None:
    bar = figure.colorbar(mesh, ax=ax, pad=0.02, aspect=28)
    bar.set_label(words)
    bar.outline.set_visible(False)
    bar.ax.tick_params(length=2)


def _keys(figure: Figure, sweep: Sweep, rates: np.ndarray) -> None:
    """Say what line and dots mean, in a row below the title."""
    handles: list[Any] = []
    if (rates > HALF).any() and (rates <= HALF).any():
        line = Line2D(
            [],
            [],
            color="white",
            linewidth=1.3,
            gid=KEEP,
            label="border of: met on more than half of the grounds",
        )
        line.set_path_effects([withStroke(linewidth=3.2, foreground="black")])
        handles.append(line)
    if SUCCESS in sweep.mapped and _open(sweep).any():
        dot: dict[str, Any] = {
            "marker": "o",
            "markersize": 3.6,
            "color": "white",
            "markeredgecolor": "black",
            "gid": KEEP,
        }
        handles.append(Line2D([], [], linestyle="none", label="so many grounds do not decide (95 %)", **dot))
    if handles:
        keys_below_title(figure, handles)
