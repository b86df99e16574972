"""Pictures of a comparison: paired differences, way over time, conditions; imports the study's result."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from drivesim.analysis.measures import MEASURES
from drivesim.plots.files import write_figures
from drivesim.plots.layout import condition_keys
from drivesim.plots.levels import TIE
from drivesim.plots.style import (
    DIM,
    FAINT,
    GUIDE,
    INK,
    condition_look,
    one_line,
    styled,
    wheel_look,
    wheel_word,
)
from drivesim.study.compare_result import JUDGED, Compared
from drivesim.study.compare_words import scale

WIDTH = 9.6  # inches
BAND = (10, 90)  # % of grounds


def write_pictures(
    found: Compared, folder: Path, style: str = "light", formats: Iterable[str] = ("png",)
) -> list[Path]:
    """Write the pictures into ``folder`` as NAME.FORMAT (png, svg, pdf) and return their paths."""
    return write_figures(
        {name: partial(draw, found) for name, draw in PICTURES.items()}, folder, formats, style
    )


@styled()
def differences(found: Compared) -> Figure:
    """Return the paired differences: a dot a ground, mean and 95 % interval; filled where decided."""
    frame, against = found.differences, str(found.summary["against"])
    others = list(dict.fromkeys(frame.index.get_level_values("case")))
    figure = _figure(0.9 + 0.85 * len(others))
    panels = np.atleast_1d(figure.subplots(1, len(JUDGED), sharey=True))
    for axes, measure in zip(panels, JUDGED, strict=True):
        _difference_panel(axes, found, measure, others, against)
    names = []
    for name in others:
        row, count = frame.loc[(name, "success")], found.summary["grounds"]
        wins = [int(found.runs["success"].sel(case=case).sum()) for case in (name, against)]
        mark = ", decided" if row["decided"] else ", not decided"
        names.append(
            f"{one_line(name, 28)}\nsuccess {wins[0]} against {wins[1]} of {count}\n(p = {row['p']:.2g}{mark})"
        )
    panels[0].set_yticks(range(len(others)), names)
    panels[0].set_ylim(len(others) - 0.5, -0.5)
    _title(figure, f"Difference from {one_line(against, 40)} on the same grounds")
    figure.supxlabel(
        "Grey dot: one ground. Circle and bar: mean and its 95 % interval; filled where decided (Holm, 5 % for all "
        "panels and the success\ntogether), open where the data do not decide. Dashed: no difference.",
        fontsize=7.5, color=FAINT, ha="left", x=0.01,
    )  # fmt: skip
    return figure


def _difference_panel(axes: Axes, found: Compared, measure: str, others: list[str], against: str) -> None:
    base = found.runs[measure].sel(case=against).values
    values = [found.runs[measure].sel(case=name).values - base for name in others]
    largest = max((float(np.nanmax(np.abs(v))) for v in values if np.isfinite(v).any()), default=1.0)
    unit, factor, _ = scale(MEASURES[measure].unit, largest)
    rng = np.random.default_rng(2)
    axes.axvline(0.0, color=INK, linewidth=0.9, linestyle=(0, (5, 2)), zorder=1)
    for i, (name, own) in enumerate(zip(others, values, strict=True)):
        row = found.differences.loc[(name, measure)]
        shift = i + rng.uniform(-0.28, 0.28, own.size)
        axes.plot(factor * own, shift, ".", color=DIM, markersize=5, markeredgewidth=0, zorder=2)
        axes.plot(
            [factor * row["low"], factor * row["high"]], [i, i], "-", color=INK, linewidth=2.2, zorder=3
        )
        fill = INK if row["decided"] else "white"
        axes.plot(factor * row["mean"], i, "o", color=fill, markeredgecolor=INK, markersize=6.5, zorder=4)
    axes.set_xlabel("\n".join(textwrap.wrap(f"{MEASURES[measure].words} [{unit}]", 20)))
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color=GUIDE, linewidth=0.7)
    axes.locator_params(axis="x", nbins=4)


@styled()
def way(found: Compared) -> Figure:
    """Return the way along what was commanded over time: median of the grounds, and the middle four fifths."""
    figure = _figure(3.4)
    axes = figure.subplots()
    runs = found.runs
    time = runs["time"].values
    axes.plot(time, _told(found), color=FAINT, linewidth=1.0, linestyle=(0, (1, 1.5)))
    for i, name in enumerate(runs["case"].values):
        look = wheel_look(i)
        ways = runs["way"].sel(case=name).values
        low, high = np.percentile(ways, BAND, axis=0)
        axes.fill_between(time, low, high, color=look.colour, alpha=0.16, linewidth=0)
        for edge in (low, high):
            axes.plot(time, edge, look.line, color=look.colour, linewidth=0.6)
        axes.plot(time, np.median(ways, axis=0), look.line, color=look.colour, linewidth=1.8)
    _label_ends(axes, [(str(n), float(np.median(runs["way"].sel(case=n).values[:, -1])), i)
                       for i, n in enumerate(runs["case"].values)], float(time[-1]))  # fmt: skip
    axes.set_xlabel("time [s]")
    axes.set_ylabel("way along what was commanded [m]")
    axes.set_xlim(0.0, float(time[-1]))
    axes.grid(color=GUIDE, linewidth=0.7)
    axes.set_title(
        f"{found.summary['grounds']} grounds: thick the median, thin and shaded the middle four fifths; "
        "dotted: as commanded", loc="left", fontsize=8.5, color=FAINT,
    )  # fmt: skip
    _title(figure, "How far each case came")
    return figure


def _told(found: Compared) -> np.ndarray:
    """Return a straight line to the way commanded; ramps are short beside it."""
    time = found.runs["time"].values
    commands = next(iter(found.scenarios.values())).commands
    begin = commands[0].at + commands[0].ramp / 2
    whole = float(found.runs["commanded"].mean())
    line: np.ndarray = whole * np.clip((time - begin) / max(1e-9, time[-1] - begin), 0.0, 1.0)
    return line


def _label_ends(axes: Axes, ends: list[tuple[str, float, int]], at: float) -> None:
    """Write each case's name beside the end of its line, apart from each other."""
    low, high = axes.get_ylim()
    gap = (high - low) * 0.055
    place = -np.inf
    for name, value, i in sorted(ends, key=lambda end: end[1]):
        place = max(value, place + gap)
        axes.annotate(
            one_line(name, 26), (at, value), (at * 1.022, place), annotation_clip=False,
            va="center", fontsize=8,
            arrowprops={**TIE, "color": wheel_look(i).colour, "linewidth": 1.0},
        )  # fmt: skip


