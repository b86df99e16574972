"""The picture of the linear loop: Bode with its margins, and the step, before and after; imports matplotlib.

Also where a demanded phase margin lies on the map of two gains.
"""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MultipleLocator

from drivesim.plots.style import BLUE, FAINT, GUIDE, INK, VERMILLION, one_line, styled
from drivesim.tuning.margins import margins, open_loop, phase, step_response
from drivesim.tuning.plant import Plant
from drivesim.tuning.problem import SHIPPED, TUNED
from drivesim.tuning.tuned import Tuned

CASES = {SHIPPED: (VERMILLION, "--"), TUNED: (BLUE, "-")}
POINTS = 600
DELAYS = 25.0  # dead times that a step response is shown for
WILD = 1.6  # of the set-point: a response that swings farther is cut off there


@styled()
def loop(tuned: Tuned) -> Figure:
    """Return Bode plot and step response of the linear loop, a column for each plant, shipped and tuned gains."""
    assert tuned.linear is not None
    plants = tuned.linear.plants
    height = 6.6
    figure = Figure(figsize=(9.0, height))
    FigureCanvasAgg(figure)
    figure.text(
        0.083, 1 - 0.12 / height, "The linear loop at the crawl speed", va="top", fontsize=11, weight="bold"
    )
    delay = tuned.linear.delay * 1e3
    where = f"dead time {delay:.3g} ms at {tuned.linear.speed:.3g} rad/s, nothing held or limited"
    under = f"{tuned.summary['name']}: {where}"
    figure.text(0.083, 1 - 0.36 / height, one_line(under, 125), va="top", color=FAINT)
    axes = figure.subplots(3, len(plants), squeeze=False, gridspec_kw={"height_ratios": (1.0, 1.0, 1.1)})
    figure.subplots_adjust(left=0.083, right=0.985, top=0.87, bottom=0.075, hspace=0.42, wspace=0.2)
    for j, plant in enumerate(reversed(plants)):
        size, angle, time = (axes[i, j] for i in range(3))
        _bode(tuned, plant, size, angle)
        _steps(tuned, plant, time)
        size.set_title(plant.words, fontsize=9, loc="left", color=INK)
        if j == 0:
            size.set_ylabel("open loop, size")
            angle.set_ylabel("phase [deg]")
            time.set_ylabel("speed / set-point")
    return figure


def gains_of(tuned: Tuned, case: str) -> tuple[float, float]:
    """Return (kp, ki) of a case."""
    row = tuned.margins[tuned.margins["case"] == case].iloc[0]
    return float(row["proportional"]), float(row["integral"])


def _bode(tuned: Tuned, plant: Plant, size: Axes, angle: Axes) -> None:
    crossings = [margins(plant, *gains_of(tuned, case)).crossover for case in CASES]
    lowest = min([0.05 / plant.delay, *(0.3 * one for one in crossings if math.isfinite(one))])
    omega = np.geomspace(lowest, 6.0 / plant.delay, POINTS)
    bottom = -360.0
    for case, (colour, line) in CASES.items():
        kp, ki = gains_of(tuned, case)
        found = margins(plant, kp, ki)
        degrees = np.degrees([phase(plant, kp, ki, float(w)) for w in omega])
        size.loglog(omega, np.abs(open_loop(plant, kp, ki, omega)), color=colour, linestyle=line)
        angle.semilogx(omega, degrees, color=colour, linestyle=line)
        told = [case]
        if found.stable and math.isfinite(found.crossover):
            at = math.degrees(found.phase) - 180.0
            angle.plot([found.crossover] * 2, [-180.0, at], color=colour, linewidth=2.0)
            angle.plot(found.crossover, at, "o", color=colour, markersize=4)
            told.append(f"phase margin {math.degrees(found.phase):.0f}°")
        if math.isfinite(found.turnover) and omega[0] < found.turnover < omega[-1]:
            size.plot([found.turnover] * 2, [1.0 / found.gain, 1.0], color=colour, linewidth=2.0)
            size.plot(found.turnover, 1.0 / found.gain, "o", color=colour, markersize=4)
            told.append(f"gain margin {found.gain:.2f}")
        if not found.stable:
            told.append("swings by itself")
        size.plot([], [], color=colour, linestyle=line, label=", ".join(told))
    size.legend(loc="upper right", fontsize=7.5, borderpad=0.0, borderaxespad=0.2, labelspacing=0.25)
    size.axhline(1.0, color=FAINT, linewidth=0.7)
    angle.axhline(-180.0, color=FAINT, linewidth=0.7)
    angle.set_ylim(bottom, -60.0)
    angle.yaxis.set_major_locator(MultipleLocator(60.0))
    for axis in (size.xaxis, size.yaxis, angle.xaxis):
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    for ax in (size, angle):
        ax.grid(True, color=GUIDE, linewidth=0.6)
        ax.set_xlim(omega[0], omega[-1])
    angle.set_xlabel("frequency [rad/s]")


