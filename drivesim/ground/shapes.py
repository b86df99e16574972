"""The height of each kind of ground feature, as plain array functions; imports nothing of ours.

All take rising places x, shape (nx,), and y, shape (ny,), in metres (x forward, y left), and return heights
z, shape (nx, ny), in metres.  What is alike across the way comes back as a read-only view, so add it, do not
write to it.  A sharp edge is put on the grid line nearest to it, so it lies within half a cell of where it
was asked for; the line itself belongs to the higher side.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BLEND = 0.02  # half-width of the strip in which a twist turns from its left to its right side [m]


def smooth_step(u: Array) -> Array:
    """Return 0 for u ≤ 0, 1 for u ≥ 1, and 3u² - 2u³ between."""
    u = np.clip(u, 0.0, 1.0)
    return u * u * (3.0 - 2.0 * u)


def fade_in(x: Array, start: float, fade: float) -> Array:
    """Return the factor, shape (nx,), that grows from 0 at ``start`` to 1 at ``start + fade`` [m]."""
    if fade == 0.0:
        return (x >= start).astype(np.float64)
    return smooth_step((x - start) / fade)


def _across(z: Array, y: Array) -> Array:
    return np.broadcast_to(z[:, None], (z.size, y.size))


def nearest_line(x: Array, at: float) -> float:
    """Return the grid line of ``x`` nearest to ``at`` [m], or ``at`` itself where the grid does not reach."""
    if not x[0] <= at <= x[-1]:
        return at
    after = min(max(int(np.searchsorted(x, at)), 1), x.size - 1)
    return float(x[after] if x[after] - at < at - x[after - 1] else x[after - 1])


def ramp(x: Array, y: Array, start: float, end: float, slope: float, cross_slope: float = 0.0) -> Array:
    """Return a climb of ``slope`` [rad] from ``start`` to ``end`` [m], level at its top from there on.

    ``cross_slope`` [rad] lifts the left side: z += y·tan(cross_slope).  It comes in over the first quarter of
    the ramp and goes out over the last.
    """
    along = np.tan(slope) * np.clip(x - start, 0.0, end - start)
    if cross_slope == 0.0:
        return _across(along, y)
    quarter = (end - start) / 4.0
    share = smooth_step((x - start) / quarter) * smooth_step((end - x) / quarter)
    return along[:, None] + np.tan(cross_slope) * share[:, None] * y[None, :]


def step(x: Array, y: Array, at: float, height: float) -> Array:
    """Return a sharp edge: zero before ``at`` and ``height`` after it [m]; a negative height is a drop."""
    edge = nearest_line(x, at)
    after = x >= edge if height > 0.0 else x > edge
    return _across(np.where(after, height, 0.0), y)


def pavers(
    x: Array, y: Array, start: float, length: float, gap: float, heights: Array, gap_floor: float = 0.0
) -> Array:
    """Return a row of slabs of ``length`` with ``gap`` between them, the first from ``start`` on [m].

    heights: the top of each slab [m], shape (count,).  gap_floor: height of the ground in the gaps [m].
    """
    z = np.zeros(x.size)
    pitch = length + gap
    inside_row = (x >= nearest_line(x, start)) & (x <= nearest_line(x, start + heights.size * pitch - gap))
    z[inside_row] = gap_floor
    top = np.full(x.size, -np.inf)
    for i, height in enumerate(heights):
        first, last = nearest_line(x, start + i * pitch), nearest_line(x, start + i * pitch + length)
        slab = slice(np.searchsorted(x, first), np.searchsorted(x, last, side="right"))
        top[slab] = np.maximum(top[slab], height)
    return _across(np.where(np.isfinite(top), top, z), y)


def draw_heights(count: int, height: float, spread: float, rng: np.random.Generator) -> Array:
    """Return ``count`` slab heights [m], drawn evenly from height ± spread."""
    return height + spread * rng.uniform(-1.0, 1.0, count)


def bumps(
    x: Array,
    y: Array,
    start: float,
    count: int,
    spacing: float,
    radius: float,
    side: Literal["both", "left", "right"] = "both",
) -> Array:
    """Return half-round bars of ``radius`` across the way; the first begins at ``start`` [m].

    spacing: crest to crest [m].  side: which half of the way they cover (left is y > 0).
    """
    z = np.zeros(x.size)
    for i in range(count):
        crest = start + radius + i * spacing
        near = slice(np.searchsorted(x, crest - radius), np.searchsorted(x, crest + radius, side="right"))
        z[near] = np.maximum(z[near], np.sqrt(np.maximum(0.0, radius**2 - (x[near] - crest) ** 2)))
    if side == "both":
        return _across(z, y)
    covered = y > 0.0 if side == "left" else y < 0.0
    return z[:, None] * covered[None, :]


def washboard(x: Array, y: Array, start: float, wavelength: float, amplitude: float) -> Array:
    """Return z = amplitude·sin(2π(x - start)/wavelength) from ``start`` on [m]."""
    return _across(np.where(x >= start, amplitude * np.sin(2.0 * np.pi * (x - start) / wavelength), 0.0), y)


def twist(x: Array, y: Array, start: float, wavelength: float, amplitude: float) -> Array:
    """Return a washboard whose right side is the left one upside down [m].

    z = amplitude·sin(2π(x - start)/wavelength)·s(y), s = 1 on the left and -1 on the right, linear within
    ± BLEND.
    """
    wave = washboard(x, y[:1], start, wavelength, amplitude)
    return wave * np.clip(y / BLEND, -1.0, 1.0)[None, :]


def profile(x: Array, y: Array, start: float, at: Array, heights: Array) -> Array:
    """Return ``heights`` given ``at`` rising places from ``start`` on [m]; linear between, level beyond."""
    return _across(np.interp(x - start, at, heights), y)


def height_map(x: Array, y: Array, start: float, spacing: float, heights: Array) -> Array:
    """Return heights [m] given on a square grid, shape (rows, columns); bilinear between, level beyond.

    The first row lies at x = ``start``, the columns are centred on y = 0, both ``spacing`` apart [m].
    """
    rows, columns = heights.shape
    u = np.clip((x - start) / spacing, 0.0, rows - 1.0)
    v = np.clip(y / spacing + (columns - 1) / 2.0, 0.0, columns - 1.0)
    i = np.minimum(u.astype(np.int64), rows - 2)
    j = np.minimum(v.astype(np.int64), columns - 2)
    fx, fy = (u - i)[:, None], (v - j)[None, :]
    along = heights[i] * (1.0 - fx) + heights[i + 1] * fx
    return along[:, j] * (1.0 - fy) + along[:, j + 1] * fy
