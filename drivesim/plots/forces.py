"""Pictures of wheels working against each other, and of forced fields; imports the layout and matplotlib."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from drivesim.plots import layout, marks
from drivesim.plots.scales import at_least, commanded_speed, even_friction, most_circulating
from drivesim.plots.style import AGAINST, FAINT, INK, LIMIT, PALE, signed, styled, wheel_look, wheel_word

if TYPE_CHECKING:
    from drivesim.analysis.run import Run

MEAN: Any = {"color": INK, "linestyle": (0, (4, 2))}


def along_command(run: Run) -> np.ndarray:
    """Return each wheel's force along its command [N], zero without a command, shape (rows, wheels)."""
    result: np.ndarray = np.sign(run.traces["commanded_speed"].values) * run.traces["drive_force"].values
    return result


@styled()
def fighting(run: Run) -> Figure:
    """Return the picture of each wheel's push along its command, and of what the wheels spend on each other.

    The scales follow from friction, weight and commanded speed alone, unless something goes beyond them, so
    that pictures of several drives of one rover compare.
    """
    traces = run.traces
    names, time, force = traces["wheel"].values, traces["time"].values, along_command(run)
    keys = [
        layout.line_key("push of a wheel along its own command", color=wheel_look(0).colour),
        Patch(label="below zero: works against its command", color=AGAINST, linewidth=0),
        layout.line_key("mean", **MEAN),
        *marks.keys(run),
    ]
    pitch, tall, strip = 1.0, 1.3, marks.plan(run)
    title = "Wheel fighting: each wheel's push, and what they spend on each other"
    figure, top = layout.page(run, title, strip.height + pitch * len(names) + 2 * tall + 0.9, keys)
    marks.draw_strip(run, strip, figure, layout.LEFT, top)
    top += strip.height
    panels = layout.column(figure, len(names), top=top, height=0.72, pitch=pitch)
    high = at_least(even_friction(run), force)
    for i, (ax, name) in enumerate(zip(panels, names, strict=True)):
        values = force[:, i]
        ax.fill_between(time, np.minimum(values, 0), 0, color=AGAINST, linewidth=0)
        ax.axhline(0, color=FAINT, linewidth=0.6)
        ax.plot(time, values, color=wheel_look(i).colour, linewidth=0.9)
        ax.set_ylim(-high, high)
        ax.set_ylabel("push [N]")
        layout.heading(ax, wheel_word(name))
        layout.remark(ax, signed(f"mean {values.mean():.2f} N, lowest {values.min():.2f} N"))
    numbers = run.summary["fighting"]
    circulating = layout.column(figure, 2, top=top + pitch * len(names) + 0.1, height=tall, pitch=tall + 0.3)
    _spent(circulating[0], time, traces["circulating_force"].values, most_circulating(run), "force [N]")
    layout.heading(circulating[0], "circulating force ½(Σ|F| − |ΣF|)")
    layout.remark(
        circulating[0], f"mean {numbers['force_mean_N']:.3f} N, peak {numbers['force_peak_N']:.2f} N", INK
    )
    power = traces["circulating_power"].values
    _spent(circulating[1], time, power, most_circulating(run) * commanded_speed(run), "power [W]")
    layout.heading(circulating[1], "circulating power ½(Σ|P| − |ΣP|)")
    share = numbers["share_of_drive_power"]
    words = (
        f"mean {numbers['power_mean_W']:.4f} W, peak {power.max():.3f} W; {share:.0%} of power at the ground"
    )
    layout.remark(circulating[1], words, INK)
    layout.over_time(run, [*panels, *circulating])
    marks.draw(run, [*panels, *circulating])
    return figure


def _spent(axes: Axes, time: np.ndarray, values: np.ndarray, scale: float, label: str) -> None:
    axes.fill_between(time, values, 0, color=PALE, linewidth=0)
    axes.plot(time, values, color=INK, linewidth=0.7)
    axes.axhline(float(values.mean()), **MEAN)
    axes.set_ylim(0, at_least(scale, values) or 1.0)
    axes.set_ylabel(label)


def forced(run: Run) -> np.ndarray:
    """Return the places of the wheels whose field turns at a frequency of its own."""
    return np.flatnonzero(np.isfinite(run.traces["pull_out_torque"].values).any(axis=0))


