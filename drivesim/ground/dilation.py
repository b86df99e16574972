"""The surface on which a wheel's centre rides: the ground dilated by the wheel; imports only the compiler.

Grey-scale dilation by a ball of radius r (a disc on a profile), as in mathematical morphology:
z_c(x, y) = max over |d| ≤ r of z((x, y) + d) + √(r² - |d|²).  Beyond its border there is no ground.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drivesim._compile import compiled

Array = NDArray[np.float64]


def ball_offsets(dx: float, dy: float, radius: float) -> tuple[NDArray[np.int64], Array]:
    """Return the grid offsets within a ball, shape (n, 2), and its height there [m], (n,); highest first."""
    reach_x, reach_y = int(radius / dx * (1.0 + 1e-12)), int(radius / dy * (1.0 + 1e-12))
    i, j = np.meshgrid(np.arange(-reach_x, reach_x + 1), np.arange(-reach_y, reach_y + 1), indexing="ij")
    left = radius**2 - (i * dx) ** 2 - (j * dy) ** 2
    inside = left >= -1e-12 * radius**2
    rise = np.sqrt(np.maximum(left[inside], 0.0))
    order = np.argsort(-rise, kind="stable")
    return np.stack((i[inside], j[inside]), axis=1)[order], rise[order]


def dilate(z: Array, dx: float, dy: float, radius: float) -> Array:
    """Return where the centre of a ball of ``radius`` rides over heights z [m], both of shape (nx, ny)."""
    offsets, rise = ball_offsets(dx, dy, radius)
    heights = np.ascontiguousarray(z, dtype=np.float64)
    out = heights + rise[0]  # the first offset is the centre
    _dilate(heights, heights.max(axis=1), offsets, rise, out)
    return out


def dilate_profile(z: Array, dx: float, radius: float) -> Array:
    """Return where the centre of a disc of ``radius`` rides over a profile z [m], both of shape (nx,)."""
    return dilate(z[None, :], 2.0 * radius, dx, radius)[0]


@compiled
def _dilate(z: Array, highest: Array, offsets: NDArray[np.int64], rise: Array, out: Array) -> None:
    """Dilate row by row into ``out``; a row too low to lift any point of this one is passed over."""
    nx = z.shape[0]
    for i in range(nx):
        row = out[i]
        lowest = row[0]
        for value in row:
            lowest = min(lowest, value)
        for k in range(1, rise.size):
            source, shift = i + offsets[k, 0], offsets[k, 1]
            if source < 0 or source >= nx or highest[source] + rise[k] <= lowest:
                continue
            _raise(row, z[source], shift, rise[k])


@compiled
def _raise(row: Array, source: Array, shift: int, rise: float) -> None:
    """Lift ``row`` to at least ``source`` shifted by ``shift`` cells plus ``rise``."""
    first, last = max(0, -shift), min(row.size, row.size - shift)
    if first >= last:
        return
    target = row[first:last]
    other = source[first + shift : last + shift]
    for j in range(target.size):
        lifted = other[j] + rise
        target[j] = lifted if lifted > target[j] else target[j]
