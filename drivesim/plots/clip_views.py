"""What a clip shows of a run: views from the side and from above whose parts move; imports the style and the way.

A view is drawn once; ``show`` moves it to one frame.  Numbers of a frame are means over its stretch of time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Ellipse, Patch, Polygon
from numpy.typing import NDArray

from drivesim.plots import layout
from drivesim.plots.palettes import Palette, ink_on
from drivesim.plots.path import shade
from drivesim.plots.profile import MM, POINTS
from drivesim.plots.scales import even_load
from drivesim.plots.style import (
    AGAINST,
    BLUE,
    FAINT,
    GROUND,
    INK,
    condition_look,
    one_line,
    signed,
    wheel_look,
    wheel_word,
)
from drivesim.plots.way import AROUND, Way, ground_line, radii

if TYPE_CHECKING:
    from drivesim.analysis.run import Run

Array = NDArray[np.float64]
LETTER = 0.063  # inches of one in words about a wheel
SEEN = 5.0  # lengths of the rover that a view from the side shows of a long way
REACH = 1.2  # wheel radii of the arrow of a load that is an even share of the weight
FROM_ABOVE = 1.6  # how many times longer again arrows are from above
LONGER = 2.0  # how many times longer arrows of forces are than those of loads
TELL = 0.005  # N; smaller forces are told as none


class Frame(NamedTuple):
    """One frame: time [s], first row and row after the last, most common condition, mean load and forces [N]."""

    time: float
    row: int
    code: NDArray[np.int8]
    load: Array
    drive: Array
    side: Array
    against: NDArray[np.bool_]


class View(Protocol):
    """A part of the page that can be moved to a frame."""

    def show(self, frame: Frame) -> None:
        """Move it."""


class Slots:
    """Fixed places for words about each wheel: its name and condition, load and force."""

    def __init__(
        self, run: Run, figure: Figure, wheels: list[int], places: list[tuple[float, float]], room: float
    ) -> None:
        """``places``: upper left corner of each wheel's words, in inches from that of the page; ``room``: width."""
        w, h = figure.get_size_inches()
        self.names = [wheel_word(run.traces["wheel"].values[i]) for i in wheels]
        self.most = max(12, int(room / LETTER))
        self.wheels = wheels
        self.words = [
            figure.text(x / w, 1 - y / h, "", va="top", linespacing=1.25, fontsize=8) for x, y in places
        ]

    def show(self, frame: Frame) -> None:
        """Say what the wheels do in this frame."""
        for text, name, i in zip(self.words, self.names, self.wheels, strict=True):
            load = max(float(frame.load[i]), 0.0)
            force = float(frame.drive[i])
            push = "no force" if abs(force) < TELL else f"force {signed(f'{force:+.2f}')} N"
            label = condition_look(int(frame.code[i])).label
            text.set_text(f"{one_line(name, self.most - len(label) - 2)}: {label}\nload {load:.2f} N, {push}")


class Arrows:
    """An arrow a wheel, from a place along a force."""

    def __init__(self, axes: Axes, count: int, colour: Any) -> None:
        """``count``: how many.  They have a rim in the colour of the page, to stand out on wheels."""
        zero = np.zeros(count)
        self.quiver = axes.quiver(
            zero, zero, zero, zero, angles="xy", scale_units="xy", scale=1.0, color=colour, width=0.007,
            headwidth=3.2, headlength=3.4, headaxislength=3.2, minlength=0.05, zorder=6,
            edgecolor="white", linewidth=0.7,
        )  # fmt: skip

    def show(self, x: Array, y: Array, dx: Array, dy: Array, colours: list[Any] | None = None) -> None:
        """Move them."""
        self.quiver.set_offsets(np.column_stack([x, y]))
        self.quiver.set_UVC(dx, dy)
        if colours is not None:
            self.quiver.set_facecolor(colours)


def paint(patch: Patch, palette: Palette, code: int) -> str:
    """Give a wheel the colour and hatch of a condition; return the colour of what is drawn on it."""
    look = list(palette.conditions.values())[code]
    patch.set_facecolor(look.colour)
    patch.set_hatch(look.hatch)
    patch.set_hatchcolor(look.hatch_colour)
    return ink_on(look.colour)


