"""Parts drawn from their tolerances, the same for every case that is compared; imports scenario, scipy.stats."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy import stats
from scipy.stats import qmc

from drivesim.scenario.spread import Tolerance

FARTHEST = 3.0  # standard deviations at which a normal tolerance is cut off: a part farther out is rejected

Changes = dict[str, float]


def draw(tolerances: Mapping[str, Tolerance], count: int, seed: int) -> list[Changes]:
    """Return ``count`` sets of parts: path → SI value.

    A Latin hypercube: each tolerance is cut into ``count`` slices of equal probability, and each slice is drawn from
    once.  Same seed, same draws.  Normal tolerances end at ``FARTHEST`` standard deviations.
    """
    if not tolerances:
        return [{} for _ in range(count)]
    square = qmc.LatinHypercube(len(tolerances), rng=np.random.default_rng(seed)).random(count)
    values = np.column_stack([inverse(one, square[:, i]) for i, one in enumerate(tolerances.values())])
    return [dict(zip(tolerances, map(float, row), strict=True)) for row in values]


def inverse(tolerance: Tolerance, share: np.ndarray) -> np.ndarray:
    """Return the values below which a ``share`` of all parts lie."""
    if tolerance.form == "uniform":
        values: np.ndarray = tolerance.first + share * (tolerance.second - tolerance.first)
        return values
    cut = stats.truncnorm(-FARTHEST, FARTHEST, loc=tolerance.first, scale=tolerance.second)
    return np.asarray(cut.ppf(share))
