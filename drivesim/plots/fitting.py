"""Pictures of a fit: measured against the model, and what is left over; imports the layout and the fit's words.

A panel for each log and quantity; x is what was set in that test, or time.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, cast

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from drivesim.fitting.kinds import KINDS, quantity
from drivesim.fitting.words import size_text, written_unit
from drivesim.plots import layout
from drivesim.plots.files import write_figures
from drivesim.plots.style import BLUE, FAINT, GUIDE, INK, VERMILLION, one_line, signed, styled

if TYPE_CHECKING:
    import pandas as pd

    from drivesim.fitting.logs import Log
    from drivesim.fitting.result import Fit

ACROSS = 3  # panels side by side
BETWEEN = 0.72  # inches between panels
HEIGHT, PITCH = 1.45, 2.3  # inches of a panel, and from one to the next
CHANCE = 2.0  # standard deviations within which about 95 % of the residuals lie
MOST_LINES = 8  # in one panel
EDGE = 4.5  # standard deviations to which the residuals' scale reaches
MEASURED: Any = {
    "color": BLUE,
    "marker": "o",
    "markersize": 3.2,
    "linestyle": "none",
    "markeredgewidth": 0,
    "alpha": 0.75,
    "zorder": 1.8,
}
LEFT_OUT: Any = {
    "color": VERMILLION,
    "marker": "x",
    "markersize": 6,
    "linestyle": "none",
    "markeredgewidth": 1.6,
}
FITTED: Any = {"color": INK, "linewidth": 1.1}
FILE: Any = {"color": FAINT, "linewidth": 1.0, "linestyle": (0, (4, 2))}


class _Panel(NamedTuple):
    """What one panel shows: the log, the quantity, its rows, x, and which rows a line may join."""

    log: Log
    channel: str
    rows: pd.DataFrame
    x: np.ndarray
    across: str
    lines: list[np.ndarray]
    words: list[str]  # what each of several lines is for


@styled()
def fit_measured(fit: Fit) -> Figure:
    """Return the picture of what was measured, with the model as fitted and as the file has it."""
    keys = [
        layout.line_key("measured", **MEASURED),
        *_left_out_key(fit),
        layout.line_key("model, fitted", **FITTED),
        layout.line_key("model by the file", **FILE),
    ]

    def draw(axes: Axes, panel: _Panel) -> None:
        unit = quantity(panel.log.kind, panel.channel)[0]
        y = {name: panel.rows[name].to_numpy() for name in ("measured", "model", "by_the_file")}
        spelled, factor = _axis_unit(np.concatenate([y["measured"], y["model"]]), unit)
        for places, word in zip(panel.lines, panel.words, strict=True):
            axes.plot(panel.x[places], y["by_the_file"][places] / factor, **FILE)
            axes.plot(panel.x[places], y["model"][places] / factor, **FITTED)
            end = places[-1]
            axes.annotate(
                word, (panel.x[end], y["model"][end] / factor), xytext=(3, 0), textcoords="offset points",
                va="center", fontsize=layout.WORD_SIZE, annotation_clip=False,
            )  # fmt: skip
        out = panel.rows.outlier.to_numpy()
        axes.plot(panel.x[~out], y["measured"][~out] / factor, **MEASURED)
        axes.plot(panel.x[out], y["measured"][out] / factor, **LEFT_OUT)
        axes.set_ylabel(f"{quantity(panel.log.kind, panel.channel)[1].partition(',')[0]}{spelled}")
        axes.margins(x=0.16 if any(panel.words) else 0.04, y=0.08)

    return _grid(fit, "Measured, and simulated with the fitted numbers", keys, draw)


@styled()
def fit_residuals(fit: Fit) -> Figure:
    """Return the picture of the residuals, in standard deviations of each quantity's noise."""
    keys = [
        layout.line_key("measured less model", **MEASURED),
        *_left_out_key(fit),
        layout.line_key("±2 standard deviations, where 95 % should lie", color=FAINT, linewidth=0.8),
    ]

    def draw(axes: Axes, panel: _Panel) -> None:
        axes.axhspan(-CHANCE, CHANCE, color=GUIDE, linewidth=0, zorder=0.4)
        for level in (-CHANCE, CHANCE):
            axes.axhline(level, color=FAINT, linewidth=0.8)
        axes.axhline(0.0, color=INK, linewidth=0.6)
        scaled, out = panel.rows.scaled.to_numpy(), panel.rows.outlier.to_numpy()
        axes.plot(panel.x[~out], np.clip(scaled[~out], -EDGE, EDGE), **MEASURED)
        axes.plot(panel.x[out], np.clip(scaled[out], -EDGE, EDGE), **LEFT_OUT)
        for x, value in zip(panel.x, scaled, strict=True):
            if abs(value) > EDGE:
                down, side = (-6, "top") if value > 0 else (6, "bottom")
                axes.annotate(
                    signed(f"{value:.0f}"), (x, math.copysign(EDGE, value)), xytext=(0, down), ha="center",
                    va=side, textcoords="offset points", fontsize=layout.WORD_SIZE,
                )  # fmt: skip
        axes.set_ylim(-EDGE - 0.4, EDGE + 0.4)
        axes.set_yticks([-4, -2, 0, 2, 4])
        noise = next(test["noise"] for test in fit.summary["tests"] if test["name"] == panel.log.name)
        sd, unit = noise[panel.channel]["sd"], noise[panel.channel]["unit"]
        number, _, spelled = size_text(sd, unit).partition(" ")
        axes.set_ylabel(f"residual / {number} {_as_read(spelled)}")

    return _grid(fit, "What is left over: residuals in standard deviations", keys, draw)


