"""What many runs say and do not say: intervals, paired differences, tests, runs needed; imports scipy.stats only.

Each function says where its method comes from; the tests hold them against scipy and against coverage by simulation.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy import stats

LEVEL = 0.95  # of every interval
DECIDED = 0.05  # probability of a wrong "differs"
RESAMPLES = 4000
NO_SPREAD = 1e-9  # of the mean: differences that are all the same
MANY = 1000  # grounds, from where on the normal law is Student's
POWER = 0.8  # with which the grounds still needed would decide (common practice, no source)


class Interval(NamedTuple):
    """An estimate and its interval at ``LEVEL``."""

    value: float
    low: float
    high: float

    @property
    def excludes_zero(self) -> bool:
        """Is zero outside the interval?"""
        return self.low > 0 or self.high < 0


class Difference(NamedTuple):
    """A paired difference: mean with its interval, and the p of no difference."""

    mean: Interval
    p: float
    #: variance of the unpaired difference over that of the paired one; above 1 pairing pays
    gain: float


def wilson(successes: int, count: int) -> Interval:
    """Return a success rate and its Wilson score interval (Wilson, JASA 22, 1927, by scipy's binomtest)."""
    found = stats.binomtest(successes, count).proportion_ci(confidence_level=LEVEL, method="wilson")
    return Interval(successes / count, float(found.low), float(found.high))


def bootstrap_mean(values: np.ndarray, seed: int = 2) -> Interval:
    """Return a mean and its bootstrap interval: bias-corrected and accelerated (Efron, JASA 82, 1987), by scipy.

    Plain percentiles where that has no answer; NaN values are left out; of one value the interval is not known.
    """
    values = values[np.isfinite(values)]
    if values.size == 0:
        return Interval(math.nan, math.nan, math.nan)
    mean = float(values.mean())
    if values.size == 1:
        return Interval(mean, math.nan, math.nan)
    if np.ptp(values) == 0:
        return Interval(mean, mean, mean)
    for method in ("BCa", "percentile"):
        with np.errstate(all="ignore"):
            low, high = stats.bootstrap(
                (values,), np.mean, method=method, confidence_level=LEVEL, n_resamples=RESAMPLES, rng=seed
            ).confidence_interval
        if np.isfinite([low, high]).all():
            break
    return Interval(mean, float(low), float(high))


def paired(case: np.ndarray, other: np.ndarray) -> Difference:
    """Return the difference ``case`` − ``other`` of runs on the same grounds; pairs with NaN are left out.

    p is Wilcoxon's signed-rank test (Biometrics Bulletin 1, 1945; zeros split), 1 without any difference.
    """
    both = np.isfinite(case) & np.isfinite(other)
    case, other = case[both], other[both]
    difference = case - other
    if difference.size == 0:
        return Difference(Interval(math.nan, math.nan, math.nan), math.nan, math.nan)
    if not difference.any():
        return Difference(Interval(0.0, 0.0, 0.0), 1.0, math.nan)
    p = float(stats.wilcoxon(case, other, zero_method="zsplit").pvalue)
    apart, together = float(case.var() + other.var()), float(difference.var())
    return Difference(bootstrap_mean(difference), p, apart / together if together > 0 else math.inf)


class Discordant(NamedTuple):
    """Grounds on which only one of two cases succeeded, and the p of that by chance."""

    only_case: int
    only_other: int
    p: float


def mcnemar(case: np.ndarray, other: np.ndarray) -> Discordant:
    """Return the exact McNemar test (Psychometrika 12, 1947): the binomial test of the pairs that differ."""
    case, other = case > 0.5, other > 0.5
    only_case, only_other = int((case & ~other).sum()), int((other & ~case).sum())
    differ = only_case + only_other
    return Discordant(
        only_case, only_other, float(stats.binomtest(only_case, differ).pvalue) if differ else 1.0
    )


def success_difference(case: np.ndarray, other: np.ndarray) -> Interval:
    """Return the difference of two paired success rates and its interval (Newcombe, Statistics in Medicine 17, 1998).

    His method 10: the Wilson intervals of both rates put together with the pairs' correlation.
    """
    case, other = case > 0.5, other > 0.5
    n = case.size
    both, neither = int((case & other).sum()), int((~case & ~other).sum())
    only_case, only_other = int((case & ~other).sum()), int((other & ~case).sum())
    first, second = wilson(both + only_case, n), wilson(both + only_other, n)
    product = (both + only_case) * (only_other + neither) * (both + only_other) * (only_case + neither)
    phi = 0.0
    if product > 0:
        cross = float(both * neither - only_case * only_other)
        cross = max(cross - n / 2, 0.0) if cross > 0 else cross
        phi = cross / math.sqrt(product)
    mean = first.value - second.value
    a, b = first.value - first.low, second.high - second.value
    c, d = second.value - second.low, first.high - first.value
    low = mean - math.sqrt(max(0.0, a * a - 2 * phi * a * b + b * b))
    high = mean + math.sqrt(max(0.0, c * c - 2 * phi * c * d + d * d))
    return Interval(mean, max(-1.0, low), min(1.0, high))


def holm(p: Sequence[float]) -> list[bool]:
    """Return which of several comparisons are decided at ``DECIDED`` for all of them together (Holm, 1979)."""
    known = [i for i in np.argsort(p) if math.isfinite(p[i])]
    decided = [False] * len(p)
    for rank, i in enumerate(known):
        if p[i] * (len(known) - rank) > DECIDED:
            break
        decided[i] = True
    return decided


def decided(p: Sequence[float], intervals: Sequence[tuple[float, float]]) -> list[bool]:
    """Return which differences are decided: by ``holm``, and with zero outside their own interval (low, high).

    Signed ranks may tell the typical ground's difference while the mean, which is what is told, still may be nothing.
    """
    return [by_p and (low > 0 or high < 0) for by_p, (low, high) in zip(holm(p), intervals, strict=True)]


def least_pairs(error: float = DECIDED) -> int:
    """Return how many pairs that all point one way it takes before signs or ranks can decide: 2^(1 − n) ≤ error."""
    return math.ceil(1 - math.log2(error))


def grounds_needed(difference: np.ndarray, error: float = DECIDED) -> int | None:
    """Return how many grounds in all would decide, if the mean of these differences is the true one; None if zero.

    ``error``: the probability of a wrong "differs" of this one comparison.

    The least n at which a paired t test has the power ``POWER`` (noncentral t; Cohen, Statistical Power Analysis, 1988,
    from memory), over 3/π for Wilcoxon's efficiency on normal differences, and no less than ``least_pairs``.
    """
    difference = difference[np.isfinite(difference)]
    if difference.size < 2 or difference.mean() == 0:
        return None
    spread = float(difference.std(ddof=1))
    if spread <= NO_SPREAD * abs(difference.mean()):
        return least_pairs(error)
    effect = float(abs(difference.mean()) / spread)

    def power(n: int) -> float:
        return float(stats.nct.sf(stats.t.ppf(1 - error / 2, n - 1), n - 1, effect * math.sqrt(n)))

    rough = ((stats.norm.ppf(1 - error / 2) + stats.norm.ppf(POWER)) / effect) ** 2
    n = max(2, math.floor(rough))  # the normal law asks for fewer than Student's
    if n < MANY:
        while power(n) < POWER:
            n += 1
    return max(least_pairs(error), math.ceil(n * math.pi / 3))


def successes_needed(case: np.ndarray, other: np.ndarray, error: float = DECIDED) -> int | None:
    """Return how many grounds in all would decide the success, if these shares hold; None where they are alike.

    Pairs that differ enough for McNemar's test (Connor, Biometrics 43, 1987): with d = p₁₀ + p₀₁ and
    e = p₁₀ − p₀₁, n = (z₁₋α/₂·√d + z_power·√(d − e²))²/e².  From memory.
    """
    found = mcnemar(case, other)
    n = case.size
    d, e = (found.only_case + found.only_other) / n, (found.only_case - found.only_other) / n
    if e == 0:
        return None
    z, w = stats.norm.ppf(1 - error / 2), stats.norm.ppf(POWER)
    n_large = ((z * math.sqrt(d) + w * math.sqrt(max(0.0, d - e * e))) / e) ** 2
    return max(math.ceil(n_large), math.ceil(least_pairs(error) / d))
