"""Intervals and tests against scipy, published examples, and coverage by simulation."""

import math

import numpy as np
import pytest
from scipy import stats

from drivesim.study import statistics
from drivesim.study.statistics import (
    bootstrap_mean,
    decided,
    grounds_needed,
    holm,
    least_pairs,
    mcnemar,
    paired,
    success_difference,
    successes_needed,
    wilson,
)


def test_wilson_score_interval_of_published_examples():
    """Newcombe, Statistics in Medicine 17 (1998) 857, table I, method 3 (score, no continuity); from memory."""
    for successes, count, low, high in (
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
    ):
        found = wilson(successes, count)
        assert (found.low, found.high) == pytest.approx((low, high), abs=1e-4)


def test_wilson_in_closed_form():
    """(p + z²/2n ± z·√(p(1−p)/n + z²/4n²))/(1 + z²/n); Wilson, JASA 22 (1927) 209."""
    p, n, z = 0.3, 40, stats.norm.ppf(0.975)
    half = z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    found = wilson(12, n)
    assert found.low == pytest.approx((p + z * z / (2 * n) - half) / (1 + z * z / n), rel=1e-9)
    assert found.high == pytest.approx((p + z * z / (2 * n) + half) / (1 + z * z / n), rel=1e-9)


def test_the_wilson_interval_covers_as_often_as_it_says():
    """Exactly, by the binomial distribution, on average over rates from 0.1 to 0.9."""
    n, rates = 40, np.linspace(0.1, 0.9, 81)
    intervals = [wilson(k, n) for k in range(n + 1)]
    inside = [
        sum(stats.binom.pmf(k, n, p) for k, found in enumerate(intervals) if found.low <= p <= found.high)
        for p in rates
    ]
    assert np.mean(inside) == pytest.approx(0.95, abs=0.01)
    assert min(inside) > 0.91


def test_the_bootstrap_interval_covers_as_often_as_it_says(monkeypatch):
    """300 samples of 40 from a skewed distribution: 92 to 97 % hold the true mean (BCa falls short)."""
    monkeypatch.setattr(statistics, "RESAMPLES", 600)
    rng = np.random.default_rng(5)
    holds = [
        found.low <= 1.0 <= found.high
        for found in (bootstrap_mean(rng.gamma(2.0, 0.5, 40)) for _ in range(300))
    ]
    assert 0.905 <= np.mean(holds) <= 0.975


def test_bootstrap_of_what_cannot_be_resampled():
    assert bootstrap_mean(np.full(5, 2.0)) == (2.0, 2.0, 2.0)
    assert math.isnan(bootstrap_mean(np.array([])).value)
    one = bootstrap_mean(np.array([3.0, math.nan]))
    assert one.value == 3.0
    assert math.isnan(one.low)


def test_mcnemar_of_a_published_example():
    """Exact p of 4 against 14 discordant pairs is 0.0309 (binomial, 2·P(X ≤ 4 of 18)); Lachenbruch's way, by hand."""
    case = np.array([1] * 4 + [0] * 14 + [1] * 10 + [0] * 12, dtype=float)
    other = np.array([0] * 4 + [1] * 14 + [1] * 10 + [0] * 12, dtype=float)
    by_hand = 2 * sum(math.comb(18, k) for k in range(5)) / 2**18
    assert mcnemar(case, other) == (4, 14, pytest.approx(by_hand, rel=1e-12))
    assert by_hand == pytest.approx(0.0309, abs=5e-5)
    assert mcnemar(case, case) == (0, 0, 1.0)


def test_difference_of_paired_rates_by_newcombe():
    """Newcombe, Statistics in Medicine 17 (1998) 2635, table II: 36, 12, 2, 0: 0.20 (0.0569 to 0.3404); from memory."""
    rows = [(1, 1)] * 36 + [(1, 0)] * 12 + [(0, 1)] * 2
    case, other = np.array(rows, dtype=float).T
    found = success_difference(case, other)
    assert found.value == pytest.approx(0.20)
    assert (found.low, found.high) == pytest.approx((0.0569, 0.3404), abs=5e-4)


