"""Pictures of a tuning: gains side by side on held-out grounds, and the map of what was tried; imports matplotlib.

The linear loop has a module of its own, ``drivesim.plots.tuning_loop``.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LogNorm, Normalize
from matplotlib.figure import Figure
from matplotlib.ticker import (
    FixedLocator,
    LogLocator,
    MaxNLocator,
    NullFormatter,
    NullLocator,
    ScalarFormatter,
)

from drivesim.plots.files import write_figures
from drivesim.plots.palettes import SHADES
from drivesim.plots.style import BLUE, DIM, FAINT, INK, VERMILLION, one_line, signed, styled
from drivesim.plots.tuning_loop import loop, margin_edge
from drivesim.tuning.held_out import column
from drivesim.tuning.problem import REAL, SHIPPED, TUNED, WHOLE
from drivesim.tuning.tuned import Tuned

WIDTH = 9.0  # inches
PART_LABELS = {
    "cost": "cost",
    "way_missed": "way missed, share",
    "stuck": "time stuck [s]",
    "failed": "not moving at the end",
    "tracking": "speed error, rms [rad/s]",
    "circulating_power": "circulating power [mW]",
    "slip_energy": "energy of slip [J]",
    "copper_energy": "heat in windings [J]",
    "peak_temperature": "winding above ambient [K]",
    "energy": "energy drawn [J]",
}
FACTOR = {"circulating_power": 1e3}
TICKS = {WHOLE: "whole numbers", REAL: "real numbers"}
BEHIND: Any = {"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 0.6}  # of words on marks
MOST_SIDE = 4  # panels side by side


def new_figure(height: float, title: str, under: str) -> Figure:
    """Return an empty page that says what it shows."""
    figure = Figure(figsize=(WIDTH, height))
    FigureCanvasAgg(figure)
    figure.text(0.083, 1 - 0.12 / height, title, va="top", fontsize=11, weight="bold")
    figure.text(0.083, 1 - 0.36 / height, one_line(under, 125), va="top", color=FAINT)
    return figure


@styled()
def before_after(tuned: Tuned) -> Figure:
    """Return the picture of every held-out ground with each of the gains: cost and its parts."""
    parts = ["cost", *tuned.summary["cost"]["weights"]]
    rows = -(-len(parts) // MOST_SIDE)
    height = 0.75 + 3.0 * rows
    first, last = tuned.summary["held_out"]["seeds"]
    figure = new_figure(
        height,
        "Gains on grounds that they were not tuned on",
        f"{tuned.summary['name']}: {last - first + 1} held-out grounds, a thin line each; bars: means; "
        "above: tuned − shipped (95 % interval)",
    )
    across = min(len(parts), MOST_SIDE)
    axes = figure.subplots(rows, across, squeeze=False)
    figure.subplots_adjust(
        left=0.083, right=0.985, top=1 - 0.95 / height, bottom=0.72 / height, wspace=0.38, hspace=0.55
    )
    for ax, part in zip(axes.flat, parts, strict=False):
        _paired(tuned, ax, part)
    for ax in list(axes.flat)[len(parts) :]:
        ax.set_axis_off()
    return figure


def _paired(tuned: Tuned, ax: Axes, part: str) -> None:
    cases = [
        case
        for case in (SHIPPED, *_rules(tuned), TUNED, WHOLE, REAL)
        if (tuned.held_out["case"] == case).any()
    ]
    factor = FACTOR.get(part, 1.0)
    values = np.column_stack([column(tuned.held_out, case, part) for case in cases]) * factor
    places = np.arange(len(cases))
    ax.plot(places, values.T, color=DIM, linewidth=0.5, zorder=1)
    for i, case in enumerate(cases):
        look: Any = {"s": 12, "zorder": 2, "linewidths": 0.7}
        colour = VERMILLION if case == SHIPPED else BLUE if case in (TUNED, WHOLE, REAL) else FAINT
        ax.scatter(np.full(values.shape[0], i), values[:, i], facecolors="none", edgecolors=colour, **look)
        ax.hlines(values[:, i].mean(), i - 0.3, i + 0.3, color=INK, linewidth=2.2, zorder=3)
    ax.set_xticks(places, [TICKS.get(case, case) for case in cases], fontsize=7.5, rotation=35, ha="right",
                  rotation_mode="anchor")  # fmt: skip
    ax.set_xlim(-0.5, len(cases) - 0.5)
    ax.set_ylim(bottom=0)
    ax.yaxis.set_major_locator(MaxNLocator(5))
    ax.set_ylabel(PART_LABELS[part])
    found = tuned.summary["held_out"]["tuned_less_shipped"][part]
    if found["low"] is not None:
        mean, low, high = (_short(found[key] * factor) for key in ("mean", "low", "high"))
        ax.set_title(f"{mean} ({low} … {high})", fontsize=7.5, loc="right", color=INK)


def _rules(tuned: Tuned) -> list[str]:
    return [case for case in tuned.summary["gains"] if case not in (SHIPPED, TUNED)]


def _short(value: float) -> str:
    return signed(f"{value:+#.2g}" if abs(value) < 10 else f"{value:+.0f}")


@styled()
def cost_map(tuned: Tuned) -> Figure:
    """Return the picture of every point that was looked at: two gains as a map, otherwise a panel for each gain."""
    paths = list(tuned.gains.index)
    under = f"{tuned.summary['name']}: cost over the training grounds, as a multiple of the shipped gains'"
    if len(paths) == 2:
        figure = new_figure(5.2, "What was tried", under)
        ax = figure.subplots()
        figure.subplots_adjust(left=0.083, right=1.07, top=0.85, bottom=0.1)
        _map(tuned, figure, ax, paths)
        return figure
    rows = -(-len(paths) // 2)
    height = 1.0 + 2.6 * rows
    figure = new_figure(height, "What was tried", under)
    axes = figure.subplots(rows, min(2, len(paths)), squeeze=False)
    figure.subplots_adjust(
        left=0.083, right=0.98, top=1 - 0.75 / height, bottom=0.5 / height, hspace=0.35, wspace=0.22
    )
    for ax, path in zip(axes.flat, paths, strict=False):
        _profile(tuned, ax, path)
    for ax in list(axes.flat)[len(paths) :]:
        ax.set_axis_off()
    return figure


def _map(tuned: Tuned, figure: Figure, ax: Axes, paths: list[str]) -> None:
    x, y = (tuned.map[path].values for path in paths)
    cost, reasons = tuned.map["cost"].values, tuned.map["reason"].values
    most = tuned.map["grounds"].values.max()
    taken = np.array([reason == "" for reason in reasons]) & np.isfinite(cost)
    size = 14 + 46 * tuned.map["grounds"].values / most
    ax.scatter(x[~taken], y[~taken], marker="x", s=18, color=DIM, linewidths=0.9, label="not taken")
    shown = ax.scatter(
        x[taken], y[taken], s=size[taken], c=cost[taken], cmap=SHADES, norm=_norm(cost[taken]),
        edgecolors=INK, linewidths=0.5, zorder=3,
    )  # fmt: skip
    _cases(tuned, ax, paths)
    _axis(tuned, ax, "x", paths[0])
    _axis(tuned, ax, "y", paths[1])
    for words, line in margin_edge(tuned, paths):
        ax.plot(*line, color=FAINT, linewidth=0.9, linestyle=(0, (5, 2)), zorder=1.5)
        if np.isfinite(line[1]).any():
            at = int(np.nanargmax(line[1]))
            ax.annotate(
                words, (line[0][at], line[1][at]), xytext=(0, 4), textcoords="offset points", fontsize=7,
                color=INK, ha="center" if at < line[0].size / 2 else "right", va="bottom", zorder=2, bbox=BEHIND,
            )  # fmt: skip
    bar = figure.colorbar(shown, ax=ax, pad=0.015, aspect=35)
    bar.set_label("cost (dark is cheap)")
    bar.ax.yaxis.set_major_locator(FixedLocator(_ticks(cost[taken])))
    bar.ax.yaxis.set_major_formatter(ScalarFormatter())
    bar.ax.yaxis.set_minor_locator(NullLocator())
    ax.set_title(
        f"size: grounds driven over, at most {most}; ×: not taken, misses what is required", fontsize=8,
        loc="left", color=FAINT,
    )  # fmt: skip


def _norm(cost: np.ndarray) -> Normalize:
    """Return a logarithmic scale of costs, or an even one where some are zero."""
    return LogNorm() if cost.min() > 0 else Normalize()


def _ticks(cost: np.ndarray) -> list[float]:
    low, high = float(cost.min()), float(cost.max())
    wide = high > 3 * low
    steps = (
        [0.3, 0.5, 0.7, 1, 1.5, 2, 3, 5, 7, 10]
        if wide
        else [0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.1, 1.2, 1.4, 1.6, 2, 2.5]
    )
    return [step for step in steps if low <= step <= high] or [low, high]


def _cases(tuned: Tuned, ax: Axes, paths: list[str]) -> None:
    marks = {SHIPPED: ("s", VERMILLION), TUNED: ("*", BLUE)}
    for case in tuned.summary["gains"]:
        at = (float(tuned.gains.loc[paths[0], case]), float(tuned.gains.loc[paths[1], case]))
        ends = [(float(tuned.gains.loc[path, "low"]), float(tuned.gains.loc[path, "high"])) for path in paths]
        shown = (float(np.clip(at[0], *ends[0])), float(np.clip(at[1], *ends[1])))
        word = case if shown == at else f"{case} (beyond the scale)"
        marker, colour = marks.get(case, ("^", FAINT))
        ax.plot(
            *shown, clip_on=False, marker=marker, color=colour, markersize=11 if case == TUNED else 7,
            markeredgecolor="white", markeredgewidth=0.8, zorder=4, linestyle="none",
        )  # fmt: skip
        ax.annotate(
            word, shown, xytext=(7, 5 if shown != at else -9), textcoords="offset points", fontsize=7.5,
            zorder=5, bbox=BEHIND,
        )  # fmt: skip


def _axis(tuned: Tuned, ax: Axes, which: str, path: str) -> None:
    row = tuned.gains.loc[path]
    low, high = float(row["low"]), float(row["high"])
    unit = "" if row["unit"] == "1" else f" [{row['unit'].replace('*', '·')}]"
    axis = ax.xaxis if which == "x" else ax.yaxis
    if tuned.map[path].attrs["scale"] == "log":
        (ax.set_xscale if which == "x" else ax.set_yscale)("log")
        axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axis.set_major_formatter(ScalarFormatter())
        axis.set_minor_formatter(NullFormatter())
    (ax.set_xlim if which == "x" else ax.set_ylim)(low, high)
    axis.set_label_text(f"{path.removeprefix('drive.').replace('_', ' ').replace('.', ': ')}{unit}")


def _profile(tuned: Tuned, ax: Axes, path: str) -> None:
    x, cost = tuned.map[path].values, tuned.map["cost"].values
    whole = tuned.map["grounds"].values == tuned.map["grounds"].values.max()
    for these, colour in ((~whole, DIM), (whole, INK)):
        ax.scatter(x[these], cost[these], s=14, facecolors="none", edgecolors=colour, linewidths=0.8)
    for row, (case, colour) in enumerate(((SHIPPED, VERMILLION), (TUNED, BLUE))):
        value = float(tuned.gains.loc[path, case])
        ax.axvline(value, color=colour, linewidth=1.1, linestyle="-" if case == TUNED else "--")
        ax.annotate(
            case, (value, 1.0), xycoords=("data", "axes fraction"), xytext=(3, -8 - 10 * row),
            textcoords="offset points", fontsize=7.5,
        )  # fmt: skip
    ax.set_ylabel("cost")
    _axis(tuned, ax, "x", path)


PICTURES: dict[str, Callable[[Tuned], Figure]] = {
    "tune_before_after": before_after, "tune_map": cost_map, "tune_loop": loop,
}  # fmt: skip


def write_pictures(
    tuned: Tuned, folder: str | os.PathLike[str], style: str = "light", formats: Iterable[str] = ("png",)
) -> list[Path]:
    """Write the pictures that apply into ``folder`` as NAME.FORMAT (png, svg, pdf) and return their paths."""
    drawn = {
        name: partial(draw, tuned)
        for name, draw in PICTURES.items()
        if name != "tune_loop" or tuned.linear is not None
    }
    return write_figures(drawn, folder, formats, style)
