"""Checks of what studies say: intervals and tests, shares of variance, fits, tuning rules of published examples."""

from __future__ import annotations

from functools import cache
from math import degrees

import numpy as np
from scipy import stats
from validation_check import Check, Subject, library

from drivesim.fitting.solve import Data, Search, Solution, solve
from drivesim.physics import loop
from drivesim.study import sweep_sensitivity as sensitivity
from drivesim.study.statistics import Interval, mcnemar, paired, success_difference, wilson
from drivesim.tuning.margins import Margins, margins
from drivesim.tuning.plant import Plant
from drivesim.tuning.rule import simc

NEWCOMBE = "Newcombe, Statistics in Medicine 17, 1998, 857, table I (from memory)"
PAIRED = "Newcombe, Statistics in Medicine 17, 1998, 2635, table II (from memory)"

ISHIGAMI = (
    "Saltelli et al., Global Sensitivity Analysis: The Primer, 2008 (scipy's documentation has the same)"
)
NIST = "NIST Statistical Reference Datasets, Misra1a, certified (looked up in public copies)"
SIMC = "Skogestad, J. Process Control 13, 2003, 291 (from memory)"
MISRA = np.array([
    (77.6, 10.07), (114.9, 14.73), (141.1, 17.94), (190.8, 23.93), (239.9, 29.61), (289.0, 35.18), (332.8, 40.02),
    (378.4, 44.82), (434.8, 50.76), (477.3, 55.05), (536.8, 61.01), (593.1, 66.40), (689.1, 75.47), (760.0, 81.78),
])  # fmt: skip


@cache
def misra() -> Solution:
    """Return our fit of y = b1·(1 − exp(−b2·x)) to the data set."""
    x, y = MISRA.T
    start = np.array([250.0, 5e-4])
    data = Data(y, np.zeros(y.size, np.int64), np.array([1e-12]), np.zeros(1, bool), np.ones(1, bool))
    free = np.full(2, np.inf)
    return solve(lambda b: b[0] * (1 - np.exp(-b[1] * x)), data, Search(start, start, -free, free))


@cache
def ishigami() -> sensitivity.Sobol:
    """Return our shares of the variance of sin x1 + 7·sin² x2 + 0.1·x3⁴·sin x1, each x even from −π to π."""
    x = np.pi * (2 * sensitivity.matrices(3, 4096, seed=1).T - 1)
    found = sensitivity.sobol(np.sin(x[0]) + 7 * np.sin(x[1]) ** 2 + 0.1 * x[2] ** 4 * np.sin(x[0]), 3)
    assert found is not None
    return found


def simc_margins(lag: float) -> Margins:
    """Return the margins of Skogestad's PI on a plant with this lag [s] and a dead time of 1 s."""
    plant = Plant("loaded", lag, lag, 1.0)
    return margins(plant, *simc(plant))


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
    "Studies: comparing, sweeping, fitting, tuning",
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
        *[
            Check(f"Ishigami's function: {name} share of x{i + 1}", ISHIGAMI, value, "",
                  lambda kind=kind, i=i: float(getattr(ishigami(), kind).value[i]), apart=0.02, digits=3)
            for name, kind, values in (("first-order", "first", ("0.3139", "0.4424", "0")),
                                       ("total", "total", ("0.5576", "0.4424", "0.2437")))
            for i, value in enumerate(values) if value != "0"
        ],
        *[
            Check(f"Misra1a: {name}", NIST, value, "", compute, rel=rel, digits=8, wobble=1e-10)
            for name, value, compute, rel in (
                ("b1", "2.3894212918e2", lambda: float(misra().x[0]), 1e-7),
                ("b2", "5.5015643181e-4", lambda: float(misra().x[1]), 1e-7),
                ("standard error of b1", "2.7070075241", lambda: float(misra().covariance[0, 0] ** 0.5), 1e-6),
                ("standard error of b2", "7.2668688436e-6", lambda: float(misra().covariance[1, 1] ** 0.5), 1e-6),
                ("residual standard deviation", "1.0187876330e-1", lambda: float(misra().noise[0]), 1e-7),
            )
        ],
        *[
            Check(f"PI by the rule, lag {tau} s, dead time {theta} s: {name}", SIMC, value, unit, compute, rel=2e-3)
            for tau, theta, name, value, unit, compute in (
                (1.1, 0.1, "gain", "5.5", "", lambda: loop.simc_gain(1.0, 1.1, 0.1, 0.1)),
                (1.1, 0.1, "integral time", "0.8", "s", lambda: loop.simc_integral_time(1.1, 0.1, 0.1)),
                (2.5, 1.47, "gain", "0.85", "", lambda: loop.simc_gain(1.0, 2.5, 1.47, 1.47)),
                (2.5, 1.47, "integral time", "2.5", "s", lambda: loop.simc_integral_time(2.5, 1.47, 1.47)),
            )
        ],
        *[
            Check(f"… its {name} where the lag is {words}", SIMC, value, unit, compute, rel=5e-3)
            for words, name, value, unit, compute in (
                ("eight dead times", "gain margin", "3.14", "", lambda: simc_margins(8.0).gain),
                ("eight dead times", "phase margin", "61.4", "deg", lambda: degrees(simc_margins(8.0).phase)),
                ("without end", "gain margin", "2.96", "", lambda: simc_margins(1e7).gain),
                ("without end", "phase margin", "46.9", "deg", lambda: degrees(simc_margins(1e7).phase)),
            )
        ],
        library("paired differences: p of the signed ranks", "scipy",
                lambda: float(stats.wilcoxon(*pairs()).pvalue), "", lambda: paired(*pairs()).p, rel=1e-9),
    ],
)  # fmt: skip
