"""A run's traces as bounded arrays of single-precision numbers for the page; imports engine, plots."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from drivesim.analysis.conditions import (
    AIRBORNE,
    DRAGGED,
    GRIPPING,
    OUT_OF_STEP,
    SLIPPING,
    STALLED,
)
from drivesim.analysis.run import Run
from drivesim.engine.channels import BODY_CHANNELS, WHEEL_CHANNELS
from drivesim.plots.way import normal_ahead

#: channels that say where the rover was: shown as they were, since extremes of places make no path
PLACES = {"hub_x", "hub_y", "hub_z", "x", "y", "z", "roll", "pitch", "yaw", "normal_x"}
#: what the page works out beside the recorded channels: name, unit, meaning
WORKED_OUT = (
    (
        "traction_use",
        "1",
        "force along and across the wheel as a share of what the ground holds (soil: less its drag)",
    ),
    ("turned", "rad", "angle that the wheel has turned against the frame"),
    (
        "normal_ahead",
        "1",
        "part of the ground's unit normal at the wheel the way the rover heads (−1: a wall ahead)",
    ),
)
#: conditions by how much they hold a rover up, the least first
HAMPERS = np.array([GRIPPING, AIRBORNE, SLIPPING, DRAGGED, OUT_OF_STEP, STALLED])
LEAST_LIMIT = 1e-3  # N of friction limit below which its use says nothing


@dataclass(frozen=True)
class Thin:
    """Which rows stand for a run: all, or two for each stretch of ``each`` rows, its lowest and highest value."""

    rows: int
    each: int

    @classmethod
    def to(cls, rows: int, points: int) -> Thin:
        """Return how ``rows`` become at most ``points``."""
        return cls(rows, 1 if rows <= points else -(-rows // max(1, points // 2)))

    @property
    def kept(self) -> NDArray[np.intp]:
        """Rows whose time and place are shown: all, or the first and the middle one of each stretch."""
        if self.each == 1:
            return np.arange(self.rows)
        firsts = np.arange(0, self.rows, self.each)
        middles = np.minimum(firsts + self.each // 2, self.rows - 1)
        return np.stack([firsts, middles], axis=1).ravel()

    def extremes(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the lowest and the highest value of each stretch along the first axis, in the order they came."""
        if self.each == 1:
            return values
        firsts = np.arange(0, self.rows, self.each)
        spare = -(-self.rows // self.each) * self.each - self.rows
        whole = np.concatenate([values, np.repeat(values[-1:], spare, axis=0)])
        parts = whole.reshape(len(firsts), self.each, *values.shape[1:])
        known = np.where(np.isnan(parts), np.inf, parts), np.where(np.isnan(parts), -np.inf, parts)
        low, high = known[0].min(axis=1), known[1].max(axis=1)
        falls = known[0].argmin(axis=1) > known[1].argmax(axis=1)
        pair = np.stack([np.where(falls, high, low), np.where(falls, low, high)], axis=1)
        pair[~np.isfinite(pair)] = np.nan
        return pair.reshape(-1, *values.shape[1:])


def worst(codes: NDArray[np.int8], thin: Thin) -> NDArray[np.int8]:
    """Return for each row kept which condition held the rover up most from then to the next one."""
    if thin.each == 1:
        return codes
    ranks = np.argsort(HAMPERS)[codes]
    return HAMPERS[np.maximum.reduceat(ranks, thin.kept, axis=0)].astype(codes.dtype)


def packed(values: Any) -> str:
    """Return numbers as base64 of little-endian single precision, row by row."""
    with np.errstate(over="ignore"):  # beyond single precision is beyond all that a chart could show
        numbers = np.ascontiguousarray(values, dtype="<f4")
    return base64.b64encode(numbers.tobytes()).decode("ascii")


def channels() -> list[dict[str, Any]]:
    """Return what the page has of each run: name, unit, meaning, and whether each wheel has its own."""
    found = [
        {"name": c.name, "unit": c.unit, "meaning": c.meaning, "wheel": wheel}
        for wheel, table in ((True, WHEEL_CHANNELS), (False, BODY_CHANNELS))
        for c in table
    ]
    return found + [{"name": n, "unit": u, "meaning": m, "wheel": True} for n, u, m in WORKED_OUT]


def traces(run: Run, points: int) -> dict[str, Any]:
    """Return the run's time and channels, at most ``points`` each; ``each``: how many rows make two points."""
    data = run.traces
    thin = Thin.to(data.sizes["time"], points)
    found = {}
    for channel in (*WHEEL_CHANNELS, *BODY_CHANNELS):
        values = data[channel.name].values
        found[channel.name] = packed(values[thin.kept] if channel.name in PLACES else thin.extremes(values))
    found["traction_use"] = packed(thin.extremes(_traction_use(run)))
    found["turned"] = packed(_turned(data)[thin.kept])
    found["normal_ahead"] = packed(normal_ahead(run, thin.kept))
    return {
        "time": packed(data["time"].values[thin.kept]),
        "interval": float(data.attrs["recording_interval_s"]),
        "each": thin.each,
        "channels": found,
        "condition": base64.b64encode(worst(data["condition"].values, thin).astype("u1").tobytes()).decode(
            "ascii"
        ),
    }


def _turned(data: xr.Dataset) -> NDArray[np.float64]:
    turned: NDArray[np.float64] = np.cumsum(data["wheel_speed"].values, axis=0)
    return turned * float(data.attrs["recording_interval_s"])


def _traction_use(run: Run) -> NDArray[np.float64]:
    """Return how far along the way to the edge of its friction ellipse each wheel's force is; NaN without a load."""
    data, rover = run.traces, run.scenario.rover
    ratio = [rover.wheel_at(str(name)).tyre.side_friction_ratio for name in data["wheel"].values]
    # soil holds alike along and across
    across = data["side_force"].values / np.where(data["sinkage"].values > 0, 1.0, ratio)
    limit = data["friction_limit"].values
    use = np.hypot(data["drive_force"].values, across) / np.maximum(limit, LEAST_LIMIT)
    return np.where(limit > LEAST_LIMIT, np.minimum(use, 1.0), np.nan)
