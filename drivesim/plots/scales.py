"""Scales that follow from the rover, so that pictures of two of its drives compare; imports numpy only."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from drivesim.analysis.run import Run

_STEPS = (1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0)


def even_load(run: Run) -> float:
    """Return the weight over the number of wheels [N]."""
    return float(run.scenario.rover.mass * run.scenario.gravity / run.traces.sizes["wheel"])


def even_friction(run: Run) -> float:
    """Return what friction holds under an even share of the weight [N], tyre and ground as written."""
    return float(even_load(run) * run.scenario.rover.wheel.tyre.friction * run.scenario.ground.friction)


def most_circulating(run: Run) -> float:
    """Return the most force that wheels can spend on each other [N]: half of them against the others."""
    return even_friction(run) * run.traces.sizes["wheel"] / 2


def commanded_speed(run: Run) -> float:
    """Return the highest commanded tread speed of any wheel [m/s]."""
    return float(
        np.abs(run.traces["commanded_speed"].values).max(initial=0.0) * run.scenario.rover.wheel.radius
    )


def at_least(base: float, values: np.ndarray) -> float:
    """Return ``base``, or the first round multiple of it that holds all ``values``."""
    peak = float(np.nanmax(np.abs(values), initial=0.0))
    if peak <= base:
        return base
    if base <= 0:
        return 1.05 * peak
    ratio = peak / base
    decade = 10.0 ** np.floor(np.log10(ratio))
    step = next(s for s in _STEPS if s * decade >= ratio * (1 - 1e-12))
    return float(base * step * decade)


def capped(limit: float, values: np.ndarray) -> float:
    """Return the upper end of a scale from zero: what holds ``values``, but at most ``limit``."""
    peak = float(np.nanmax(values, initial=0.0))
    return min(1.08 * peak, limit) if peak > 0 else limit
