"""Pictures of a sizing: torque–speed lines, limits, levers; imports sizing and the style."""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from drivesim.plots.files import write_figures
from drivesim.plots.layout import LEFT, RIGHT, WIDTH, panel
from drivesim.plots.sizing_levers import draw_levers
from drivesim.plots.style import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    OCHRE,
    PALE,
    PURPLE,
    VERMILLION,
    one_line,
    styled,
    wheel_look,
    wheel_word,
)
from drivesim.sizing.answers import STATE_WORDS, STATES, TASKS
from drivesim.sizing.rows import asked_text
from drivesim.sizing.verdict import shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from drivesim.sizing.size import Sizing

#: how each state's line and bar look
LOOKS: dict[str, tuple[str, Any, str]] = {
    "now": (BLUE, "-", "full bus, windings cold"),
    "hot": (VERMILLION, "--", "full bus, windings at their limit"),
    "for_ever": (GREEN, "-.", "for ever, by heat and ratings"),
}
BARS = {"now": (BLUE, ""), "hot": (OCHRE, "////"), "for_ever": (GREEN, "...."), "wheel_up": (PURPLE, "xx")}
DEMANDS = {
    "level": "level", "slope": "the slope asked for", "tow": "the pull asked for", "turn": "turn on the spot",
    "step": "front wheels up the step",
}  # fmt: skip
ROLLING = ("level", "slope", "tow")  # these grow with the bearings' drag
ALIKE = 0.01  # of the greatest torque: wheels that differ by less are drawn as one
LINES_HEIGHT, LIMIT_ROW = 3.6, 0.86  # inches
AT = 0.64  # of the scale of speed, where such a demand is told
APART = 0.05  # of the scale, between words at the right edge


def write_pictures(
    sizing: Sizing, folder: Path, style: str = "light", formats: Iterable[str] = ("png",)
) -> list[Path]:
    """Write the pictures into ``folder`` as NAME.FORMAT (png, svg, pdf) and return their paths."""
    drawn = {"size_lines": draw_lines, "size_limits": draw_limits, "size_levers": draw_levers}
    return write_figures(
        {name: partial(draw, sizing) for name, draw in drawn.items()}, folder, formats, style
    )


def _page(sizing: Sizing, title: str, height: float) -> Figure:
    figure = Figure(figsize=(WIDTH, height))
    FigureCanvasAgg(figure)
    summary = sizing.summary
    battery = f"{summary['cells_in_series']} in series at {summary['charge']:.0%} charge"
    about = f"{one_line(summary['name'], 80)}: {battery}"
    figure.text(LEFT / WIDTH, 1 - 0.12 / height, title, va="top", fontsize=11, weight="bold")
    figure.text(LEFT / WIDTH, 1 - 0.35 / height, one_line(about, 118), va="top", color=FAINT)
    return figure


@styled()
def draw_lines(sizing: Sizing) -> Figure:
    """Return force at the rim over rim speed: what the drive gives, and what the ground demands."""
    lines = sizing.lines
    uneven = _uneven(sizing)
    above = 1.3 if uneven else 0.95
    height = above + LINES_HEIGHT + 0.55
    figure = _page(sizing, "What the wheels give at the rim, and what the ground demands", height)
    room = WIDTH - LEFT - RIGHT - 0.45
    ax = panel(figure, LEFT, above, room, LINES_HEIGHT)
    speed = lines["speed"].values
    keys = []
    for name, (colour, style, words) in LOOKS.items():
        ax.plot(speed, lines[f"force_{name}"].values, color=colour, linestyle=style, linewidth=1.6)
        keys.append(Line2D([], [], color=colour, linestyle=style, linewidth=1.6, label=words))
    if uneven:
        for i, wheel in enumerate(lines["wheel"].values):
            look, own = wheel_look(i), lines["torque_now"].sel(wheel=wheel).values / _radius(sizing)
            if not own.any():
                continue
            thin: Any = {"color": look.colour, "linestyle": look.line, "linewidth": 0.8}
            ax.plot(speed, own, **thin)
            keys.append(Line2D([], [], **thin, label=wheel_word(wheel)))
    _demand_lines(ax, sizing)
    ax.set_xlim(0.0, float(speed[-1]))
    ax.set_xlabel("rim speed [m/s]")
    ax.set_ylabel("force at the rim, all wheels [N]")
    asked = float(sizing.summary["asked"]["speed_m_s"])
    ax.axvline(asked, color=PALE, linewidth=0.9, linestyle=":", zorder=0)
    ax.annotate(
        f"{asked:.3g} m/s", (asked, 1.0), (3, 2), xycoords=("data", "axes fraction"), textcoords="offset points",
        fontsize=7.5, color=FAINT,
    )  # fmt: skip
    figure.legend(
        handles=keys, loc="upper left", bbox_to_anchor=(LEFT / WIDTH, 1 - 0.52 / height), ncols=min(len(keys), 3),
        borderpad=0, borderaxespad=0, columnspacing=1.4, handletextpad=0.5,
    )  # fmt: skip
    if not uneven:
        driven = int((lines["torque_now"].max("speed") > 0).sum()) or 1
        per_wheel = _radius(sizing) / driven * 1e3
        there_and_back: Any = (lambda f: f * per_wheel, lambda t: t / per_wheel)
        right = ax.secondary_yaxis("right", functions=there_and_back)
        right.set_ylabel(f"torque of each of {driven} wheels [mN·m]")
    return figure


