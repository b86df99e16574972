"""The second way to an interval: readings drawn anew from the fit's own residuals; imports the solver.

Residuals are drawn within one channel of one log; in time they are drawn in blocks, as long as they hang together.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from drivesim.fitting.solve import Array, Data, Model, Search, Solution, inverse_of

ROUNDS = 3  # of Newton's method with the fit's own derivatives
FADED = 0.05  # correlation from which neighbours count as strangers
LONGEST = 5  # at least so many blocks in a channel
FULL_LEVERAGE = 0.99
HANGS = 2.5  # times 1/sqrt(rows), from which the correlation of neighbours is beyond chance


def bootstrap(
    model: Model, data: Data, search: Search, solution: Solution, count: int, seed: int, *, linear: bool
) -> Array:
    """Return ``count`` sets of parameters, (count, parameters), each fitted to readings drawn anew.

    The noise and the rows kept are those of the fit.  ``linear`` takes the model as straight near the fit, where an
    evaluation is a whole simulated run.
    """
    draw = np.random.default_rng(np.random.SeedSequence(seed))
    inverse = inverse_of(solution, data.channel)
    weight = np.where(solution.kept, 1 / solution.noise[data.channel], 0.0)
    out = np.empty((count, solution.x.size))
    pools = [_pool(data, solution, c) for c in range(data.floor.size)]
    for k in range(count):
        readings = solution.model.copy()
        for rows, errors, block in pools:
            readings[rows] += _drawn(errors, block, draw)
        x = solution.x.copy()
        for step in range(1 if linear else ROUNDS):
            here = solution.model if step == 0 else model(x)
            x = np.clip(x + inverse @ ((readings - here) * weight), search.lower, search.upper)
        out[k] = x
    return out


def _pool(data: Data, solution: Solution, channel: int) -> tuple[NDArray[np.int64], Array, int]:
    """Return a channel's rows, its residuals with the fit's share put back, and the length of a block."""
    rows = np.flatnonzero((data.channel == channel) & solution.kept)
    residual = data.measured[rows] - solution.model[rows]
    errors = residual / np.sqrt(1 - np.minimum(solution.leverage[rows], FULL_LEVERAGE))
    if not data.series[channel]:
        errors = errors - errors.mean()
    return rows, errors, block_length(residual) if data.series[channel] else 1


def _drawn(errors: Array, block: int, draw: np.random.Generator) -> Array:
    """Return as many errors as there are, drawn in blocks that run on around the end."""
    n = errors.size
    starts = draw.integers(n, size=math.ceil(n / block))
    places = (starts[:, None] + np.arange(block)) % n
    return np.asarray(errors[places.ravel()[:n]])


def correlation(residual: Array, lag: int) -> float:
    """Return the correlation of residuals ``lag`` rows apart."""
    r = residual - residual.mean()
    square = float(r @ r)
    return float(r[lag:] @ r[: r.size - lag]) / square if square > 0 else 0.0


def hangs_together(residual: Array) -> bool:
    """Tell whether neighbouring residuals are more alike than chance allows."""
    return residual.size > LONGEST and correlation(residual, 1) > HANGS / math.sqrt(residual.size)


def block_length(residual: Array) -> int:
    """Return how many rows of a series are drawn together: thrice the time that residuals stay alike."""
    n = residual.size
    if n < 2 * LONGEST or not hangs_together(residual):
        return 1
    total, lag = 1.0, 1
    while lag < n // LONGEST and (found := correlation(residual, lag)) > FADED:
        total += 2 * found
        lag += 1
    return int(min(n // LONGEST, max(2, math.ceil(3 * total))))