def _steps(tuned: Tuned, plant: Plant, ax: Axes) -> None:
    until = DELAYS * plant.delay
    for case, (colour, line) in CASES.items():
        gains = gains_of(tuned, case)
        time, speed = step_response(plant, *gains, until)
        wild = np.flatnonzero(~(np.abs(speed - 1.0) < WILD))
        end = int(wild[0]) + 1 if wild.size else time.size
        grows = "" if margins(plant, *gains).stable else " (swings up without end)"
        ax.plot(time[:end], speed[:end], color=colour, linestyle=line, label=f"{case}{grows}")
    ax.axhline(1.0, color=FAINT, linewidth=0.7)
    ax.set_ylim(1.0 - WILD, 1.0 + WILD)
    ax.set_xlim(0.0, until)
    ax.set_xlabel("time after a step of the set-point [s]")
    ax.grid(True, color=GUIDE, linewidth=0.6)
    ax.legend(loc="upper right")


def margin_edge(tuned: Tuned, paths: list[str]) -> list[tuple[str, tuple[np.ndarray, np.ndarray]]]:
    """Return where the linear loop begins to swing by itself on the map of its two gains: words, and (kp, ki).

    For each plant: the greatest integral gain for each proportional gain.  Nothing where other gains are tuned.
    """
    linear = tuned.linear
    if linear is None or paths != [linear.proportional, linear.integral]:
        return []
    low, high = (float(tuned.gains.loc[paths[0], end]) for end in ("low", "high"))
    kp = np.geomspace(low, high, 80) if low > 0 else np.linspace(low, high, 80)
    edges = []
    for plant in linear.plants:
        edge = np.array([greatest_integral(plant, float(k)) for k in kp])
        edges.append((f"beyond this a {plant.words} swings by itself", (kp, edge)))
    return edges


def greatest_integral(plant: Plant, kp: float) -> float:
    """Return the integral gain at which the loop just swings by itself; NaN where it does so without any.

    At the edge the open loop is −1: with its phase at −π for some frequency, ki follows from the size there.  The
    phase condition atan2(−ki, kp·ω) = −π + atan(ω·lag) + ω·delay gives ki = kp·ω·tan(π − atan(ω·lag) − ω·delay).
    """
    omega = np.linspace(1e-3, math.pi, 4000) / plant.delay
    left = math.pi - np.arctan(omega * plant.lag) - omega * plant.delay
    ki = kp * omega * np.tan(left)
    size = np.hypot(kp, ki / omega) * plant.gain / np.hypot(1.0, omega * plant.lag)
    able = (left > 0.0) & (left < math.pi / 2) & (ki > 0.0)
    crossed = able[:-1] & able[1:] & ((size[:-1] - 1.0) * (size[1:] - 1.0) <= 0.0)
    found = np.flatnonzero(crossed)
    return float(ki[found[-1]]) if found.size else math.nan