def lead(run: Run, wheel: int) -> tuple[np.ndarray, np.ndarray]:
    """Return a wheel's load angle [deg electrical], and the rows in which it slipped a pole.

    In those rows, whose mean says nothing, the angle is NaN.
    """
    slipped = run.traces["pole_slips"].values[:, wheel]
    rows = (np.abs(slipped - np.round(slipped)) > 1e-6) | (np.diff(slipped, prepend=0.0) > 1 - 1e-6)
    return np.where(rows, np.nan, np.degrees(run.traces["load_angle"].values[:, wheel])), rows


def unwound(time: np.ndarray, angle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return these points with a gap where ``angle`` [deg] jumps from one end of its range to the other."""
    jumps = np.flatnonzero(np.abs(np.diff(angle)) > 180) + 1
    return np.insert(time, jumps, time[jumps]), np.insert(angle, jumps, np.nan)


@styled()
def load_angle(run: Run) -> Figure:
    """Return the picture of how far each forced field leads its rotor, and of the torque left to pull-out."""
    wheels = forced(run)
    keys = [
        layout.line_key("left: ±90°, beyond it the torque falls again", **LIMIT),
        layout.line_key("a pole slipped", color=INK, linestyle="none", marker="|", markersize=7),
        layout.line_key("right: pull-out torque less |motor torque|", color=wheel_look(0).colour),
        *marks.keys(run),
    ]
    width = (layout.INSIDE - 0.75) / 2
    strip = marks.plan(run, width)
    title = "Load angle of the forced fields, and torque left before pull-out"
    figure, top = layout.page(run, title, strip.height + 1.3 * len(wheels) + 0.25, keys)
    marks.draw_strip(run, strip, figure, layout.LEFT, top)
    size: dict[str, float] = {"top": top + strip.height, "height": 1.0, "pitch": 1.3, "width": width}
    left = layout.column(figure, len(wheels), **size)
    right = layout.column(figure, len(wheels), left=layout.LEFT + width + 0.75, **size)
    for ax, i in zip(left, wheels, strict=True):
        _angle(run, ax, int(i))
    _margins(run, right, wheels)
    layout.over_time(run, left, 5)
    layout.over_time(run, right, 5)
    marks.draw(run, [*left, *right])
    return figure


def _angle(run: Run, axes: Axes, wheel: int) -> None:
    time, name = run.traces["time"].values, str(run.traces["wheel"].values[wheel])
    angle, slips = lead(run, wheel)
    axes.axhline(0, color=PALE, linewidth=0.6)
    for level in (-90, 90):
        axes.axhline(level, **LIMIT)
    axes.plot(*unwound(time, angle), color=wheel_look(wheel).colour, linewidth=0.9)
    starts = time[slips & ~np.concatenate([[False], slips[:-1]])]
    low = np.full_like(starts, -197.0)
    axes.plot(starts, low, linestyle="none", marker="|", markersize=5, color=INK, gid="pole slips")
    axes.set_ylim(-210, 190)
    axes.set_yticks((-180, -90, 0, 90, 180))
    axes.set_ylabel("angle [deg el.]")
    layout.heading(axes, wheel_word(name))
    count = run.summary["wheels"][name]["pole_slips"]
    layout.remark(axes, f"{count} pole{'s' * (count != 1)} slipped")


def _margins(run: Run, panels: list[Axes], wheels: np.ndarray) -> None:
    torque, most = (
        run.traces["motor_torque"].values[:, wheels],
        run.traces["pull_out_torque"].values[:, wheels],
    )
    margin = 1e3 * (most - np.abs(torque))
    low, high = min(0.0, float(np.nanmin(margin))), 1.08 * max(float(np.nanmax(margin)), 1e-3)
    for k, ax in enumerate(panels):
        own = margin[:, k]
        ax.axhline(0, **LIMIT)
        ax.plot(run.traces["time"].values, own, color=wheel_look(int(wheels[k])).colour, linewidth=0.9)
        ax.set_ylim(low - 0.03 * high, high)
        ax.set_ylabel("margin [mN·m]")
        layout.remark(ax, signed(f"least {np.nanmin(own):.1f} mN·m, mean {np.nanmean(own):.1f} mN·m"))
