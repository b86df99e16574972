"""Where the wheels went and what is worth marking there, as numbers; imports numpy, conditions and ground only."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from drivesim.analysis.conditions import GRIPPING
from drivesim.ground.surface import height_and_slopes, unit_normal

if TYPE_CHECKING:
    from drivesim.analysis.run import Run
    from drivesim.engine.ground_build import GroundArrays

Array = NDArray[np.float64]

STRAIGHT = math.radians(20)  # most change of heading of a way that is drawn along one line
SHORTEST = 0.25  # s of a condition that is worth a mark
EACH = 2  # marks per wheel and condition
AROUND = 0.05  # m of ground shown around what is drawn
_BINS = 200
_TYRE_OFF = re.compile(r"tyre off, radius \S+ → (\S+) mm")  # as the log says it


@dataclass(frozen=True)
class Mark:
    """A stretch of time worth a mark: wheel, condition code, first row, length [s]."""

    wheel: int
    code: int
    row: int
    seconds: float


@dataclass(frozen=True)
class Way:
    """How far each wheel had come, and what an axis of it says.

    along: in each row [m], shape (rows, wheels).  straight: along one line.  span: what to show of it [m].
    """

    along: Array
    straight: bool
    word: str
    span: tuple[float, float]


def marks(run: Run) -> list[Mark]:
    """Return the longest stretches of each wheel in each condition but gripping, the longest first."""
    interval = run.traces.attrs["recording_interval_s"]
    codes = run.traces["condition"].values
    found = []
    for wheel in range(codes.shape[1]):
        edges = np.flatnonzero(np.diff(codes[:, wheel])) + 1
        firsts = np.concatenate([[0], edges])
        seconds = np.diff(np.concatenate([firsts, [len(codes)]])) * interval
        kinds = codes[firsts, wheel]
        for code in np.unique(kinds[kinds != GRIPPING]):
            own = np.flatnonzero((kinds == code) & (seconds >= SHORTEST))
            longest = own[np.argsort(-seconds[own], kind="stable")][:EACH]
            found += [Mark(wheel, int(code), int(firsts[k]), float(seconds[k])) for k in longest]
    return sorted(found, key=lambda mark: -mark.seconds)


def way(run: Run) -> Way:
    """Return how far the wheels had come: along the first heading if kept, else along their own tracks."""
    traces = run.traces
    x, y, yaw = traces["hub_x"].values, traces["hub_y"].values, traces["yaw"].values
    room = run.scenario.rover.wheel.radius + AROUND
    heading = run.scenario.start.heading
    if np.ptp(yaw) > STRAIGHT:
        steps = np.hypot(np.diff(x, axis=0, prepend=x[:1]), np.diff(y, axis=0, prepend=y[:1]))
        along, word = np.cumsum(steps, axis=0), "way of each wheel along its own track [m]"
    else:
        along = x * math.cos(heading) + y * math.sin(heading)
        word = "forward, x [m]" if heading == 0 else "forward along the heading at the start [m]"
    span = float(along.min()) - room, float(along.max()) + room
    return Way(along, bool(np.ptp(yaw) <= STRAIGHT), word, span)


def radii(run: Run) -> Array:
    """Return the radius [m] of each wheel in each row, shape (rows, wheels): its rim's once it has lost its tyre."""
    names = [str(name) for name in run.traces["wheel"].values]
    found = np.full((run.traces.sizes["time"], len(names)), run.scenario.rover.wheel.radius)
    for event in run.events:
        lost = _TYRE_OFF.search(event.effect)
        if lost is not None:
            found[run.traces["time"].values >= event.time, names.index(event.wheel)] = 1e-3 * float(lost[1])
    return found


def last_radii(run: Run) -> Array:
    """Return the radius [m] that each wheel has at the end."""
    result: Array = radii(run)[-1]
    return result


def height_at(ground: GroundArrays, x: Array, y: Array) -> Array:
    """Return the ground's height [m] at places x, y [m], bilinear between nodes, level beyond the border."""
    grid = (ground.heights, ground.x0, ground.y0, ground.dx, ground.dy)
    lookup = np.vectorize(lambda a, b: height_and_slopes(*grid, a, b)[0], otypes=[float])
    result: Array = lookup(x, y)
    return result


def normal_ahead(run: Run, rows: NDArray[np.intp]) -> Array:
    """Return the part of the ground's unit normal at each wheel the way the rover heads (−1: a wall ahead).

    Shape (rows, wheels).  Its part along x is as recorded; that along y is of the surface that the hub rides on.
    """
    part, ground = run.traces.isel(time=rows), run.ground
    grid = (ground.surface, ground.x0, ground.y0, ground.dx, ground.dy)

    def normal_y(x: float, y: float) -> float:
        _, slope_x, slope_y = height_and_slopes(*grid, x, y)
        return unit_normal(slope_x, slope_y)[1]

    across = np.vectorize(normal_y, otypes=[float])(part["hub_x"].values, part["hub_y"].values)
    yaw = part["yaw"].values[:, None]
    ahead: Array = part["normal_x"].values * np.cos(yaw) + across * np.sin(yaw)
    return ahead


def ground_line(run: Run, wheels: list[int], along: Array) -> Array:
    """Return the ground's height [m] at the places ``along`` a straight way, under the tracks of ``wheels``.

    Where no wheel of them came, the track goes on as at its end.
    """
    heading = run.scenario.start.heading
    c, s = math.cos(heading), math.sin(heading)
    x, y = run.traces["hub_x"].values[:, wheels].ravel(), run.traces["hub_y"].values[:, wheels].ravel()
    forward, left = x * c + y * s, y * c - x * s
    edges = np.linspace(forward.min(), forward.max() + 1e-9, _BINS + 1)
    places = np.clip(np.digitize(forward, edges) - 1, 0, _BINS - 1)
    count = np.bincount(places, minlength=_BINS)
    mean = np.bincount(places, left, minlength=_BINS)[count > 0] / count[count > 0]
    track = np.interp(along, ((edges[1:] + edges[:-1]) / 2)[count > 0], mean)
    return height_at(run.ground, along * c - track * s, along * s + track * c)


def under(run: Run, wheels: list[int]) -> Array:
    """Return the ground's height [m] under the hubs of ``wheels``, shape (rows, wheels)."""
    return height_at(run.ground, run.traces["hub_x"].values[:, wheels], run.traces["hub_y"].values[:, wheels])


def sides(run: Run) -> dict[str, list[int]]:
    """Return which wheels sit left and right of the middle, those of an empty side left out."""
    rover = run.scenario.rover
    places = [rover.place(str(name)).at or (0.0, 0.0) for name in run.traces["wheel"].values]
    parts = {
        "left wheels": [i for i, at in enumerate(places) if at[1] > 1e-6],
        "middle wheels": [i for i, at in enumerate(places) if abs(at[1]) <= 1e-6],
        "right wheels": [i for i, at in enumerate(places) if at[1] < -1e-6],
    }
    return {word: wheels for word, wheels in parts.items() if wheels}
