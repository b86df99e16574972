"""Pictures of what each wheel did: speeds, slip and friction, loads; imports the layout and matplotlib."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from drivesim.analysis.conditions import AIRBORNE, GRIPPING, SLIP_ON
from drivesim.plots import layout, marks
from drivesim.plots.scales import at_least, capped, even_friction, even_load
from drivesim.plots.style import (
    BLACK,
    CONDITION_LOOKS,
    DIM,
    FAINT,
    GUIDE,
    INK,
    LIMIT,
    PALE,
    signed,
    styled,
    wheel_look,
    wheel_word,
)

if TYPE_CHECKING:
    from drivesim.analysis.run import Run

PEAK_SHARES = 4.0  # a scale of load ends at this many even shares; what is above is marked and said
SLIP_LINE: Any = {"color": FAINT, "linewidth": 0.8, "linestyle": ":"}
HOLDS: Any = {"color": FAINT, "linewidth": 0.8}
COMMAND: Any = {"color": BLACK, "linewidth": 0.9, "linestyle": (0, (4, 2))}
MEASURED: Any = {"color": DIM, "linewidth": 1.7}
PEAK: Any = {"linestyle": "none", "marker": "^", "markersize": 4, "color": INK}
THRUST: Any = {"facecolor": "none", "edgecolor": PALE, "hatch": "....", "linewidth": 0}
HALF = (layout.INSIDE - 0.75) / 2  # inches of panels side by side
SINKAGE = 1.65  # inches that the panel of sinkage takes, with what is written around it
TWIST = 1.55  # inches that the panel of twist takes
PITCH = 1.31  # inches from one panel with a band below to the next
BAND_LOW, BAND_HIGH = -0.21, -0.05  # inches from a panel's lower edge


@styled()
def speeds(run: Run) -> Figure:
    """Return the picture of each wheel's commanded, measured and true speed, and of its condition."""
    traces = run.traces
    names, time = traces["wheel"].values, traces["time"].values
    edges = layout.row_edges(time, traces.attrs["recording_interval_s"])
    command, measured, true = (
        traces[name].values for name in ("commanded_speed", "measured_speed", "wheel_speed")
    )
    lines = [
        layout.line_key("commanded", **COMMAND),
        layout.line_key("true, in the wheel's colour", color=wheel_look(0).colour),
        layout.line_key("measured by the wheel's controller", **MEASURED),
        *marks.keys(run, off=True),
    ]
    strip = marks.plan(run)
    title, body = "Wheel speeds and what each wheel was doing", strip.height + PITCH * len(names) + 0.25
    figure, top = layout.page(run, title, body, lines, layout.condition_keys())
    low = min(0.0, float(true.min()), float(measured.min()), float(command.min()))
    high = max(0.0, float(true.max()), float(measured.max()), float(command.max()), low + 0.1)
    marks.draw_strip(run, strip, figure, layout.LEFT, top)
    panels = layout.column(figure, len(names), top=top + strip.height, height=0.85, pitch=PITCH)
    for i, (ax, name) in enumerate(zip(panels, names, strict=True)):
        ax.axhline(0, color=PALE, linewidth=0.6)
        ax.plot(time, measured[:, i], **MEASURED)
        ax.plot(time, true[:, i], color=wheel_look(i).colour)
        ax.plot(time, command[:, i], **COMMAND)
        ax.set_ylim(low - 0.04 * (high - low), high + 0.04 * (high - low))
        ax.set_ylabel("speed [rad/s]")
        layout.heading(ax, wheel_word(name))
        layout.remark(ax, _shares(run, str(name)))
        layout.condition_band(ax, edges, traces["condition"].values[:, i], BAND_LOW, BAND_HIGH)
        marks.shade_off(run, ax, i)
    layout.over_time(run, panels)
    _time_below_bands(panels)
    marks.draw(run, panels)
    return figure


def _shares(run: Run, wheel: str) -> str:
    """Return in words how much of the time a wheel did what, the most first, gripping left out."""
    shares = run.summary["wheels"][wheel]
    kinds = sorted(list(CONDITION_LOOKS)[GRIPPING + 1 :], key=lambda kind: -shares[kind])
    words = [f"{CONDITION_LOOKS[kind].label} {shares[kind]:.0%}" for kind in kinds if shares[kind] >= 0.005]
    return ", ".join(words[:4]) or "grips throughout"


