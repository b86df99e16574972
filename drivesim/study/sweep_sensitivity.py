"""How much of a measure's variance each axis of a sweep explains; arrays in, arrays out, imports numpy and scipy.

Three ways, by what the design allows: Sobol' indices from a design of A, B and mixed matrices; shares of variance of
a full grid; and rank correlations where points are only scattered.  Each comes with an interval by the bootstrap.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.stats import qmc

Array = NDArray[np.float64]

RESAMPLES = 1000  # of the bootstrap
LEVEL = 0.95
AT_ONCE = 4_000_000  # numbers held while drawing grounds anew
SEED = 20  # of the resampling: the same results give the same intervals


@dataclass(frozen=True)
class Shares:
    """One number for each axis, with the ends of its interval, and the p of no effect where it is tested; (axes,)."""

    value: Array
    low: Array
    high: Array
    p: Array | None = None


@dataclass(frozen=True)
class Sobol:
    """First-order and total indices of one measure, and how many base points they rest on."""

    first: Shares
    total: Shares
    points: int


def matrices(axes: int, points: int, seed: int) -> Array:
    """Return a design for Sobol' indices on the unit cube, shape (points · (axes + 2), axes).

    Blocks of ``points`` rows: A, B, then A with column i taken from B, for each i (Saltelli et al. 2010, Comput.
    Phys. Commun. 181, 259).  A and B come from one scrambled Sobol' sequence of twice the dimensions, as in
    ``scipy.stats.sobol_indices``.  ``points`` is a power of two.
    """
    both = qmc.Sobol(d=2 * axes, rng=np.random.default_rng(seed), bits=64).random(points)
    a, b = both[:, :axes], both[:, axes:]
    blocks = [a, b]
    for i in range(axes):
        mixed = a.copy()
        mixed[:, i] = b[:, i]
        blocks.append(mixed)
    return np.concatenate(blocks)


def sobol(values: Array, axes: int) -> Sobol | None:
    """Return the indices of the results ``values`` (designs,) of a design by ``matrices``.

    Base points where a run gave no number are left out, and of the rest the first 2ᵏ are used; None below four.
    """
    blocks = values.reshape(axes + 2, -1)
    whole = blocks[:, np.isfinite(blocks).all(axis=0)]
    if whole.shape[1] < 4:
        return None
    points = 1 << (whole.shape[1].bit_length() - 1)
    whole = whole[:, :points]
    rng = np.random.default_rng(SEED)
    found = _indices(whole)
    draws = np.array([_indices(whole[:, rng.integers(points, size=points)]) for _ in range(RESAMPLES)])
    low, high = _interval(draws)
    first, total = (Shares(found[i], low[i], high[i]) for i in (0, 1))
    return Sobol(first, total, points)


def _indices(blocks: Array) -> Array:
    """Return first-order and total indices, shape (2, axes), by ``scipy.stats.sobol_indices``."""
    axes = blocks.shape[0] - 2
    given = {"f_A": blocks[0][None], "f_B": blocks[1][None], "f_AB": blocks[2:, None, :]}
    result = stats.sobol_indices(func=given, n=blocks.shape[1])
    return np.stack([np.reshape(order, axes) for order in (result.first_order, result.total_order)])


def grid_shares(values: Array) -> Shares:
    """Return each axis's share of the variance between the designs of a full grid, shape of ``values`` × grounds.

    The share of the variance of the means over all other axes (the main effect), all values of an axis taken for
    equally likely, less what chance alone would give (as omega squared does; Hays, Statistics, 1963, from memory); what
    is left to one belongs to axes acting together.  Intervals come from drawing grounds anew, the same for every
    design.  ``p``: of no effect, by the F test of repeated measures against axis times ground.
    """
    grounds, shape = values.shape[-1], values.shape[:-1]
    plain = _main_effects(values.mean(axis=-1)[..., None])[:, 0]
    if grounds < 2:
        nothing = np.full_like(plain, np.nan)
        return Shares(plain, nothing, nothing, nothing)
    flat, weights = values.reshape(-1, grounds), drawn_anew(grounds)
    whole, _ = _beyond_chance(flat)
    effects = [_beyond_chance(_over_others(values, i)) for i in range(len(shape))]
    found = np.clip([part / whole if whole > 0 else 0.0 for part, _ in effects], 0.0, 1.0)
    pieces = np.array_split(weights, max(1, weights.shape[0] * len(flat) // AT_ONCE))
    draws = np.hstack([_main_effects((flat @ piece.T).reshape(*shape, -1)) for piece in pieces])
    reach = stats.norm.ppf((1 + LEVEL) / 2) * draws.std(
        axis=1
    )  # drawing anew adds noise of its own: no percentiles
    p = np.array([p for _, p in effects])
    return Shares(found, np.maximum(0.0, found - reach), np.minimum(1.0, found + reach), p)


def _over_others(values: Array, i: int) -> Array:
    """Return the means over all axes but ``i``, (levels, grounds)."""
    return values.mean(axis=tuple(j for j in range(values.ndim - 1) if j != i))


def _beyond_chance(rows: Array) -> tuple[float, float]:
    """Return the variance between ``rows`` (levels, grounds) beyond that of chance, and the p of there being none."""
    levels, grounds = rows.shape
    between = rows.mean(axis=1)
    left = rows - between[:, None] - rows.mean(axis=0) + rows.mean()
    freedom = (levels - 1) * (grounds - 1)
    if freedom == 0:
        return 0.0, np.nan
    noise = float((left**2).sum() / freedom) / grounds  # of a level's mean
    seen = float(between.var())
    mean_square = seen * levels / (levels - 1)
    p = float(stats.f.sf(mean_square / noise, levels - 1, freedom)) if noise > 0 else float(seen == 0)
    return seen - noise * (levels - 1) / levels, p


def drawn_anew(count: int) -> Array:
    """Return the weights of ``count`` things in each of ``RESAMPLES`` drawings with replacement, (resamples, count)."""
    rng = np.random.default_rng(SEED)
    weights: Array = rng.multinomial(count, np.full(count, 1 / count), size=RESAMPLES) / count
    return weights


def _main_effects(means: Array) -> Array:
    """Return the share of each axis, (axes, k), of k grids of means, (…, k)."""
    axes = range(means.ndim - 1)
    total = means.var(axis=tuple(axes))
    parts = [means.mean(axis=tuple(j for j in axes if j != i)).var(axis=0) for i in axes]
    return np.array(parts) / np.where(total > 0, total, np.inf)


def rank_correlations(places: Array, values: Array) -> Shares:
    """Return Spearman's rank correlation of ``values`` (designs,) with each column of ``places`` (designs, axes).

    Its sign says which way the measure moves along an axis; a hill in the middle of an axis does not show.  Intervals
    come from drawing designs anew, each with the rank that it has among all.
    """
    whole = np.isfinite(values)
    x, y = (stats.rankdata(part[whole], axis=0) for part in (places, values))
    weights = drawn_anew(int(whole.sum()))
    found = _correlations(np.full((1, len(y)), 1 / len(y)), x, y)[0]
    return Shares(found, *_interval(_correlations(weights, x, y)))


def _correlations(weights: Array, x: Array, y: Array) -> Array:
    """Return Pearson's correlation of ``y`` with each column of ``x`` under each row of ``weights``."""
    mean_x, mean_y = weights @ x, weights @ y
    both = weights @ (x * y[:, None]) - mean_x * mean_y[:, None]
    size = (weights @ x**2 - mean_x**2) * (weights @ y**2 - mean_y**2)[:, None]
    return both / np.sqrt(np.where(size > 0, size, np.inf))


def _interval(draws: Array) -> tuple[Array, Array]:
    edge = (1 - LEVEL) / 2
    low, high = np.quantile(draws, [edge, 1 - edge], axis=0)
    return low, high