@styled()
def conditions(found: Compared) -> Figure:
    """Return the share of time of each wheel in each condition, a bar a wheel and case."""
    shares = found.runs["condition_share"].mean("ground")
    cases, wheels = list(shares["case"].values), list(shares["wheel"].values)
    figure = _figure(1.15 + 0.24 * (len(cases) + 0.6) * len(wheels))
    _title(figure, "What each wheel was doing")
    axes = figure.subplots()
    places, labels = [], []
    for j, wheel in enumerate(wheels):
        for i, case in enumerate(cases):
            at = j * (len(cases) + 0.8) + i
            left = 0.0
            for code in range(shares.sizes["condition"]):
                look, width = condition_look(code), float(shares.sel(case=case, wheel=wheel)[code])
                axes.barh(
                    at, width, left=left, height=0.8, color=look.colour, hatch=look.hatch,
                    edgecolor=look.hatch_colour, linewidth=0,
                )  # fmt: skip
                left += width
            axes.barh(at, left, height=0.8, fill=False, edgecolor=FAINT, linewidth=0.5)
            places.append(at)
            labels.append(f"{wheel_word(wheel)}: {one_line(case, 26)}" if i == 0 else one_line(case, 26))
    axes.set_yticks(places, labels)
    axes.invert_yaxis()
    axes.tick_params(axis="y", length=0)
    axes.set_xlim(0, 1)
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:.0%}")
    axes.set_xlabel(f"share of time, mean of {found.summary['grounds']} grounds")
    axes.legend(
        handles=condition_keys(),
        loc="lower left",
        bbox_to_anchor=(0, 1),
        ncols=6,
        borderpad=0,
        borderaxespad=0.4,
    )
    return figure


def _title(figure: Figure, text: str) -> None:
    figure.suptitle(text, x=0.01, ha="left", fontsize=11, weight="bold")


def _figure(height: float) -> Figure:
    figure = Figure(figsize=(WIDTH, max(2.4, height)), layout="constrained")
    FigureCanvasAgg(figure)
    return figure


#: the pictures of a comparison, by the names of their files
PICTURES: dict[str, Callable[[Compared], Figure]] = {
    "differences": differences,
    "way": way,
    "conditions": conditions,
}
