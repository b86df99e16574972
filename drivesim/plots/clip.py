"""A clip of a run as a short GIF: the rover on its ground, and what each wheel does; imports clip_views and Pillow.

One figure is moved from frame to frame.  A run that leaves its heading is seen from above, any other from the side.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure
from PIL import Image

from drivesim.analysis.files import replaced
from drivesim.errors import DrivesimError
from drivesim.plots import chosen_style, layout, whole_rows
from drivesim.plots.clip_views import Frame, FromAbove, FromTheSide, Slots, View
from drivesim.plots.files import filled, pixels
from drivesim.plots.palettes import Palette, palette, restyle
from drivesim.plots.style import AGAINST, BLUE, DPI, FAINT, GROUND, INK, one_line, styled
from drivesim.plots.way import sides, way

if TYPE_CHECKING:
    from drivesim.analysis.run import Run

RATE = 10  # frames per second of playing
LONGEST, SHORTEST = 8.0, 2.0  # s of playing
FIRST, LAST = 1200, 1500  # ms that the first and the last frame stand
SPEEDS = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0)  # times ten to any power
COLOURS, NEAR = 64, 8  # of the GIF, and the least between what it must have and others, of 255
WIDTH = 640 / DPI  # inches
EDGE, TOP, BOTTOM = 0.62, 0.82, 0.42  # inches: left of panels, above them, below them
PANEL, ABOVE = 0.78, 2.5  # inches, height of a view from the side, and of one from above
WORDS, HEAD, GAP = (
    0.33,
    0.2,
    0.3,
)  # inches: two lines of words, a heading below them, all but the panel and its words


def speed_of(duration: float) -> float:
    """Return how many times faster than life a run of ``duration`` [s] is played: 1 where that is short enough."""
    nice = sorted(step * 10.0**power for step in SPEEDS for power in range(-4, 6))
    if duration < SHORTEST:
        return max(speed for speed in nice if speed <= max(duration / SHORTEST, nice[0]) * (1 + 1e-9))
    return next(speed for speed in nice if speed >= 1 and duration / speed <= LONGEST * (1 + 1e-9))


def frames(run: Run) -> list[Frame]:
    """Return the frames of a clip of ``run``, each with the means over its stretch of time."""
    traces = run.traces
    time, codes = traces["time"].values, traces["condition"].values
    duration = float(run.summary["duration_s"])
    count = max(1, round(RATE * duration / speed_of(duration)))
    edges = np.unique(np.searchsorted(time, np.linspace(time[0], time[-1], count + 1)[:-1]))
    lasts = np.append(edges[1:], len(time))
    wanted = np.sign(traces["commanded_speed"].values)
    found = []
    for first, last in zip(edges.tolist(), lasts.tolist(), strict=True):
        load, drive, side = (
            traces[name].values[first:last].mean(axis=0)
            for name in ("normal_load", "drive_force", "side_force")
        )
        most = np.array([np.bincount(own).argmax() for own in codes[first:last].T], dtype=np.int8)
        against = wanted[first:last].mean(axis=0) * drive < 0
        found.append(Frame(float(time[first]), first, most, load, drive, side, against))
    return found


class Clip:
    """The figure of a clip, moved from frame to frame."""

    def __init__(self, run: Run, style: str = "light") -> None:
        """Draw what does not move.  Raises DrivesimError for a run gone wild and for unknown styles."""
        self.palette = palette(chosen_style(style))
        if run.summary["ending"] == "not_finite":
            raise DrivesimError("clip: the run ended in numbers that are not finite, nothing can be played")
        self.run = whole_rows(run)
        self.frames = frames(self.run)
        with styled():
            self.figure, self.views = _page(self.run, self.palette)
            self.clock = self.figure.text(
                1 - 0.12 / WIDTH, 1 - 0.1 / self.figure.get_figheight(), "", ha="right", va="top", fontsize=11
            )
            self._show(self.frames[0])
            restyle(self.figure, style)

    def images(self) -> Iterator[Image.Image]:
        """Give the frames as images."""
        for frame in self.frames:
            with styled():
                self._show(frame)
            yield pixels(self.figure)

    def _show(self, frame: Frame) -> None:
        self.clock.set_text(
            f"{frame.time:.1f} s" if self.run.summary["duration_s"] >= 1 else f"{frame.time:.3f} s"
        )
        for view in self.views:
            view.show(frame)


def _page(run: Run, own: Palette) -> tuple[Figure, list[View]]:
    going = way(run)
    parts = sides(run) if going.straight else {}
    height = TOP + (len(parts) * (PANEL + WORDS + GAP) if parts else ABOVE + 0.1) + BOTTOM
    figure = Figure(figsize=(WIDTH, height))
    FigureCanvasAgg(figure)
    _head(run, figure, loads=bool(parts))
    views: list[View] = []
    top = TOP
    width = WIDTH - EDGE - 0.12
    for word, wheels in parts.items():
        ordered = sorted(wheels, key=lambda i: going.along[0, i])
        pitch = width / len(ordered)
        places = [(EDGE + pitch * k, top) for k in range(len(ordered))]
        views.append(Slots(run, figure, ordered, places, pitch))
        axes = layout.panel(figure, EDGE, top + WORDS + HEAD, width, PANEL)
        views.append(FromTheSide(run, axes, wheels, going, f"{word}, to scale", own))
        top += PANEL + WORDS + GAP
        if word == list(parts)[-1]:
            axes.set_xlabel(going.word)
        else:
            axes.tick_params(labelbottom=False, bottom=False)
    if not parts:
        axes = layout.panel(figure, EDGE, TOP + 0.1, 0.55 * WIDTH, ABOVE)
        views.append(FromAbove(run, axes, own))
        count = run.traces.sizes["wheel"]
        left = EDGE + 0.55 * WIDTH + 0.2
        pitch = min(0.6, (ABOVE + 0.1) / count)
        places = [(left, TOP + pitch * i) for i in range(count)]
        views.append(Slots(run, figure, list(range(count)), places, WIDTH - left))
    return figure, views


def _head(run: Run, figure: Figure, *, loads: bool) -> None:
    """Say of what the clip is, how fast it plays, and what arrows mean."""
    height, x = figure.get_figheight(), 0.12 / WIDTH
    speed = speed_of(float(run.summary["duration_s"]))
    pace = (
        "as fast as life"
        if speed == 1
        else f"{speed:.3g} times faster"
        if speed > 1
        else f"{1 / speed:.3g} times slower"
    )
    figure.text(x, 1 - 0.1 / height, one_line(run.scenario.name, 46), va="top", fontsize=11, weight="bold")
    figure.text(
        x,
        1 - 0.34 / height,
        f"played {pace}; each frame: means and most common condition of its time",
        va="top",
        color=FAINT,
        fontsize=8,
    )
    words = [
        ("▬", BLUE, "pushes as commanded"),
        ("▬", AGAINST, "pushes against the command"),
        ("▮", FAINT, "load, half the scale"),
    ]
    place = 0.12
    words = words if loads else words[:2]
    for sign, colour, meaning in words:
        figure.text(place / WIDTH, 1 - 0.53 / height, sign, va="top", color=colour, fontsize=8)
        figure.text((place + 0.15) / WIDTH, 1 - 0.53 / height, meaning, va="top", color=INK, fontsize=8)
        place += 0.35 + layout.text_width(meaning) * 8 / layout.WORD_SIZE


def write_clip(
    clip: Clip, path: str | os.PathLike[str], progress: Callable[[int], None] | None = None
) -> Path:
    """Write ``clip`` as GIF to ``path``, whole or not at all; a run of one row gives a still.

    ``progress`` is told how many of its frames are done.  Raises OSError where the file cannot be written.
    """
    target = Path(path)
    with filled(target.parent):
        images, colours = [], None
        for done, image in enumerate(clip.images(), 1):
            if colours is None:
                colours = _colours(image, clip.palette)
            images.append(image.quantize(palette=colours, dither=Image.Dither.NONE))
            if progress is not None:
                progress(done)
        times = [round(1000 / RATE)] * len(images)
        times[0], times[-1] = FIRST, LAST
        more = (
            {"save_all": True, "append_images": images[1:], "duration": times, "loop": 0}
            if images[1:]
            else {}
        )
        replaced(target, lambda partial: images[0].save(partial, "gif", optimize=False, **more))
    return target


def _colours(image: Image.Image, own: Palette) -> Image.Image:
    """Return an image with the colours that all frames use: those of the style and of the first frame."""
    looks = own.conditions.values()
    named = [own.page, *(look.colour for look in looks), *(look.hatch_colour for look in looks)]
    named += [to_hex(own.colour(one)) for one in (BLUE, AGAINST, FAINT, INK, GROUND)]
    solid = [round(255 * part) for one in dict.fromkeys(named) for part in to_rgb(one)]
    rest = image.quantize(COLOURS - len(solid) // 3, Image.Quantize.MEDIANCUT).getpalette() or []
    own_rows, other = np.array(solid).reshape(-1, 3), np.array(rest).reshape(-1, 3)
    apart = (
        np.abs(other[:, None] - own_rows).max(axis=2).min(axis=1) > NEAR
    )  # Pillow looks up in coarse steps
    made = Image.new("P", (1, 1))
    made.putpalette([*solid, *other[apart].ravel().tolist()])
    return made