def _radius(sizing: Sizing) -> float:
    return float(sizing.scenario.rover.wheel.radius)


def _uneven(sizing: Sizing) -> bool:
    """Tell whether driven wheels differ enough to be drawn one by one."""
    most = sizing.lines["torque_now"].isel(speed=0).values
    driven = most[most > 0]
    return bool(driven.size) and float(driven.max() - driven.min()) > ALIKE * float(driven.max())


def _demand_lines(ax: Axes, sizing: Sizing) -> None:
    """Draw what the ground demands, each line told at its right end, words kept apart."""
    lines = sizing.lines
    found = [(name, lines[f"demand_{name}"].values) for name in DEMANDS if f"demand_{name}" in lines]
    top = 1.08 * max(float(lines["force_now"].max()), *(float(values[0]) for _, values in found), 1e-9)
    ax.set_ylim(0.0, top)
    speed = lines["speed"].values
    # what grows with speed is told below its own line, what does not above it and at the right
    for rolling, at in ((True, int(AT * len(speed))), (False, -1)):
        group = [(name, values) for name, values in found if (name in ROLLING) is rolling]
        sign = -1 if rolling else 1
        place = math.inf if rolling else -math.inf
        for name, values in sorted(group, key=lambda item: sign * float(item[1][at])):
            note = lines[f"demand_{name}"].attrs.get("note", "")
            note = f" ({note})" if note else ""
            ax.plot(
                speed, values, color=INK, linewidth=0.9, linestyle=(0, (6, 2)) if rolling else (0, (1.5, 1.5))
            )
            own = float(values[at]) / top + sign * 0.5 * APART
            place = min(own, place - APART) if rolling else max(own, place + APART)
            ax.text(
                AT if rolling else 0.99, place, f"{DEMANDS[name]}: {values[0]:.3g} N at a crawl{note}" if rolling
                else f"{DEMANDS[name]}: {values[0]:.3g} N", transform=ax.transAxes,
                ha="center" if rolling else "right", va="center", fontsize=7.5,
                bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 0.6},
            )  # fmt: skip


@styled()
def draw_limits(sizing: Sizing) -> Figure:
    """Return each limit as bars: now, hot, for ever, with a wheel in the air, each with what sets it."""
    rows = [
        (str(task), row)
        for task, row in sizing.limits.iterrows()
        if any(math.isfinite(row[state]) for state in STATES) and len(TASKS[str(task)].states) > 1
    ]
    height = 0.75 + LIMIT_ROW * len(rows) + 0.1
    figure = _page(sizing, "Limits, and what sets them", height)
    left, wide = 2.35, 4.9
    for i, (task, row) in enumerate(rows):
        about = TASKS[task]
        states = [state for state in about.states if math.isfinite(row[state])]
        ax = panel(figure, left, 0.8 + i * LIMIT_ROW, wide, LIMIT_ROW - 0.22)
        values = np.array([row[state] for state in states]) * about.factor
        goal = row["asked"] * about.factor
        top = 1.02 * max(float(values.max(initial=0.0)), goal if math.isfinite(goal) else 0.0) or 1.0
        for j, (state, value) in enumerate(zip(states, values.tolist(), strict=True)):
            colour, hatch = BARS[state]
            ax.barh(-j, value, height=0.74, color=colour, hatch=hatch, edgecolor="white", linewidth=0.0)
            words = f"{shown(task, row[state])}  {row[f'{state}_limit']}"
            ax.annotate(
                f"{STATE_WORDS[state]}:  {words}", (1.0, -j), (6, 0), xycoords=("axes fraction", "data"),
                textcoords="offset points", va="center", fontsize=7.5, annotation_clip=False,
            )  # fmt: skip
        if math.isfinite(goal):
            ax.axvline(goal, color=INK, linewidth=1.2, linestyle=(0, (4, 1.5)))
        ax.set_xlim(0.0, top)
        ax.set_ylim(-len(states) + 0.45, 0.55)
        ax.set_yticks([])
        ax.tick_params(axis="x", labelsize=7, pad=1.5, length=2)
        unit = "torque at hand / torque needed" if about.shown_unit == "×" else about.shown_unit
        text = f"{about.words}\n[{unit}]" + (
            f"\nasked: {asked_text(task, row['asked'])} (dashed)" if math.isfinite(goal) else ""
        )
        figure.text(
            (left - 0.15) / WIDTH,
            1 - (0.8 + i * LIMIT_ROW + 0.3) / height,
            text,
            ha="right",
            va="center",
            fontsize=8,
        )
    return figure
