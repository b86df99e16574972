"""Pictures of a sweep: what each axis does by itself, and how much it explains; imports matplotlib (not pyplot)."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from drivesim.plots.style import BLUE, FAINT, GUIDE, INK, OCHRE, PALE, one_line, styled
from drivesim.plots.sweep import axis_words, by_factors, grounds_of, keys_below_title, page, shown, tick
from drivesim.study.sweep_result import FIRST, RANK, SHARE, TOTAL, mean_of_known, measure_words, per_design
from drivesim.study.sweep_sensitivity import LEVEL, drawn_anew

if TYPE_CHECKING:
    from drivesim.study.sweep_axes import Axis
    from drivesim.study.sweep_result import Sweep

MOST_AXES, MOST_MEASURES = 6, 5  # on a page; further ones stand in the tables
BIN = 8  # designs at least in each piece of a scattered axis
MOST_BINS = 10
LOOKS = {
    FIRST: ("o", BLUE, "first order: by itself"), TOTAL: ("s", OCHRE, "total: by itself or with others"),
    SHARE: ("o", BLUE, "by itself"), RANK: ("D", BLUE, "rank correlation"),
}  # fmt: skip
SCALES = {FIRST: "Sobol' index", SHARE: "share of the variance", RANK: "rank correlation"}


@styled()
def effects(sweep: Sweep) -> Figure:
    """Return a row a measure, a column an axis: its mean over all else, with a band of what chance leaves open."""
    axes, names = sweep.design.axes[:MOST_AXES], sweep.mapped[:MOST_MEASURES]
    on_grid = sweep.design.shape is not None
    grounds = grounds_of(sweep)
    note = (
        f"Mean over all other axes and {grounds}, with its 95 % interval over the grounds (bootstrap). "
        "A curve shares its grounds: its shape is surer than its height."
        if on_grid
        else f"Dots: designs, over {grounds}. Line and band: mean of neighbours, 95 % (bootstrap)."
    )
    figure, panels = page(sweep, "What each axis does", len(names), len(axes), (2.9, 1.75), note, keys=False)
    for number, (row, name) in enumerate(zip(panels, names, strict=True)):
        last = number == len(names) - 1
        values, words = shown(name, per_design(sweep.dataset, sweep.design, name))
        for i, (ax, axis) in enumerate(zip(row, axes, strict=True)):
            if on_grid:
                _curve(ax, axis, values.reshape(*(sweep.design.shape or ()), -1), i)
            else:
                _cloud(ax, axis, sweep.design.places[:, i], values)
            ax.grid(axis="y", color=GUIDE, linewidth=0.6)
            if last:
                ax.set_xlabel(axis_words(axis))
            ax.tick_params(labelbottom=last)
            if i == 0:
                ax.set_ylabel(_wrapped(words))
        low, high = min(ax.get_ylim()[0] for ax in row), max(ax.get_ylim()[1] for ax in row)
        if np.nanmin(values, initial=np.inf) == np.nanmax(
            values, initial=-np.inf
        ):  # no change is drawn as none
            only = float(np.nanmin(values))
            low, high = min(0.0, 1.1 * only), max(0.0, 1.1 * only) or 1.0
        for ax in row:
            ax.set_ylim(low, high)
            ax.tick_params(labelleft=ax is row[0])
    return figure


def _curve(ax: Axes, axis: Axis, values: np.ndarray, i: int) -> None:
    """Draw the mean over all other axes of a grid: the grounds are what is left to chance."""
    others = tuple(j for j in range(values.ndim - 1) if j != i)
    of_grounds = mean_of_known(values, others)  # (levels, grounds)
    mean, low, high = _interval(of_grounds)
    places = np.array([level.place for level in axis.levels])
    x = np.arange(len(places)) if axis.unit is None else places * axis.shown[1]
    if values.shape[-1] > 1:
        if axis.unit is None:
            ax.errorbar(x, mean, (mean - low, high - mean), fmt="none", color=FAINT, capsize=3, linewidth=1.2)
        else:
            ax.fill_between(x, low, high, color=PALE, alpha=0.7, linewidth=0)
    ax.plot(x, mean, "o" if axis.unit is None else "o-", color=BLUE, markersize=3.6, linewidth=1.4)
    if axis.unit is None:
        ax.set_xticks(x, [tick(axis, place) for place in places], rotation=20)
        ax.set_xlim(-0.5, len(x) - 0.5)
    elif axis.logarithmic:
        by_factors(ax.xaxis)


def _cloud(ax: Axes, axis: Axis, places: np.ndarray, values: np.ndarray) -> None:
    """Draw scattered designs, and the mean of those that lie together along this axis."""
    means = mean_of_known(values, (1,))
    known = np.isfinite(means)
    x, y = places[known] * axis.shown[1], means[known]
    if axis.unit is None:
        pieces = [np.flatnonzero(x == level.place) for level in axis.levels]
        x = x + np.random.default_rng(1).uniform(-0.25, 0.25, x.size)
        middles = np.arange(len(axis.levels), dtype=float)
        ax.set_xticks(middles, [tick(axis, level.place) for level in axis.levels], rotation=20)
    else:
        count = max(1, min(MOST_BINS, x.size // BIN))
        pieces = [piece for piece in np.array_split(np.argsort(x), count) if piece.size]
        middles = np.array([x[piece].mean() for piece in pieces])
        if axis.logarithmic:
            by_factors(ax.xaxis)
    ax.plot(x, y, ".", color=FAINT, alpha=0.5, markersize=4, markeredgewidth=0, zorder=1)
    if not any(piece.size for piece in pieces):
        return
    mean, low, high = np.array([np.ravel(_interval(y[piece][None])) for piece in pieces]).T
    if axis.unit is None:
        ax.errorbar(middles, mean, (mean - low, high - mean), fmt="o", color=BLUE, capsize=3, markersize=4)
    else:
        ax.fill_between(middles, low, high, color=BLUE, alpha=0.25, linewidth=0, zorder=2)
        ax.plot(middles, mean, "-", color=BLUE, linewidth=1.6, zorder=3)


def _interval(rows: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the mean of each row and the ends of its interval, by drawing columns anew, the same for all rows."""
    mean = mean_of_known(rows, (1,))
    if rows.shape[1] < 2:
        return mean, mean, mean
    weights, known = drawn_anew(rows.shape[1]), np.isfinite(rows)
    count = known @ weights.T
    draws = np.where(known, rows, 0.0) @ weights.T / np.where(count > 0, count, np.nan)
    low, high = (np.full(len(rows), np.nan) for _ in range(2))
    some = known.any(axis=1)
    if some.any():
        low[some], high[some] = np.nanquantile(draws[some], [(1 - LEVEL) / 2, (1 + LEVEL) / 2], axis=1)
    return mean, low, high


