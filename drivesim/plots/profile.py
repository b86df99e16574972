"""The way from the side: ground, hub tracks and marks of one side's wheels; imports layout and way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Ellipse

from drivesim.plots import layout
from drivesim.plots.style import FAINT, GROUND, INK, condition_look, mark_look, wheel_look, wheel_word
from drivesim.plots.way import Mark, Way, ground_line, last_radii, under

if TYPE_CHECKING:
    from drivesim.analysis.run import Run

TALLEST, LEAST = 1.5, 0.7  # inches of a profile, words not counted; a steep way may be taller
STEEPEST = 2.2  # inches at most
FACTORS = (10, 5, 3, 2)  # by which heights may be drawn larger
LANE = 0.24  # inches kept free for words
POINTS = 1500  # of the ground's line
MM = 1e3


@dataclass(frozen=True)
class Profile:
    """What to draw from one side: wheels, stretch [m], heights [mm] and how many times larger, inches."""

    word: str
    wheels: list[int]
    way: Way
    x: tuple[float, float]
    z: tuple[float, float]
    factor: int
    height: float


def plan_profile(run: Run, word: str, wheels: list[int], way: Way, width: float, lane: float) -> Profile:
    """Return the scales of one side's view on ``width`` inches: equal, or heights a stated factor larger.

    ``lane``: inches kept free for words.
    """
    radius = run.scenario.rover.wheel.radius
    hubs = run.traces["hub_z"].values[:, wheels]
    x0, x1 = way.span
    ground = ground_line(run, wheels, np.linspace(x0, x1, POINTS)) if way.straight else under(run, wheels)
    low = min(float(ground.min()), float(hubs.min()) - radius) - 0.15 * radius
    high = max(float(ground.max()), float(hubs.max()) + radius) + 0.15 * radius
    scale = width / (x1 - x0)
    if (high - low) * scale > STEEPEST:
        scale = STEEPEST / (high - low)
        x0, x1 = (x0 + x1) / 2 - width / scale / 2, (x0 + x1) / 2 + width / scale / 2
    factor = next((f for f in FACTORS if (high - low) * scale * f <= TALLEST), 1)
    height = max((high - low) * scale * factor, LEAST) + lane
    return Profile(
        word, wheels, way, (x0, x1), (MM * low, MM * (low + height / scale / factor)), factor, height
    )


def draw_profile(run: Run, axes: Axes, plan: Profile, found: list[Mark]) -> None:
    """Draw the ground under these wheels, the tracks of their hubs, the wheels at the end, and marks."""
    hubs = MM * run.traces["hub_z"].values
    axes.set_xlim(*plan.x)
    axes.set_ylim(*plan.z)
    _draw_ground(run, axes, plan)
    diameters = 2 * last_radii(run)
    for i in plan.wheels:
        look, along = wheel_look(i), plan.way.along[:, i]
        axes.plot(along, hubs[:, i], color=look.colour, linestyle=look.line)
        axes.add_patch(
            Ellipse(
                (along[-1], hubs[-1, i]), diameters[i], MM * diameters[i], fill=False, edgecolor=INK,
                linewidth=0.8, gid="wheel",
            )
        )  # fmt: skip
    draw_marks(axes, found, plan.way.along, hubs)
    words = []
    for mark in _longest(found):
        name = wheel_word(run.traces["wheel"].values[mark.wheel])
        text = f"{name} {condition_look(mark.code).label} {mark.seconds:.1f} s"
        words.append((plan.way.along[mark.row, mark.wheel], hubs[mark.row, mark.wheel], text))
    layout.words_in_lane(axes, words, at_top=True)
    axes.set_ylabel("height [mm]")
    layout.heading(axes, plan.word)
    layout.remark(
        axes, "heights to scale" if plan.factor == 1 else f"heights drawn {plan.factor} times larger"
    )


def draw_marks(axes: Axes, found: list[Mark], x: np.ndarray, y: np.ndarray) -> None:
    """Mark where conditions begin; ``x`` and ``y`` say where each wheel was, shape (rows, wheels)."""
    for code in sorted({mark.code for mark in found}):
        where = tuple(np.array([(mark.row, mark.wheel) for mark in found if mark.code == code]).T)
        axes.plot(x[where], y[where], gid="marks", **mark_look(code))


def _draw_ground(run: Run, axes: Axes, plan: Profile) -> None:
    if plan.way.straight:
        along = np.linspace(*plan.x, POINTS)
        line = MM * ground_line(run, plan.wheels, along)
        axes.fill_between(along, line, plan.z[0], color=GROUND, linewidth=0)
        axes.plot(along, line, color=FAINT, linewidth=0.8, gid="ground")
        return
    heights = MM * under(run, plan.wheels)
    for k, i in enumerate(plan.wheels):
        axes.plot(
            plan.way.along[:, i],
            heights[:, k],
            color=FAINT,
            linewidth=0.8,
            linestyle=wheel_look(i).line,
            gid="ground",
        )


def _longest(found: list[Mark]) -> list[Mark]:
    """Return the longest mark of each wheel and condition, longest first."""
    seen: dict[tuple[int, int], Mark] = {}
    for mark in found:
        seen.setdefault((mark.wheel, mark.code), mark)
    return list(seen.values())