class FromTheSide:
    """The wheels of one side on the ground under their tracks, to scale; follows them on a long way."""

    def __init__(
        self, run: Run, axes: Axes, wheels: list[int], way: Way, word: str, palette: Palette
    ) -> None:
        """``axes``: an empty panel."""
        self.axes, self.wheels, self.palette, self.along = axes, wheels, palette, way.along
        self.hubs, self.radius = run.traces["hub_z"].values, run.scenario.rover.wheel.radius
        self.scale = REACH * self.radius / even_load(run)
        width, height = _inches(axes)
        own = way.along[:, wheels]
        length = float(np.ptp(own[0])) + 2 * self.radius
        x0, x1 = way.span
        self.wide = max(min(x1 - x0, SEEN * length), 2.2 * length, 1.5 * (height / width) * 4 * self.radius)
        self.middle = np.clip(
            (own.min(axis=1) + own.max(axis=1)) / 2,
            x0 + self.wide / 2,
            max(x1 - self.wide / 2, x0 + self.wide / 2),
        )
        if x1 - x0 <= self.wide:
            self.middle[:] = (x0 + x1) / 2
        places = np.linspace(x0 - self.wide, x1 + self.wide, 3 * POINTS)
        line = ground_line(run, wheels, places)
        self.tall = self.wide * height / width
        hubs = self.hubs[:, wheels]
        low = min(float(hubs.min()) - self.radius, float(line[(places > x0) & (places < x1)].min()))
        high = float(hubs.max()) + 1.1 * self.radius
        if high - low + 0.6 * self.radius <= self.tall:  # one height serves all frames
            self.bottom = np.full(len(hubs), low - 0.6 * self.radius)
        else:
            self.bottom = hubs.mean(axis=1) - 0.55 * self.tall
        axes.fill_between(places, MM * line, MM * (line.min() - 9 * self.tall), color=GROUND, linewidth=0)
        axes.plot(places, MM * line, color=FAINT, linewidth=0.9)
        axes.set_ylabel("height [mm]")
        self.frame = Line2D([], [], color=INK, linewidth=1.6, zorder=3)
        axes.add_line(self.frame)
        self.bodies, self.spokes = [], []
        self.radii, self.normal = radii(run), run.traces["normal_x"].values
        for _ in wheels:
            self.bodies.append(axes.add_patch(Ellipse((0, 0), 1, 1, edgecolor=INK, linewidth=1.0, zorder=4)))
            self.spokes.append(axes.add_line(Line2D([], [], color=INK, linewidth=1.6, zorder=5)))
        step = np.diff(run.traces["time"].values, prepend=run.traces["time"].values[:1])
        self.angle = np.cumsum(run.traces["wheel_speed"].values * step[:, None], axis=0)
        self.load = Arrows(axes, len(wheels), FAINT)
        self.force = Arrows(axes, len(wheels), BLUE)
        layout.heading(axes, word)

    def show(self, frame: Frame) -> None:
        """Move wheels, arrows and the part of the ground that is seen."""
        row, wheels = frame.row, self.wheels
        x, z, r = self.along[row, wheels], self.hubs[row, wheels], self.radii[row, wheels]
        left, bottom = self.middle[row] - self.wide / 2, self.bottom[row]
        self.axes.set_xlim(left, left + self.wide)
        self.axes.set_ylim(MM * bottom, MM * (bottom + self.tall))
        order = np.argsort(x)
        self.frame.set_data(x[order], MM * z[order])
        for k, i in enumerate(wheels):
            body, angle = self.bodies[k], self.angle[row, i]
            body.set(center=(x[k], MM * z[k]), width=2 * r[k], height=2 * MM * r[k])
            ink = paint(body, self.palette, int(frame.code[i]))
            ends = np.array([0.35, 0.95]) * r[k]  # of a spoke, which shows how far the wheel has turned
            self.spokes[k].set_data(x[k] + ends * np.sin(angle), MM * (z[k] + ends * np.cos(angle)))
            self.spokes[k].set_color(ink)
        load, drive = self.scale * frame.load[wheels], LONGER * self.scale * frame.drive[wheels]
        ahead = self.normal[row, wheels]  # forces lean as the ground does
        up = np.sqrt(np.clip(1.0 - ahead**2, 0.0, 1.0))
        foot = x - ahead * r, MM * (z - up * r)
        self.load.show(*foot, ahead * load, MM * up * load)
        self.force.show(*foot, up * drive, -MM * ahead * drive, _push_colours(frame, wheels, self.palette))


