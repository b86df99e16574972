"""Checks of what many runs say: intervals and tests of published examples."""

from __future__ import annotations

import numpy as np
from scipy import stats
from validation_check import Check, Subject, library

from drivesim.study.statistics import Interval, mcnemar, paired, success_difference, wilson

NEWCOMBE = "Newcombe, Statistics in Medicine 17, 1998, 857, table I (from memory)"
PAIRED = "Newcombe, Statistics in Medicine 17, 1998, 2635, table II (from memory)"


def differing(only_case: int, only_other: int) -> float:
    """Return the exact p of so many pairs in which only one of two succeeded."""
    case = np.r_[np.ones(only_case), np.zeros(only_other)]
    return mcnemar(case, 1 - case).p


def rates(both: int, only_case: int, only_other: int, neither: int) -> Interval:
    """Return the difference of two paired rates."""
    counts = (both, only_case, only_other, neither)
    case, other = np.repeat([(1.0, 1.0), (1.0, 0.0), (0.0, 1.0), (0.0, 0.0)], counts, axis=0).T
    return success_difference(case, other)


def pairs() -> tuple[np.ndarray, np.ndarray]:
    """Return two made-up samples on the same 25 grounds."""
    rng = np.random.default_rng(3)
    ground = rng.normal(1.0, 0.4, 25)
    return ground + rng.normal(0.1, 0.15, 25), ground


STUDIES = Subject(
    "Many runs",
    (
        "Intervals are at 95 %. That of a mean is a bootstrap, a little narrow for few skewed values.",
        "Decided means 5 % for a whole table (Holm); what is not decided is not the same.",
    ),
    [
        *[
            Check(f"success {k} of {n}: {end} end of Wilson's interval", NEWCOMBE, value, "",
                  lambda k=k, n=n, end=end: getattr(wilson(k, n), end), apart=6e-5)
            for k, n, end, value in ((81, 263, "low", "0.2553"), (81, 263, "high", "0.3662"),
                                     (15, 148, "low", "0.0624"), (15, 148, "high", "0.1605"), (0, 20, "high", "0.1611"))
        ],
        *[
            Check(f"pairs 36, 12, 2, 0: {end} end of the difference's interval", PAIRED, value, "",
                  lambda end=end: getattr(rates(36, 12, 2, 0), end), apart=6e-5)
            for end, value in (("low", "0.0569"), ("high", "0.3404"))
        ],
        Check("4 against 14 pairs that differ: exact p", "binomial, 2·P(X ≤ 4 of 18), by hand", "0.0309", "",
              lambda: differing(4, 14), apart=6e-5, kind="closed form"),
        library("paired differences: p of the signed ranks", "scipy",
                lambda: float(stats.wilcoxon(*pairs()).pvalue), "", lambda: paired(*pairs()).p, rel=1e-9),
    ],
)  # fmt: skip