def test_difference_of_paired_rates_where_pairs_go_together():
    """The same method by hand with a positive product of the table: its correction n/2 counts."""
    both, only, other, neither = 30, 5, 3, 22
    rows = [(1, 1)] * both + [(1, 0)] * only + [(0, 1)] * other + [(0, 0)] * neither
    n = len(rows)
    first, second = wilson(both + only, n), wilson(both + other, n)
    product = (both + only) * (other + neither) * (both + other) * (only + neither)
    phi = (both * neither - only * other - n / 2) / math.sqrt(product)
    a, b = first.value - first.low, second.high - second.value
    found = success_difference(*np.array(rows, dtype=float).T)
    assert found.low == pytest.approx(2 / n - math.sqrt(a * a - 2 * phi * a * b + b * b))
    assert phi < (both * neither - only * other) / math.sqrt(product) - 0.03


def test_the_interval_of_paired_rates_covers_as_often_as_it_says():
    """600 samples of 40 pairs with the discordances of a real comparison."""
    rng, chances = (
        np.random.default_rng(3),
        [0.25, 0.35, 0.10, 0.30],
    )  # both, only one, only the other, neither
    kinds = np.array([(1.0, 1.0), (1.0, 0.0), (0.0, 1.0), (0.0, 0.0)])
    holds = []
    for _ in range(600):
        case, other = kinds[rng.choice(4, 40, p=chances)].T
        found = success_difference(case, other)
        holds.append(found.low <= 0.25 <= found.high)
    assert 0.93 <= np.mean(holds) <= 0.985


def test_paired_differences():
    """Mean and interval of x − y with a known shift; scipy's own Wilcoxon; no difference at all is p = 1."""
    rng = np.random.default_rng(1)
    ground = rng.normal(0, 5, 30)
    case, other = ground + 1 + rng.normal(0, 0.5, 30), ground
    found = paired(case, other)
    assert found.mean.low < 1 < found.mean.high
    assert found.p == stats.wilcoxon(case, other).pvalue < 1e-4
    assert found.gain == pytest.approx((case.var() + other.var()) / (case - other).var())
    assert found.gain > 50
    assert paired(ground, ground).p == 1.0
    with_gaps = np.where(np.arange(30) == 3, np.nan, case)
    assert paired(with_gaps, other).mean.value == pytest.approx(np.delete(case - other, 3).mean())


def test_pairing_narrows_the_interval_by_the_root_of_its_gain():
    """The paired interval against Welch's on the same numbers (scipy)."""
    rng = np.random.default_rng(4)
    ground = rng.normal(0, 3, 200)
    case, other = ground + rng.normal(0.5, 1, 200), ground + rng.normal(0, 1, 200)
    found = paired(case, other)
    unpaired = stats.ttest_ind(case, other, equal_var=False).confidence_interval(0.95)
    ratio = (unpaired.high - unpaired.low) / (found.mean.high - found.mean.low)
    assert ratio == pytest.approx(math.sqrt(found.gain), rel=0.05)


def test_what_is_decided_counts_all_comparisons():
    """Holm, Scandinavian Journal of Statistics 6 (1979) 65: the smallest p against 5 % over all."""
    assert holm([0.01, 0.04, 0.03, 0.005]) == [True, False, False, True]
    assert holm([0.02, 0.6]) == [True, False]
    assert holm([0.01, 0.02, 0.04]) == [True, True, True]  # Bonferroni's rule would find one
    assert holm([math.nan, 0.04]) == [False, True]
    assert holm([]) == []