def _push_colours(frame: Frame, wheels: list[int], palette: Palette) -> list[Any]:
    return [palette.colour(AGAINST if frame.against[i] else BLUE) for i in wheels]


class FromAbove:
    """All wheels on their tracks, to scale: the whole way, and what is behind of it as lines."""

    def __init__(self, run: Run, axes: Axes, palette: Palette) -> None:
        """``axes``: an empty panel."""
        traces, rover = run.traces, run.scenario.rover
        self.palette, self.yaw = palette, traces["yaw"].values
        self.x, self.y = traces["hub_x"].values, traces["hub_y"].values
        self.places = np.array([rover.place(str(name)).at or (0.0, 0.0) for name in traces["wheel"].values])
        self.radius = r = rover.wheel.radius
        self.scale = FROM_ABOVE * REACH * r / even_load(run)
        width, height = _inches(axes)
        room = 2.5 * r + AROUND
        middles = [(float(v.min()) + float(v.max())) / 2 for v in (self.x, self.y)]
        per_inch = max((np.ptp(self.x) + 2 * room) / width, (np.ptp(self.y) + 2 * room) / height)
        axes.set_xlim(middles[0] - per_inch * width / 2, middles[0] + per_inch * width / 2)
        axes.set_ylim(middles[1] - per_inch * height / 2, middles[1] + per_inch * height / 2)
        shaded = shade(run, axes)
        axes.set_xlabel("x [m]")
        axes.set_ylabel("y [m]")
        looks: list[Any] = [wheel_look(i) for i in range(len(self.places))]
        self.tracks = [
            axes.add_line(Line2D([], [], color=look.colour, linestyle=look.line, linewidth=0.8))
            for look in looks
        ]
        self.frame = LineCollection([], colors=INK, linewidths=1.2, zorder=3)
        axes.add_collection(self.frame, autolim=False)
        self.bodies = [Polygon(np.zeros((4, 2)), edgecolor=INK, linewidth=1.0, zorder=4) for _ in looks]
        for body in self.bodies:
            axes.add_patch(body)
        self.force = Arrows(axes, len(looks), BLUE)
        layout.heading(axes, f"from above, to scale{'; darker is lower' if shaded else ''}")

    def show(self, frame: Frame) -> None:
        """Move the rover, its tracks and arrows."""
        row, r = frame.row, self.radius
        c, s = np.cos(self.yaw[row]), np.sin(self.yaw[row])
        turn = np.array([[c, -s], [s, c]])
        hubs = np.stack([self.x[row], self.y[row]], axis=-1)
        middle = (hubs - self.places @ turn.T).mean(axis=0)
        half = np.abs(self.places).max(axis=0)
        outline = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]]) * half
        front = np.array([[0.4, -0.3], [0.75, 0.0], [0.4, 0.3]]) * (half[0], half[1] or half[0])
        self.frame.set_segments([middle + shape @ turn.T for shape in (outline, front)])
        tyre = np.array([[-1.0, -0.4], [1.0, -0.4], [1.0, 0.4], [-1.0, 0.4]]) * r
        for i, body in enumerate(self.bodies):
            body.set_xy(hubs[i] + tyre @ turn.T)
            paint(body, self.palette, int(frame.code[i]))
            self.tracks[i].set_data(self.x[: row + 1, i], self.y[: row + 1, i])
        along = LONGER * self.scale * np.stack([frame.drive, frame.side], axis=-1) @ turn.T
        wheels = list(range(len(self.bodies)))
        colours = _push_colours(frame, wheels, self.palette)
        self.force.show(hubs[:, 0], hubs[:, 1], along[:, 0], along[:, 1], colours)


def _inches(axes: Axes) -> tuple[float, float]:
    """Return width and height of a panel [inch]."""
    box, figure = axes.get_position(), axes.get_figure()
    assert isinstance(figure, Figure)
    w, h = figure.get_size_inches()
    return box.width * w, box.height * h