@styled()
def sensitivity(sweep: Sweep) -> Figure:
    """Return a panel a measure: how much each axis explains of it, dots with their intervals."""
    found = sweep.sensitivity
    names = [name for name in sweep.mapped if (found["measure"] == name).any()]
    axes = [axis for axis in sweep.design.axes if (found["axis"] == axis.name).any()]
    columns = 2 if len(names) in (2, 4) else min(3, len(names))
    rows = -(-len(names) // columns)
    figure, panels = page(
        sweep, "What matters: how much each axis explains", rows, columns,
        (3.4, 0.75 + 0.42 * len(axes)), "Bars: 95 % intervals by the bootstrap.",
    )  # fmt: skip
    kinds: list[str] = []
    for ax, name in zip(panels.flat, names, strict=False):
        own = found[found["measure"] == name]
        here = list(dict.fromkeys(own["kind"]))
        kinds += [kind for kind in here if kind not in kinds]
        for j, kind in enumerate(here):
            marker, colour, _ = LOOKS[kind]
            rows_of = own[own["kind"] == kind].set_index("axis")
            offset = (j - (len(here) - 1) / 2) * 0.28
            for i, axis in enumerate(axes):
                if axis.name in rows_of.index:
                    row = rows_of.loc[axis.name]
                    if np.isfinite(row["low"]):
                        ax.plot([row["low"], row["high"]], [i + offset] * 2, "-", color=colour, linewidth=1.8)
                    ax.plot(
                        row["value"], i + offset, marker, color=colour if kind != TOTAL else "white",
                        markeredgecolor=colour, markeredgewidth=1.4, markersize=6,
                    )  # fmt: skip
        ax.axvline(0.0, color=INK, linewidth=0.8)
        least, most = own["low"].fillna(0.0).min(), own["high"].fillna(0.0).max()
        ax.set_xlim(*((-1.05, 1.05) if RANK in here else (min(0.0, least) - 0.03, max(1.0, most) + 0.05)))
        ax.set_ylim(len(axes) - 0.5, -0.5)
        ax.set_yticks(range(len(axes)), [one_line(axis.label, 28) for axis in axes])
        ax.tick_params(axis="y", length=0, labelleft=ax in panels[:, 0])
        ax.set_title(_wrapped(measure_words(name)[0]), fontsize=8.5, loc="left")
        ax.set_xlabel(SCALES[here[0]])
        ax.grid(axis="x", color=GUIDE, linewidth=0.6)
    for ax in panels.flat[len(names) :]:
        ax.axis("off")
    keys_below_title(figure, [
        Line2D(
            [], [], linestyle="none", marker=LOOKS[kind][0], markeredgecolor=LOOKS[kind][1], markeredgewidth=1.4,
            color=LOOKS[kind][1] if kind != TOTAL else "white", label=LOOKS[kind][2],
        )
        for kind in kinds
    ])  # fmt: skip
    return figure


def _wrapped(words: str, most: int = 26) -> str:
    """Return words on two lines where they are long."""
    if len(words) <= most:
        return words
    blanks = [i for i, letter in enumerate(words) if letter == " "]
    at = min(blanks, key=lambda i: abs(i - len(words) / 2), default=None)
    return words if at is None else f"{words[:at]}\n{words[at + 1 :]}"
