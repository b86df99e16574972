"""Parts drawn from their tolerances, the same for every case that is compared; imports scenario, scipy.stats."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from scipy import stats
from scipy.stats import qmc

from drivesim.scenario.spread import Tolerance
from drivesim.scenario.variation import Template

FARTHEST = 3.0  # standard deviations at which a normal tolerance is cut off: a part farther out is rejected

Changes = dict[str, float]


def draw(template: Template, tolerances: Mapping[str, Tolerance], count: int, seed: int) -> list[Changes]:
    """Return ``count`` sets of parts: path → SI value, wheel by wheel where a tolerance says so.

    A Latin hypercube: each tolerance is cut into ``count`` slices of equal probability, and each slice is drawn from
    once.  Same seed, same draws.  Normal tolerances end at ``FARTHEST`` standard deviations.
    """
    columns = paths_drawn(template, tolerances)
    if not columns:
        return [{} for _ in range(count)]
    square = qmc.LatinHypercube(len(columns), rng=np.random.default_rng(seed)).random(count)
    values = np.column_stack([inverse(tolerance, square[:, i]) for i, (_, tolerance) in enumerate(columns)])
    names = [path for path, _ in columns]
    return [dict(zip(names, map(float, row), strict=True)) for row in values]


def paths_drawn(template: Template, tolerances: Mapping[str, Tolerance]) -> list[tuple[str, Tolerance]]:
    """Return the path and tolerance of every number that is drawn, one a wheel where a tolerance says so."""
    found = []
    for path, tolerance in tolerances.items():
        wheels: Sequence[str] = template.scenario.rover.wheel_names if tolerance.each_wheel else ()
        found += [(template.wheel_path(path, wheel), tolerance) for wheel in wheels] or [(path, tolerance)]
    return found


def inverse(tolerance: Tolerance, share: np.ndarray) -> np.ndarray:
    """Return the values below which a ``share`` of all parts lie."""
    if tolerance.form == "uniform":
        values: np.ndarray = tolerance.first + share * (tolerance.second - tolerance.first)
        return values
    cut = stats.truncnorm(-FARTHEST, FARTHEST, loc=tolerance.first, scale=tolerance.second)
    return np.asarray(cut.ppf(share))
