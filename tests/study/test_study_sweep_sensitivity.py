"""How much each axis explains: closed forms and published values, through the same path as real runs."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from drivesim.study import sweep_sensitivity as sensitivity

#: the Ishigami function with a = 7, b = 0.1: first order and total, as published (Saltelli et al., Global
#: Sensitivity Analysis: The Primer, 2008; the same in the documentation of scipy.stats.sobol_indices); also from
#: the closed form V = a²/8 + bπ⁴/5 + b²π⁸/18 + 1/2, V₁ = (1 + bπ⁴/5)²/2, V₂ = a²/8, V₁₃ = b²π⁸(1/18 − 1/50)
FIRST, TOTAL = (0.3139, 0.4424, 0.0), (0.5576, 0.4424, 0.2437)
A, B = 7.0, 0.1


def ishigami(shares: np.ndarray) -> np.ndarray:
    x = np.pi * (2 * shares.T - 1)
    return np.sin(x[0]) + A * np.sin(x[1]) ** 2 + B * x[2] ** 4 * np.sin(x[0])


def test_published_values_are_those_of_the_closed_form():
    whole = A**2 / 8 + B * np.pi**4 / 5 + B**2 * np.pi**8 / 18 + 0.5
    first = np.array([0.5 * (1 + B * np.pi**4 / 5) ** 2, A**2 / 8, 0.0]) / whole
    together = B**2 * np.pi**8 * (1 / 18 - 1 / 50) / whole
    assert first == pytest.approx(FIRST, abs=6e-5)
    assert [first[0] + together, first[1], together] == pytest.approx(TOTAL, abs=6e-5)


def test_ishigami_has_its_published_indices():
    found = sensitivity.sobol(ishigami(sensitivity.matrices(3, 4096, seed=1)), 3)
    assert found.points == 4096
    assert found.first.value == pytest.approx(FIRST, abs=0.02)
    assert found.total.value == pytest.approx(TOTAL, abs=0.02)
    for shares, truth in ((found.first, FIRST), (found.total, TOTAL)):
        assert (shares.low < truth).all()
        assert (shares.high > truth).all()
        assert (shares.high - shares.low < 0.13).all()


def test_the_design_is_the_one_of_scipy():
    reference = stats.sobol_indices(
        func=lambda x: ishigami((x.T + np.pi) / (2 * np.pi)), n=64, dists=[stats.uniform(-np.pi, 2 * np.pi)] * 3,
        rng=np.random.default_rng(5),
    )  # fmt: skip
    found = sensitivity.sobol(ishigami(sensitivity.matrices(3, 64, seed=5)), 3)
    assert found.first.value == pytest.approx(reference.first_order, rel=1e-9)
    assert found.total.value == pytest.approx(reference.total_order, rel=1e-9)


def test_base_points_with_a_run_that_failed_are_left_out():
    values = ishigami(sensitivity.matrices(3, 64, seed=5))
    values[7] = np.nan  # in A
    values[2 * 64 + 20] = np.nan  # in one of the mixed ones
    found = sensitivity.sobol(values, 3)
    assert found.points == 32
    kept = [i for i in range(64) if i not in (7, 20)][:32]
    expected = sensitivity.sobol(values.reshape(5, 64)[:, kept].ravel(), 3)
    assert np.array_equal(found.total.value, expected.total.value)
    values[:62] = np.nan
    assert sensitivity.sobol(values, 3) is None


def test_shares_of_a_grid_add_up_but_for_what_axes_do_together():
    x, y = np.meshgrid(np.arange(-2.0, 3.0), np.arange(-2.0, 3.0), indexing="ij")
    apart = sensitivity.grid_shares((2 * x + y)[..., None])
    assert apart.value == pytest.approx([0.8, 0.2])  # variances 4 : 1
    assert np.isnan(apart.low).all()  # one ground: nothing to draw anew
    assert sensitivity.grid_shares((x * y)[..., None]).value == pytest.approx([0.0, 0.0], abs=1e-12)


def test_intervals_of_a_grid_tell_what_the_grounds_decide(monkeypatch):
    """Over a dozen grounds the intervals hold the share over a great many in nine of ten repeats or so."""
    monkeypatch.setattr(sensitivity, "RESAMPLES", 200)
    rng = np.random.default_rng(3)
    x, y = np.meshgrid(np.linspace(-1, 1, 4), np.linspace(-1, 1, 4), indexing="ij")
    many = rng.normal([1.0, 0.6], 0.5, (4000, 2))  # each ground has slopes of its own
    truth = sensitivity.grid_shares((x * many[:, 0].mean() + y * many[:, 1].mean())[..., None]).value
    held = 0
    for _ in range(100):
        slopes = rng.normal([1.0, 0.6], 0.5, (12, 2))
        found = sensitivity.grid_shares(x[..., None] * slopes[:, 0] + y[..., None] * slopes[:, 1])
        held += found.low[0] <= truth[0] <= found.high[0]
    assert 84 <= held <= 100


def test_rank_correlation_is_that_of_scipy():
    rng = np.random.default_rng(8)
    places = rng.uniform(size=(80, 2))
    values = np.exp(3 * places[:, 0]) + 4 * rng.normal(size=80)
    found = sensitivity.rank_correlations(places, values)
    for i in range(2):
        assert found.value[i] == pytest.approx(stats.spearmanr(places[:, i], values).statistic)
    assert found.low[0] > 0
    assert found.low[1] < 0 < found.high[1]
    assert sensitivity.rank_correlations(places, places[:, 0] ** 3).value[0] == pytest.approx(1.0)


def test_chance_alone_names_no_axis():
    """Coin flips on a 10 × 2 grid over 10 grounds: an axis passes its F test at 5 % in about one of twenty."""
    rng = np.random.default_rng(1)
    named, shares = 0, []
    for _ in range(200):
        found = sensitivity.grid_shares((rng.random((10, 2, 10)) < 0.5).astype(float))
        named += int((found.p < 0.05).sum())
        shares.append(found.value[0])
    assert 0.01 < named / 400 < 0.09
    assert np.median(shares) < 0.35  # nine of nineteen degrees of freedom, if chance were not taken off


def test_chance_is_taken_off_a_true_share():
    """One axis moves the measure, each run has noise of its own that is greater: the share is found all the same."""
    rng = np.random.default_rng(2)
    effect = np.linspace(-1.0, 1.0, 10)[:, None, None] * np.ones((10, 10, 40))
    found = [sensitivity.grid_shares(effect + rng.normal(0, 2.0, effect.shape)) for _ in range(20)]
    assert np.mean([one.value[0] for one in found]) == pytest.approx(1.0, abs=0.08)
    assert np.mean([one.value[1] for one in found]) < 0.06
    assert all(one.p[0] < 1e-6 for one in found)


def test_the_f_test_is_that_of_repeated_measures():
    """Two levels: F is the square of the paired t statistic (any text on analysis of variance); scipy's ttest_rel."""
    rows = np.random.default_rng(3).normal(0, 1, (2, 12)) + np.array([[0.0], [0.7]])
    found = sensitivity.grid_shares(rows[:, None, :].repeat(2, axis=1))
    assert found.p[0] == pytest.approx(stats.ttest_rel(rows[0], rows[1]).pvalue, rel=1e-9)