def _time_below_bands(panels: list[Axes]) -> None:
    """Put the time axis under the bands."""
    for ax in panels[:-1]:
        ax.spines["bottom"].set_color(PALE)
    panels[-1].spines["bottom"].set_position(("outward", 72 * -BAND_LOW + 3))


@styled()
def slip(run: Run) -> Figure:
    """Return the picture of each wheel's slip ratio, and of its contact force against what the ground holds."""
    traces = run.traces
    names, time, limit = traces["wheel"].values, traces["time"].values, traces["friction_limit"].values
    force = np.hypot(traces["drive_force"].values, traces["side_force"].values)
    sunk, strip = traces["sinkage"].values > 0, marks.plan(run, HALF)
    keys = [
        layout.line_key("slip ratio; contact force |F|", color=wheel_look(0).colour),
        layout.line_key("slip ratio without load", color=DIM, linewidth=0.8),
        layout.line_key(f"beyond ±{SLIP_ON:g} it slips", **SLIP_LINE),
        Patch(label="friction limit μ·N", facecolor=GUIDE, edgecolor=FAINT),
        *(
            [Patch(label="on soil: its greatest thrust; |F| is less the drag of the rut", **THRUST)]
            if sunk.any()
            else []
        ),
        *marks.keys(run),
    ]
    title = f"Slip, and contact force against what {'the ground' if sunk.any() else 'friction'} holds"
    body = strip.height + 1.25 * len(names) + 0.25
    figure, top = layout.page(run, title, body + SINKAGE * sunk.any(), keys)
    marks.draw_strip(run, strip, figure, layout.LEFT, top)
    top += strip.height
    size: dict[str, float] = {"top": top, "height": 0.95, "pitch": 1.25, "width": HALF}
    left = layout.column(figure, len(names), **size)
    right = layout.column(figure, len(names), left=layout.LEFT + HALF + 0.75, **size)
    high = capped(PEAK_SHARES * even_friction(run), np.maximum(limit, force))
    for i, name in enumerate(names):
        _slip_ratio(run, left[i], i)
        layout.heading(left[i], wheel_word(name))
        right[i].fill_between(time, limit[:, i], 0, color=GUIDE, linewidth=0)
        if sunk[:, i].any():
            right[i].fill_between(time, limit[:, i], 0, where=sunk[:, i], **THRUST)
        right[i].plot(time, limit[:, i], **HOLDS)
        right[i].plot(time, force[:, i], color=wheel_look(i).colour)
        right[i].set_ylim(0, high)
        right[i].set_ylabel("force [N]")
        _mark_peaks(right[i], time, np.maximum(limit, force)[:, i], "N")
    layout.over_time(run, left, 5)
    layout.over_time(run, right, 5)
    marks.draw(run, [*left, *right])
    if sunk.any():
        _sinkage(run, layout.panel(figure, layout.LEFT, top + body - strip.height + 0.2, layout.INSIDE, 0.95))
    return figure


def _sinkage(run: Run, axes: Axes) -> None:
    """Draw how deep each wheel has pressed into soil."""
    depth = 1e3 * run.traces["sinkage"].values
    _one_line_each(run, axes, depth)
    axes.set_ylim(0, 1.08 * depth.max())
    axes.set_ylabel("sinkage [mm]")
    layout.heading(axes, "sinkage into soil")
    layout.remark(axes, f"deepest {depth.max():.1f} mm")
    layout.over_time(run, [axes])
    marks.draw(run, [axes])


def _one_line_each(run: Run, axes: Axes, values: np.ndarray) -> None:
    """Draw ``values``, shape (rows, wheels), and which line is whose."""
    for i, name in enumerate(run.traces["wheel"].values):
        look = wheel_look(i)
        axes.plot(
            run.traces["time"].values, values[:, i], color=look.colour, linestyle=look.line,
            label=wheel_word(name),
        )  # fmt: skip
    axes.legend(
        loc="lower left",
        bbox_to_anchor=(0.2, 1.0),
        ncols=4,
        borderpad=0,
        borderaxespad=0.2,
        columnspacing=1.4,
    )