def test_decided_needs_the_mean_to_differ_too():
    """37 of 40 grounds a little better and three far worse: the ranks differ, the mean may be nothing."""
    rng = np.random.default_rng(2)
    difference = np.r_[rng.normal(0.1, 0.02, 37), [-1.6, -1.6, -1.6]]
    found = paired(difference, np.zeros(40))
    assert found.p < 0.001
    assert decided([found.p], [found.mean[1:]]) == [False]
    clear = paired(difference[:37], np.zeros(37))
    assert decided([found.p, clear.p], [found.mean[1:], clear.mean[1:]]) == [False, True]


def test_zeros_count_half_for_either_side():
    """Wilcoxon with zeros split (scipy's zsplit): leaving them out would say more than is known."""
    case = np.r_[np.zeros(30), np.full(6, 1.0)]
    assert paired(case, np.zeros(36)).p == stats.wilcoxon(case, zero_method="zsplit").pvalue
    assert paired(case, np.zeros(36)).p > 2 * stats.wilcoxon(case, zero_method="wilcox").pvalue


def test_the_interval_is_the_accelerated_one():
    """Of a skewed sample it lies farther to the right than plain percentiles do."""
    sample = np.random.default_rng(6).gamma(0.5, 1.0, 30)
    plain = stats.bootstrap(
        (sample,), np.mean, method="percentile", n_resamples=4000, rng=2
    ).confidence_interval
    found = bootstrap_mean(sample)
    assert found.low > plain.low
    assert found.high > plain.high


def test_no_fewer_grounds_than_can_decide_at_all():
    """2^(1 − n) is the least p of n pairs; a greater difference never asks for more grounds."""
    assert least_pairs(0.05) == 6
    assert stats.wilcoxon(np.arange(1.0, 7.0)).pvalue <= 0.05 < stats.wilcoxon(np.arange(1.0, 6.0)).pvalue
    sample = np.random.default_rng(1).normal(0, 1, 50)
    sample = (sample - sample.mean()) / sample.std(ddof=1)
    needed = [
        grounds_needed(sample + effect, 0.05 / 6) for effect in (0.02, 0.5, 1.0, 1.8, 2.0, 2.5, 3.0, 5.0)
    ]
    assert needed == sorted(needed, reverse=True)
    assert needed[-1] == least_pairs(0.05 / 6)
    assert grounds_needed(np.full(3, 0.5)) == 6
    assert successes_needed(np.ones(4), np.zeros(4), 0.05 / 6) == least_pairs(0.05 / 6)


def test_as_many_grounds_as_asked_for_do_decide():
    """With the grounds needed, four samples in five decide: the power asked for (simulated, normal differences)."""
    rng = np.random.default_rng(7)
    sample = rng.normal(0, 1, 4000)
    sample = (sample - sample.mean()) / sample.std(ddof=1) + 0.4
    needed = grounds_needed(sample)
    assert (
        50 <= needed <= 58
    )  # paired t test at d = 0.4: 52 (Cohen 1988, table 2.4.1 gives 51 to 52), over 3/π
    found = [stats.wilcoxon(rng.normal(0.4, 1, needed)).pvalue < 0.05 for _ in range(600)]
    assert np.mean(found) == pytest.approx(0.8, abs=0.05)
    assert grounds_needed(np.zeros(9)) is None
    assert grounds_needed(sample, 0.01) > needed


def test_as_many_grounds_as_asked_for_decide_the_success():
    rng = np.random.default_rng(8)
    chances, kinds = [0.4, 0.3, 0.1, 0.2], np.array([(1.0, 1.0), (1.0, 0.0), (0.0, 1.0), (0.0, 0.0)])
    exact = np.repeat(kinds, [40, 30, 10, 20], axis=0).T
    needed = successes_needed(*exact)
    found = [mcnemar(*kinds[rng.choice(4, needed, p=chances)].T).p < 0.05 for _ in range(600)]
    assert 0.70 <= np.mean(found) <= 0.85  # the exact test is somewhat stricter than its large-sample form
    assert successes_needed(exact[0], exact[0]) is None
