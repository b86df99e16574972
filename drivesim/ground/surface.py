"""Compiled lookups of height, slope, normal and kind of ground on a grid; imports only the compiler.

Grids are C-contiguous arrays of shape (nx, ny), both at least 2, whose node [0, 0] lies at (x0, y0) and whose
nodes are dx and dy apart [m].
"""

from math import sqrt

import numpy as np
from numpy.typing import NDArray

from drivesim._compile import compiled

Array = NDArray[np.float64]

#: what a node's fields hold: factor on the tyre's friction, hold for spikes (0 to 1), factor on the rolling
#: resistance, and which soil (0: hard ground)
FRICTION, HOLD, ROLLING, SOIL = range(4)


@compiled
def height_and_slopes(
    z: Array, x0: float, y0: float, dx: float, dy: float, x: float, y: float
) -> tuple[float, float, float]:
    """Return the height [m] and its slopes ∂z/∂x, ∂z/∂y [1] at (x, y) [m], bilinear between nodes.

    Beyond the border the height stays as at the border, and the slope across the border is zero.
    """
    nx, ny = z.shape
    u, v = (x - x0) / dx, (y - y0) / dy
    level_x, level_y = not (0.0 <= u <= nx - 1), not (0.0 <= v <= ny - 1)
    # written so that a NaN also ends on the grid: an index must never leave it
    u = min(u, nx - 1.0) if u > 0.0 else 0.0
    v = min(v, ny - 1.0) if v > 0.0 else 0.0
    i, j = min(int(u), nx - 2), min(int(v), ny - 2)
    fx, fy = u - i, v - j
    z00, z01, z10, z11 = z[i, j], z[i, j + 1], z[i + 1, j], z[i + 1, j + 1]
    near, far = z00 + fy * (z01 - z00), z10 + fy * (z11 - z10)
    hx = 0.0 if level_x else (far - near) / dx
    hy = 0.0 if level_y else ((1.0 - fx) * (z01 - z00) + fx * (z11 - z10)) / dy
    return near + fx * (far - near), hx, hy


@compiled
def unit_normal(hx: float, hy: float) -> tuple[float, float, float]:
    """Return the upward unit normal of a surface with slopes hx, hy: (-hx, -hy, 1)/√(1 + hx² + hy²)."""
    scale = 1.0 / sqrt(1.0 + hx * hx + hy * hy)
    return -hx * scale, -hy * scale, scale


@compiled
def is_inside(nx: int, ny: int, x0: float, y0: float, dx: float, dy: float, x: float, y: float) -> bool:
    """Tell whether (x, y) [m] lies on the grid, border included; False for NaN."""
    return 0.0 <= (x - x0) / dx <= nx - 1.0 and 0.0 <= (y - y0) / dy <= ny - 1.0


@compiled
def node_at(fields: Array, x0: float, y0: float, dx: float, dy: float, x: float, y: float) -> tuple[int, int]:
    """Return the indices of the node of ``fields`` nearest to (x, y) [m], also from beyond the border."""
    mx, my = fields.shape[0], fields.shape[1]
    u, v = (x - x0) / dx + 0.5, (y - y0) / dy + 0.5
    i = int(min(u, mx - 1.0)) if u > 0.0 else 0
    j = int(min(v, my - 1.0)) if v > 0.0 else 0
    return i, j