def _slip_ratio(run: Run, axes: Axes, wheel: int) -> None:
    """Draw the slip ratio, pale where there is no load on the wheel."""
    time, ratio = run.traces["time"].values, run.traces["slip_ratio"].values[:, wheel]
    loaded = run.traces["condition"].values[:, wheel] != AIRBORNE
    for level in (-SLIP_ON, SLIP_ON):
        axes.axhline(level, **SLIP_LINE)
    axes.plot(time, ratio, color=DIM, linewidth=0.8)
    axes.plot(time, np.where(loaded, ratio, np.nan), color=wheel_look(wheel).colour, linewidth=0.8)
    axes.set_ylim(-1.08, 1.08)
    axes.set_yticks((-1, 0, 1))
    axes.set_ylabel("slip ratio [1]")


def _mark_peaks(axes: Axes, time: np.ndarray, values: np.ndarray, unit: str) -> None:
    """Say by how much ``values`` go beyond the scale, and where."""
    above = values > axes.get_ylim()[1]
    if not above.any():
        return
    starts = time[above & ~np.concatenate([[False], above[:-1]])]
    top = np.full_like(starts, 0.95)
    axes.plot(starts, top, transform=axes.get_xaxis_transform(), gid="above", **PEAK)
    layout.remark(axes, f"above the scale (▲): up to {values.max():.3g} {unit}")


@styled()
def loads(run: Run) -> Figure:
    """Return the picture of the load on each wheel, its even share, and when it was in the air."""
    traces = run.traces
    names, time, load = traces["wheel"].values, traces["time"].values, traces["normal_load"].values
    codes, share = traces["condition"].values, even_load(run)
    edges = layout.row_edges(time, traces.attrs["recording_interval_s"])
    even = layout.line_key(f"even share of the weight, {share:.2f} N", **LIMIT)
    keys = [even, layout.condition_keys()[AIRBORNE], *marks.keys(run)]
    strip, twists = marks.plan(run), bool(np.any(traces["twist"].values))
    body = strip.height + PITCH * len(names) + 0.25
    figure, top = layout.page(run, "Load on each wheel", body + TWIST * twists, keys)
    marks.draw_strip(run, strip, figure, layout.LEFT, top)
    panels = layout.column(figure, len(names), top=top + strip.height, height=0.85, pitch=PITCH)
    high = min(at_least(2 * share, load), PEAK_SHARES * share)
    for i, (ax, name) in enumerate(zip(panels, names, strict=True)):
        layout.condition_band(ax, edges, codes[:, i], BAND_LOW, BAND_HIGH, only=AIRBORNE)
        ax.axhline(share, **LIMIT)
        ax.plot(time, load[:, i], color=wheel_look(i).colour)
        ax.set_ylim(0, high)
        ax.set_ylabel("load [N]")
        air = (codes[:, i] == AIRBORNE).mean()
        layout.heading(
            ax, f"{wheel_word(name)}: mean {load[:, i].mean():.2f} N, in the air {air:.0%} of the time"
        )
        _mark_peaks(ax, time, load[:, i], "N")
    layout.over_time(run, panels)
    _time_below_bands(panels)
    marks.draw(run, panels)
    if twists:
        _twist(run, layout.panel(figure, layout.LEFT, top + body + 0.2, layout.INSIDE, 0.85))
    return figure


def _twist(run: Run, axes: Axes) -> None:
    """Draw how far the frame is twisted."""
    twist = 1e3 * run.traces["twist"].values
    axes.axhline(0, color=PALE, linewidth=0.6)
    axes.plot(run.traces["time"].values, twist, color=INK)
    axes.set_ylabel("twist [mm]")
    layout.heading(axes, "twist of the frame: front left and rear right up, the others down by so much")
    layout.remark(axes, signed(f"from {twist.min():.2g} to {twist.max():.2g} mm"))
    layout.over_time(run, [axes])
    marks.draw(run, [axes])
