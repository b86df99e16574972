"""What the ground is like besides its height: friction, hold for spikes, rolling, soil; imports scenario and ground."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from drivesim.errors import ScenarioError
from drivesim.ground.surface import FRICTION, HOLD, ROLLING, SOIL
from drivesim.scenario import ground as model

Array = NDArray[np.float64]

MAX_CELLS = 20_000_000
CELL = 5e-3  # m
EDGE_SLOPE = (
    1.0  # between neighbouring nodes; steeper is an edge that spikes hook on (common practice, no source)
)


def axis(first: float, last: float, cell: float) -> Array:
    """Return grid lines from ``first`` to ``last`` [m], at most ``cell`` apart."""
    count = max(2, math.ceil((last - first) / cell * (1.0 - 1e-9)) + 1)
    return np.linspace(first, last, count, dtype=np.float64)


def ground_fields(
    ground: model.Ground, heights: Array, x: Array, y: Array, spikes: bool
) -> tuple[Array, Array, Array]:
    """Return the fields, shape (mx, my, 4), and the grid lines they stand on [m]; later patches lie on top.

    With ``spikes``, edges of ``heights`` on ``x``, ``y`` [m] give full hold.
    """
    edges = _edges(heights, x, y) if spikes else np.zeros((0, 2))
    long, wide = ground.length + ground.behind, ground.width
    fine = bool(ground.patches) or len(edges) > 0
    cell_x, cell_y = (CELL, CELL) if fine else (long, wide)
    if (nodes := (long / cell_x + 1.0) * (wide / cell_y + 1.0)) > MAX_CELLS:
        raise ScenarioError(
            f"ground.patches: found a ground of {long:.3g} m by {wide:.3g} m, which is {nodes / 1e6:.3g} "
            f"million cells of {CELL * 1e3:.0f} mm, allowed are {MAX_CELLS / 1e6:.3g} million: "
            "use a smaller ground"
        )
    fx, fy = axis(-ground.behind, ground.length, cell_x), axis(-wide / 2, wide / 2, cell_y)
    soils = {soil: float(i) for i, soil in enumerate(ground.soils, start=1)}
    fields = np.empty((fx.size, fy.size, 4))
    everywhere = 0.0 if ground.soil is None else soils[ground.soil]
    fields[:] = _values(ground.friction, ground.hold, ground.rolling, everywhere)
    for patch in ground.patches:
        part = np.ix_((patch.x[0] <= fx) & (fx <= patch.x[1]), (patch.y[0] <= fy) & (fy <= patch.y[1]))
        soil = 0.0 if patch.soil is None else soils[patch.soil]
        friction, rolling = ground.friction * patch.factor, ground.rolling * patch.rolling_factor
        fields[part] = _values(friction, max(ground.hold, patch.hold), rolling, soil)
    if len(edges):
        rows = np.rint((edges[:, 0] - fx[0]) / (fx[1] - fx[0])).astype(int)
        columns = np.rint((edges[:, 1] - fy[0]) / (fy[1] - fy[0])).astype(int)
        for beside in (-1, 0, 1):
            fields[np.clip(rows + beside, 0, fx.size - 1), columns, HOLD] = 1.0
    return fields, fx, fy


def _values(friction: float, hold: float, rolling: float, soil: float) -> Array:
    out = np.empty(4)
    out[FRICTION], out[HOLD], out[ROLLING], out[SOIL] = friction, hold, rolling, soil
    return out


def _edges(heights: Array, x: Array, y: Array) -> Array:
    """Return the places (x, y) [m] where neighbouring heights along x differ steeply, shape (n, 2).

    Heights that are alike across stand on two grid lines only; their edges are given all across.
    """
    i, j = np.nonzero(np.abs(np.diff(heights, axis=0)) > EDGE_SLOPE * (x[1] - x[0]))
    if y.size > 2:
        return np.column_stack([x[i], y[j]])
    across = np.arange(y[0], y[-1] + CELL / 2, CELL)
    places = np.unique(x[i])
    return np.column_stack([np.repeat(places, across.size), np.tile(np.minimum(across, y[-1]), places.size)])