def write_pictures(
    fit: Fit, folder: str | os.PathLike[str], style: str = "light", formats: Iterable[str] = ("png",)
) -> list[Path]:
    """Write both pictures into ``folder`` as NAME.FORMAT (png, svg, pdf); return their paths."""
    drawn = {draw.__name__: partial(draw, fit) for draw in (fit_measured, fit_residuals)}
    return write_figures(drawn, folder, formats, style)


def _left_out_key(fit: Fit) -> list[Any]:
    return [layout.line_key("left out: beyond chance", **LEFT_OUT)] if fit.summary["outliers"] else []


def _grid(fit: Fit, title: str, keys: Sequence[Any], draw: Callable[[Axes, _Panel], None]) -> Figure:
    panels = list(_panels(fit))
    rows = -(-len(panels) // ACROSS)
    figure, top = layout.page(cast(Any, fit), title, PITCH * rows, keys)
    width = (layout.INSIDE - BETWEEN * (ACROSS - 1)) / ACROSS
    for i, panel in enumerate(panels):
        left = layout.LEFT + (i % ACROSS) * (width + BETWEEN)
        axes = layout.panel(figure, left, top + PITCH * (i // ACROSS), width, HEIGHT)
        axes.margins(x=0.04)
        draw(axes, panel)
        axes.set_xlabel(panel.across)
        axes.xaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
        words = quantity(panel.log.kind, panel.channel)[1]
        layout.heading(
            axes, one_line(f"{panel.log.name.replace('_', ' ')}: {words.replace(', peak', '')}", 34)
        )
    return figure


def _panels(fit: Fit) -> Iterator[_Panel]:
    for log in fit.logs:
        mine = fit.residuals[fit.residuals.log == log.name]
        for channel, rows in mine.groupby("channel", sort=False):
            used = rows["row"].to_numpy() - 1
            name = KINDS[log.kind].across
            if name in log.table:
                unit, words = quantity(log.kind, name)
                spelled, factor = _axis_unit(log.table[name], unit)
                x, across = log.table[name][used] / factor, f"{words}{spelled}"
            else:
                x, across = used + 1.0, "row"
            yield _Panel(log, str(channel), rows, x, across, *_lines(log, x, used))


#: what else is set in tests with several lines, and its unit
_SET_ELSE = {"pull_out": (("frequency", "Hz"), ("speed", "rad/s")), "loaded": (("voltage", "V"),)}


def _lines(log: Log, x: np.ndarray, used: np.ndarray) -> tuple[list[np.ndarray], list[str]]:
    """Return the rows that one line joins, in the order of ``x``, and what each line is for, if there are several."""
    name, unit = next(((n, u) for n, u in _SET_ELSE.get(log.kind, ()) if n in log.table), ("", ""))
    if not name:
        return [np.argsort(x, kind="stable")], [""]
    values, kinds = np.unique(log.table[name][used], return_inverse=True)
    if values.size > MOST_LINES:
        return [np.array([i]) for i in range(used.size)], [""] * used.size
    found = [np.flatnonzero(kinds == k) for k in range(values.size)]
    return [places[np.argsort(x[places], kind="stable")] for places in found], [
        f"{v:.3g} {unit}" for v in values
    ]


def _axis_unit(values: np.ndarray, unit: str) -> tuple[str, float]:
    """Return what stands behind an axis' words, and the factor of the unit there."""
    most = float(np.abs(values).max(initial=0.0))
    spelled, factor = written_unit(most, unit) if most > 0 else (unit, 1.0)
    return f" [{_as_read(spelled) or '1'}]", factor


def _as_read(unit: str) -> str:
    """Return a unit as people write it."""
    found = unit.replace("*", "·").replace("degC", "°C")
    return f"µ{found[1:]}" if re.match(r"u[A-Z]", found) else found
