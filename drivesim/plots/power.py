"""Pictures of currents, bus, heat and energy; imports the layout and the words of the ledger."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from drivesim.analysis.caution_heat import TOUCH_LIMIT
from drivesim.analysis.ledger import PARTS
from drivesim.plots import layout, marks
from drivesim.plots.style import BLUE, FAINT, INK, LIMIT, signed, styled, wheel_look, wheel_word

if TYPE_CHECKING:
    from drivesim.analysis.run import Run

LOCKOUT: Any = {"color": FAINT, "linestyle": ":", "linewidth": 1.0}
AT_LEFT: Any = {"xycoords": ("axes fraction", "data"), "textcoords": "offset points", "xytext": (3, 2)}
STAGGER = 0.16  # of the width: limits close to each other say their words beside each other
ACROSS = 4  # panels of wheels side by side
NEAR = 0.4  # a limit is drawn where this share of the way to it is used, else it is said in words
LEAST_WARMING = 5.0  # K, shortest scale of temperature
BESIDE: Any = {"textcoords": "offset points", "va": "center", "annotation_clip": False}  # of the end of a bar


@styled()
def electrics(run: Run) -> Figure:
    """Return the picture of phase currents, bus voltage, battery current and winding temperatures."""
    traces = run.traces
    names, time = traces["wheel"].values, traces["time"].values
    current = np.hypot(traces["current_d"].values, traces["current_q"].values)
    rating = run.scenario.rover.wheel.driver.current_rating
    words = "limit" if rating is None else f"limit (controller {rating:.3g} A)"
    keys = [*layout.wheel_keys(names), layout.line_key(words, **LIMIT), *marks.keys(run)]
    rows, height, pitch = -(-len(names) // ACROSS), 1.2, 1.95
    body = pitch * (rows + 1) + height + layout.BOTTOM
    figure, top = layout.page(run, "Phase currents (amplitude), bus and heat", body, keys)
    _phase_currents(run, figure, current, top, height, pitch)
    top += pitch * rows
    width = (layout.INSIDE - 0.75) / 2
    bus = layout.panel(figure, layout.LEFT, top, width, height)
    _bus_voltage(run, bus)
    battery = layout.panel(figure, layout.LEFT + width + 0.75, top, width, height)
    drawn = traces["battery_current"].values
    battery.plot(time, drawn, color=BLUE)
    battery.set_ylim(min(0.0, 1.08 * float(drawn.min())), 1.08 * max(float(drawn.max()), 0.01))
    battery.set_ylabel("current [A]")
    cells = run.scenario.rover.battery
    _limit(
        battery,
        cells.discharge_rating * cells.capacity * cells.cells_in_parallel,
        0.0,
        float(drawn.max()),
        "rating",
        "A",
    )
    layout.heading(battery, "battery current")
    heat = layout.panel(figure, layout.LEFT, top + pitch, layout.INSIDE, height)
    _temperatures(run, heat)
    layout.over_time(run, [bus], 5)
    layout.over_time(run, [battery], 5)
    layout.over_time(run, [heat])
    marks.draw(run, [bus, battery, heat])
    return figure


def _phase_currents(
    run: Run, figure: Figure, current: np.ndarray, top: float, height: float, pitch: float
) -> None:
    names, time = run.traces["wheel"].values, run.traces["time"].values
    rating = run.scenario.rover.wheel.driver.current_rating
    peak = float(current.max(initial=0.0))
    high = 1.08 * max(peak, 0.01)
    if rating is not None and peak > NEAR * rating:
        high = max(high, 1.08 * rating)
    width = (layout.INSIDE - 0.3 * (ACROSS - 1)) / ACROSS
    for i, name in enumerate(names):
        left = layout.LEFT + (i % ACROSS) * (width + 0.3)
        ax = layout.panel(figure, left, top + pitch * (i // ACROSS), width, height)
        ax.plot(time, current[:, i], color=wheel_look(i).colour, linewidth=0.8)
        ax.set_ylim(0, high)
        layout.heading(ax, wheel_word(name))
        layout.over_time(run, [ax], 3)
        if i % ACROSS == 0:
            ax.set_ylabel("phase current [A]")
        else:
            ax.tick_params(labelleft=False)
        if rating is not None and high > rating:
            ax.axhline(rating, **LIMIT)


def _limit(axes: Axes, limit: float, start: float, peak: float, word: str, unit: str) -> None:
    """Draw a limit that the run came near to, with the scale reaching it; else say where it lies."""
    layout.remark(axes, f"{word} {limit:.3g} {unit}")
    if peak - start > NEAR * (limit - start):
        axes.axhline(limit, **LIMIT)
        axes.set_ylim(top=max(axes.get_ylim()[1], limit + 0.08 * (limit - start)))


def _bus_voltage(run: Run, axes: Axes) -> None:
    cells = run.scenario.rover.battery
    cut_off = cells.cut_off * cells.cells_in_series
    volts = run.traces["bus_voltage"].values
    axes.plot(run.traces["time"].values, volts, color=BLUE)
    axes.axhline(cut_off, **LIMIT)
    low, high = min(cut_off, float(volts.min())), max(cut_off, float(volts.max()))
    lockout = run.scenario.rover.wheel.driver.lockout
    if lockout is not None:
        for level, words in ((lockout.below, "reset below"), (lockout.above, "boot above")):
            axes.axhline(level, **LOCKOUT)
            axes.annotate(words, (0.0, level), color=FAINT, fontsize=7, **AT_LEFT)
        marks.shade_off(run, axes)
    room = 0.08 * max(high - low, 0.5)
    axes.set_ylim(low - room, high + room)
    axes.set_ylabel("voltage [V]")
    layout.heading(axes, "bus voltage")
    layout.remark(axes, f"lowest {volts.min():.2f} V, cut-off {cut_off:.3g} V, axis not from 0")


def _temperatures(run: Run, axes: Axes) -> None:
    winding, ambient = run.scenario.rover.wheel.winding, run.scenario.ambient
    traces, limit, housing = run.traces, winding.limit, winding.housing
    time, degrees = traces["time"].values, traces["winding_temperature"].values
    if housing is not None:
        axes.plot(time, traces["housing_temperature"].values, color=FAINT, linewidth=0.8)
    for i in range(degrees.shape[1]):
        look = wheel_look(i)
        marks: Any = {"marker": look.marker, "markersize": 4, "markevery": (i * 0.02 + 0.02, 0.1)}
        axes.plot(time, degrees[:, i], color=look.colour, linestyle=look.line, **marks)
    low, high = min(ambient, float(degrees.min())), max(float(degrees.max()), ambient + LEAST_WARMING)
    axes.set_ylim(low - 0.05 * (high - low), high + 0.05 * (high - low))
    axes.set_ylabel("temperature [°C]")
    layout.heading(axes, "winding temperatures" + (", housings thin and grey" if housing is not None else ""))
    _limit(axes, limit, ambient, float(degrees.max()), "winding limit", "°C")
    lines = [(TOUCH_LIMIT if housing is None else housing.touch_limit, "hot to touch")]
    cut_back = run.scenario.rover.wheel.driver.cut_back
    if cut_back is not None:
        lines += [(cut_back.start, "cut-back begins"), (cut_back.end, "cut-back ends: no voltage")]
    given = ((winding.adhesive_limit, "adhesive limit"), (winding.magnet_limit, "magnet limit"))
    lines += [(value, words) for value, words in given if value is not None]
    shown = sorted(line for line in lines if line[0] < axes.get_ylim()[1])
    for place, (level, words) in enumerate(shown):
        axes.axhline(level, color=FAINT, linestyle=":")
        axes.annotate(words, (STAGGER * place, level), color=FAINT, fontsize=7, **AT_LEFT)


@styled()
def energy(run: Run) -> Figure:
    """Return the picture of where the energy drawn from the cells went, part by part of the ledger."""
    ledger = run.summary["ledger"]
    drawn = ledger["drawn"]
    values = np.array([ledger[part] for part in PARTS])
    height = 0.29 * len(PARTS)
    title = f"Where the energy went: {drawn:.4g} J drawn from the cells"
    figure, top = layout.page(run, title, height + layout.BOTTOM)
    ax = layout.panel(figure, 2.2, top, layout.WIDTH - 2.2 - 1.6, height)
    places = np.arange(len(PARTS))
    colours = [FAINT if part == "remainder" else BLUE for part in PARTS]
    ax.barh(places, values, height=0.66, color=colours)
    ax.axvline(0, color=INK, linewidth=0.7)
    ax.set_yticks(places, list(PARTS.values()))
    ax.tick_params(axis="y", length=0)
    ax.set_xlabel("energy [J]")
    ax.set_ylim(len(PARTS) - 0.4, -0.6)
    low, high = min(0.0, float(values.min())), max(float(values.max()), 1e-9)
    ax.set_xlim(1.05 * low, high)
    for place, value in zip(places, values, strict=True):
        words = signed(f"{joules(value)}   {share_words(value, drawn)}")
        ax.annotate(words, (max(value, 0.0), place), xytext=(4, 0), **BESIDE)
    return figure


def joules(value: float) -> str:
    """Return an energy in words, small ones in millijoules."""
    if abs(value) >= 1e-2 or value == 0:
        return f"{value:.3g} J"
    return f"{1e3 * value:.2g} mJ" if abs(value) >= 1e-5 else "under 0.01 mJ"


def share_words(value: float, whole: float) -> str:
    """Return ``value`` as a share of ``whole`` in percent, small ones to one digit."""
    if whole == 0 or value == 0:
        return ""
    percent = 100 * value / whole
    if abs(percent) < 0.01:
        return "under 0.01%"
    return f"{percent:.1f}%" if abs(percent) >= 0.95 else f"{percent:.1g}%"
