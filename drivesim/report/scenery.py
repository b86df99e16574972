"""What a run is played back on: the ground it drove over, its wheels' places, their looks; imports plots' looks."""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from drivesim.analysis.conditions import CONDITIONS
from drivesim.analysis.run import Run
from drivesim.plots.style import condition_look, wheel_look, wheel_word
from drivesim.plots.way import radii, sides

MOST_NODES = 120_000  # of the ground in the page
AROUND = 0.2  # m of ground kept around the tracks
DASHES = {"-": [], "--": [6, 3], "-.": [7, 2, 1.5, 2], ":": [1.5, 2]}


def looks() -> list[dict[str, Any]]:
    """Return each condition's name, word and colours, in the order of their codes."""
    return [
        {"name": name, "word": look.label, "colour": look.colour, "ink": look.hatch_colour}
        for name, look in ((name, condition_look(code)) for code, name in enumerate(CONDITIONS))
    ]


def wheels(run: Run) -> list[dict[str, Any]]:
    """Return each wheel's name, words, line, place on the frame [m] and radius [m] from which times [s] on."""
    rover, found, time, sizes = run.scenario.rover, [], run.traces["time"].values, radii(run)
    for i, name in enumerate(str(n) for n in run.traces["wheel"].values):
        look, at = wheel_look(i), rover.place(name).at or (0.0, 0.0)
        changed = np.flatnonzero(np.diff(sizes[:, i])) + 1  # a tyre lost
        found.append(
            {
                "name": name, "word": wheel_word(name), "colour": look.colour, "dash": DASHES[look.line],
                "at": list(at), "radius": rover.wheel_at(name).radius,
                "radii": [[0.0, float(sizes[0, i])], *([float(time[k]), float(sizes[k, i])] for k in changed)],
            }
        )  # fmt: skip
    return found


def rows_of_wheels(run: Run) -> list[dict[str, Any]]:
    """Return which wheels are seen from each side, with the words for it."""
    return [{"word": word, "wheels": indices} for word, indices in sides(run).items()]


def ground(runs: Sequence[Run], most: int = MOST_NODES) -> dict[str, Any]:
    """Return the heights of the ground that ``runs`` share, around their tracks, on a grid of at most ``most`` nodes.

    ``heights``: base64 of 16-bit whole numbers, ``low + height_step`` times each in m, x by x.
    """
    grid = runs[0].ground
    x, y = (np.concatenate([run.traces[hub].values for run in runs], axis=None) for hub in ("hub_x", "hub_y"))
    rows = _around(x, grid.x0, grid.dx, grid.heights.shape[0])
    columns = _around(y, grid.y0, grid.dy, grid.heights.shape[1])
    part = grid.heights[rows, columns]
    along, across = _strides(part.shape, (grid.dx, grid.dy), most)
    part = part[::along, ::across]
    low, high = float(part.min()), float(part.max())
    step = max((high - low) / 65_535, 1e-9)
    numbers = np.round((part - low) / step).astype("<u2")
    return {
        "x0": grid.x0 + rows.start * grid.dx, "y0": grid.y0 + columns.start * grid.dy,
        "dx": grid.dx * along, "dy": grid.dy * across, "nx": part.shape[0], "ny": part.shape[1],
        "low": low, "high": high, "height_step": step,
        "heights": base64.b64encode(np.ascontiguousarray(numbers).tobytes()).decode("ascii"),
    }  # fmt: skip


def patches(run: Run) -> list[dict[str, Any]]:
    """Return where the ground has other friction or soil, with the words for it."""
    return [
        {"x": list(patch.x), "y": list(patch.y), "word": patch.label or "other ground"}
        for patch in run.scenario.ground.patches
    ]


def _strides(shape: tuple[int, ...], spacing: tuple[float, float], most: int) -> tuple[int, int]:
    """Return which nodes of a grid to keep each way, at least two, so that at most ``most`` stay, evenly spaced."""
    along, across = 1, 1
    while math.ceil(shape[0] / along) * math.ceil(shape[1] / across) > most:
        thin_along = math.ceil(shape[0] / (along + 1)) >= 2 and (
            spacing[0] * along <= spacing[1] * across or math.ceil(shape[1] / (across + 1)) < 2
        )
        along, across = (along + 1, across) if thin_along else (along, across + 1)
    return along, across


def _around(places: np.ndarray, start: float, step: float, count: int) -> slice:
    """Return which nodes lie around ``places``, at least two."""
    known = places[np.isfinite(places)]
    first = int((known.min() - AROUND - start) / step) if known.size else 0
    last = int((known.max() + AROUND - start) / step) + 2 if known.size else count
    first = min(max(0, first), count - 2)
    return slice(first, max(min(count, last), first + 2))
