"""Pictures of currents, bus, heat and energy; imports the layout and the words of the ledger."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from drivesim.analysis.ledger import PARTS
from drivesim.plots import layout, levels, marks
from drivesim.plots.style import BLUE, FAINT, INK, LIMIT, signed, styled, wheel_look, wheel_word
from drivesim.units import rounded_down

if TYPE_CHECKING:
    from drivesim.analysis.run import Run

ACROSS = 4  # panels of wheels side by side
HEIGHT, PITCH = 1.2, 1.95  # inches of a panel, and from one to the next
TALL = 1.6  # inches of a panel with many levels
BETWEEN = 0.75  # inches between panels side by side
LEAST_WARMING = 5.0  # K, shortest scale of temperature
BESIDE: Any = {"textcoords": "offset points", "va": "center", "annotation_clip": False}  # of the end of a bar


@styled()
def electrics(run: Run) -> Figure:
    """Return the picture of phase currents, bus voltage, battery current and temperatures."""
    names, bounds = run.traces["wheel"].values, levels.of_phases(run)
    shown, _ = levels.split(bounds, 0.0, 0.0)
    rated = [level for level in bounds if level.look is LIMIT]
    keys = [
        *layout.wheel_keys(names),
        layout.line_key(f"limit ({_current_word(rated[0], shown)})" if rated else "limit", **LIMIT),
        *(
            layout.line_key(_current_word(level, shown), **level.look)
            for level in bounds
            if level not in rated
        ),
        *marks.keys(run, off=True),
    ]
    degrees = _Degrees(run)
    strip = marks.plan(run, degrees.width)
    rows = -(-len(names) // ACROSS)
    body = PITCH * (rows + 1) + strip.height + degrees.height + layout.BOTTOM
    figure, top = layout.page(run, "Phase currents (amplitude), bus and heat", body, keys)
    _phase_currents(run, figure, top, shown)
    top += PITCH * rows
    width = (layout.INSIDE - BETWEEN) / 2
    supply = [_bus_voltage(run, figure, layout.LEFT, top, width)]
    supply.append(_battery_current(run, figure, layout.LEFT + width + BETWEEN, top, width))
    top += PITCH
    marks.draw_strip(run, strip, figure, layout.LEFT, top)
    heat = layout.panel(figure, layout.LEFT, top + strip.height, degrees.width, degrees.height)
    for ax in supply:
        layout.over_time(run, [ax], 5)
    layout.over_time(run, [heat])
    degrees.draw(run, heat)
    marks.draw(run, [*supply, heat])
    return figure


def _current_word(level: levels.Level, shown: list[levels.Level]) -> str:
    return level.text if level in shown else f"{level.text}, beyond the scale"


def _phase_currents(run: Run, figure: Figure, top: float, shown: list[levels.Level]) -> None:
    """Draw each wheel's phase current, and the times at which its controller was off."""
    traces = run.traces
    current = np.hypot(traces["current_d"].values, traces["current_q"].values)
    high = max(float(current.max(initial=0.0)), 0.01)
    high = 1.08 * max([high, *(level.value for level in shown)])
    width = (layout.INSIDE - 0.3 * (ACROSS - 1)) / ACROSS
    for i, name in enumerate(traces["wheel"].values):
        left = layout.LEFT + (i % ACROSS) * (width + 0.3)
        ax = layout.panel(figure, left, top + PITCH * (i // ACROSS), width, HEIGHT)
        ax.plot(traces["time"].values, current[:, i], color=wheel_look(i).colour, linewidth=0.8)
        ax.set_ylim(0, high)
        layout.heading(ax, wheel_word(name))
        limited = float(traces["current_limited"].values[:, i].mean())
        if limited >= 0.005:
            layout.remark(ax, f"held {limited:.0%}")
        layout.over_time(run, [ax], 3)
        if i % ACROSS == 0:
            ax.set_ylabel("phase current [A]")
        else:
            ax.tick_params(labelleft=False)
        levels.draw(ax, shown, words=False)
        marks.shade_off(run, ax, i)
        marks.draw(run, [ax], str(name))


def _bus_voltage(run: Run, figure: Figure, left: float, top: float, width: float) -> Axes:
    """Draw the bus voltage, the levels at which something sets in, and when all controllers were off."""
    volts, found = run.traces["bus_voltage"].values, levels.of_bus(run)
    several = len(found) > 1
    ax = layout.panel(figure, left, top, width - several * levels.room(found), HEIGHT)
    ax.plot(run.traces["time"].values, volts, color=BLUE)
    low, high = (pick([float(pick(volts)), *(level.value for level in found)]) for pick in (min, max))
    space = 0.08 * max(high - low, 0.5)
    ax.set_ylim(low - space, high + space)
    ax.set_ylabel("voltage [V]")
    levels.draw(ax, found, words=several)
    marks.shade_off(run, ax)
    layout.heading(ax, "bus voltage")
    lowest = rounded_down(run.summary["lowest_bus_voltage_V"], 0.01)
    cut_off = "" if several else f"cut-off {found[0].value:.3g} V, axis "
    layout.remark(ax, f"lowest {lowest:.2f} V, {cut_off}not from 0")
    return ax


def _battery_current(run: Run, figure: Figure, left: float, top: float, width: float) -> Axes:
    """Draw the battery current and what cells and connector are rated for, where it came near to that."""
    drawn, found = run.traces["battery_current"].values, levels.of_battery(run)
    shown, _ = levels.split(found, 0.0, float(drawn.max()))
    several = len(found) > 1
    ax = layout.panel(figure, left, top, width - several * levels.room(shown), HEIGHT)
    ax.plot(run.traces["time"].values, drawn, color=BLUE)
    ends = 1.08 * np.array([min(0.0, float(drawn.min())), max(float(drawn.max()), 0.01)])
    ax.set_ylim(ends[0], max([ends[1], *(1.08 * level.value for level in shown)]))
    ax.set_ylabel("current [A]")
    levels.draw(ax, shown, words=several)
    marks.shade_off(run, ax)
    layout.heading(ax, "battery current")
    layout.remark(ax, ", ".join(level.text for level in found if level not in shown or not several))
    return ax


class _Degrees:
    """The panel of temperatures: its size [inch], its scale, and what is drawn on it."""

    def __init__(self, run: Run) -> None:
        values = run.traces["winding_temperature"].values
        low = min(run.scenario.ambient, float(values.min()))
        high = max(float(values.max()), run.scenario.ambient + LEAST_WARMING)
        self.shown, beyond = levels.split(levels.of_heat(run), run.scenario.ambient, high)
        high = max([high, *(level.value for level in self.shown)])
        self.ends = low - 0.05 * (high - low), high + 0.08 * (high - low)
        self.lines = len(self.shown) > 1 or any(level.look is not LIMIT for level in self.shown)
        said = beyond if self.lines else [*self.shown, *beyond]
        self.remark = ", ".join(level.text for level in said if level.look is LIMIT)
        self.width = layout.INSIDE - self.lines * levels.room(self.shown)
        self.height = TALL if len(self.shown) > 1 or run.scenario.rover.wheel.winding.housing else HEIGHT

    def draw(self, run: Run, axes: Axes) -> None:
        """Draw windings, with markers, and housings, in the same colours and lines but thinner."""
        time, housing = run.traces["time"].values, run.scenario.rover.wheel.winding.housing
        for i in range(run.traces.sizes["wheel"]):
            look = wheel_look(i)
            own: Any = {"color": look.colour, "linestyle": look.line}
            marked: Any = {"marker": look.marker, "markersize": 4, "markevery": (i * 0.02 + 0.02, 0.1)}
            if housing is not None:
                axes.plot(time, run.traces["housing_temperature"].values[:, i], linewidth=0.7, **own)
            axes.plot(time, run.traces["winding_temperature"].values[:, i], **own, **marked)
        axes.set_ylim(*self.ends)
        axes.set_ylabel("temperature [°C]")
        levels.draw(axes, self.shown, words=self.lines)
        layout.heading(axes, "winding temperatures" + (", housings thin and unmarked" if housing else ""))
        layout.remark(axes, self.remark)


@styled()
def energy(run: Run) -> Figure:
    """Return the picture of where the energy drawn from the cells went, part by part of the ledger."""
    ledger = run.summary["ledger"]
    drawn = ledger["drawn"]
    parts = [part for part in PARTS if ledger[part] != 0]
    values = np.array([ledger[part] for part in parts])
    height = 0.29 * len(parts)
    title = f"Where the energy went: {drawn:.4g} J drawn from the cells"
    figure, top = layout.page(run, title, height + layout.BOTTOM)
    ax = layout.panel(figure, 2.2, top, layout.WIDTH - 2.2 - 1.6, height)
    places = np.arange(len(parts))
    colours = [FAINT if part == "remainder" else BLUE for part in parts]
    ax.barh(places, values, height=0.66, color=colours)
    ax.axvline(0, color=INK, linewidth=0.7)
    ax.set_yticks(places, [PARTS[part] for part in parts])
    ax.tick_params(axis="y", length=0)
    ax.set_xlabel("energy [J]")
    ax.set_ylim(len(parts) - 0.4, -0.6)
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
