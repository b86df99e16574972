"""The intervals mean what they say: certified and reference values, coverage counted, the bootstrap beside it."""

from __future__ import annotations

import numpy as np
import pytest
from fitting_logs import NOISE, OWN, ROVER, TRUTH, made
from scipy import stats
from scipy.optimize import curve_fit

from drivesim.fitting.bootstrap import block_length, bootstrap, hangs_together
from drivesim.fitting.joint import Joint
from drivesim.fitting.parameters import parameters
from drivesim.fitting.places import changed
from drivesim.fitting.solve import Data, Search, solve

#: NIST Statistical Reference Datasets, nonlinear regression, Misra1a (lower level of difficulty), looked up in public
#: copies: y = b1·(1 − exp(−b2·x)); certified b, standard deviations of b, residual standard deviation
MISRA_Y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]
MISRA_X = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
MISRA = {
    "b": [2.3894212918e2, 5.5015643181e-4],
    "sd": [2.7070075241, 7.2668688436e-6],
    "noise": 1.0187876330e-1,
}
MISRA_STARTS = ([500.0, 1e-4], [250.0, 5e-4])


def one_channel(y, *, series=False) -> Data:
    return many_channels([y], series=series)


def many_channels(groups, *, series=False) -> Data:
    sizes = [len(y) for y in groups]
    none, all_ = np.zeros(len(groups), bool), np.ones(len(groups), bool)
    return Data(
        np.concatenate([np.asarray(y, float) for y in groups]), np.repeat(np.arange(len(groups)), sizes),
        np.full(len(groups), 1e-12), all_ if series else none, all_,
    )  # fmt: skip


def search(*start: float) -> Search:
    start_ = np.array(start, float)
    return Search(start_, np.abs(start_), np.full(start_.size, -np.inf), np.full(start_.size, np.inf))


@pytest.mark.parametrize("start", MISRA_STARTS)
@pytest.mark.parametrize("robust", [True, False])
def test_certified_values(start, robust):
    x = np.array(MISRA_X)
    found = solve(
        lambda b: b[0] * (1 - np.exp(-b[1] * x)), one_channel(MISRA_Y), search(*start), robust=robust
    )
    assert found.kept.all()
    assert found.x == pytest.approx(MISRA["b"], rel=1e-7)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(MISRA["sd"], rel=1e-6)
    assert found.noise[0] == pytest.approx(MISRA["noise"], rel=1e-7)
    assert found.freedom == pytest.approx(12.0)


def test_covariance_of_a_straight_line_is_that_of_curve_fit():
    x = np.linspace(0, 5, 12)
    y = 3.0 + 0.7 * x + 0.2 * np.random.default_rng(4).standard_normal(12)
    found = solve(lambda b: b[0] + b[1] * x, one_channel(y), search(1.0, 1.0))
    best, covariance = curve_fit(lambda x, a, b: a + b * x, x, y)
    assert found.x == pytest.approx(best, rel=1e-7)
    assert found.covariance == pytest.approx(covariance, rel=1e-6)
    assert found.half_width == pytest.approx(stats.t.ppf(0.975, 10) * np.sqrt(np.diag(covariance)), rel=1e-6)


def test_two_instruments_of_different_noise_are_welchs_test():
    # the difference of two means, each group with its own unknown noise: scipy's interval of Welch's t test
    draw = np.random.default_rng(7)
    a, b = 5.0 + 0.1 * draw.standard_normal(7), 6.0 + 1.5 * draw.standard_normal(9)
    found = solve(
        lambda q: np.concatenate([np.full(7, q[0]), np.full(9, q[0] + q[1])]),
        many_channels([a, b]),
        search(1, 1),
    )
    wanted = stats.ttest_ind(b, a, equal_var=False)
    low, high = wanted.confidence_interval(0.95)
    assert found.freedom[1] == pytest.approx(wanted.df, rel=1e-3)
    assert (found.x[1] - found.half_width[1], found.x[1] + found.half_width[1]) == pytest.approx(
        (low, high), rel=1e-4
    )


def test_weights_that_are_estimates_have_their_price():
    # one mean read by two instruments: variance 1/Σ(n/s²)·(1 + 4·Σ w(1 − w)/freedom), w = share of each in the mean
    # (Kenward and Roger 1997, worked out by hand for this case)
    draw = np.random.default_rng(8)
    a, b = 5.0 + 0.3 * draw.standard_normal(8), 5.0 + 0.5 * draw.standard_normal(10)
    found = solve(lambda q: np.full(18, q[0]), many_channels([a, b]), search(5.0))
    n, s = np.array([8, 10]), found.noise
    plain = 1 / (n / s**2).sum()
    w = n / s**2 * plain
    assert found.covariance[0, 0] == pytest.approx(plain * (1 + (4 * w * (1 - w) / (n - w)).sum()), rel=1e-6)
    assert found.noise**2 == pytest.approx(
        [((y - found.x[0]) ** 2).sum() for y in (a, b)] / (n - w), rel=3e-3
    )


# -- coverage: how often the interval holds the truth


def covered(kinds, count) -> tuple[dict[str, float], float]:
    """Return the share of ``count`` noisy copies of these tests whose intervals hold the truth, and rows left out."""
    logs = [made(kind, noise=0.0) for kind in kinds]
    numbers = parameters(ROVER, logs, None)
    # what these tests do not speak of is known, else its error would count too
    known = {path: value for path, value in TRUTH.items() if path not in [p.path for p in numbers]}
    joint = Joint(changed(ROVER, known), logs, numbers)
    data, begin = joint.data(), joint.search()
    clean = data.measured
    data = data._replace(floor=np.full(data.floor.size, 1e-9))
    noise = np.concatenate([np.full(log.rows, NOISE[log.kind, name]) for log, name in joint.channels])
    truth = np.array([TRUTH.get(p.path) or OWN[p.log][p.path.partition(": ")[2]] for p in numbers])
    begin = begin._replace(start=truth)  # quick
    hits, out = np.zeros(truth.size), 0
    for k in range(count):
        draw = np.random.default_rng([11, k])
        found = solve(
            joint.model, data._replace(measured=clean + noise * draw.standard_normal(clean.size)), begin
        )
        hits += np.abs(found.x - truth) <= found.half_width
        out += int((~found.kept).sum())
    return dict(zip([p.path for p in numbers], hits / count, strict=True)), out / (count * clean.size)


def check_coverage(kinds, count):
    shares, left_out = covered(kinds, count)
    low, high = stats.binom.ppf([0.0005, 0.9995], count, 0.95) / count  # one false alarm in a thousand
    print(
        f"\n{'+'.join(kinds)}, {count} copies, {low:.3f} to {high:.3f} by chance, {left_out:.2%} of rows left out"
    )
    for path, share in shares.items():
        print(f"  {path:42s} {share:.3f}")
        assert low <= share <= high, path
    assert left_out < 0.003


def test_the_interval_holds_the_truth_in_95_of_100():
    check_coverage(("locked_rotor",), 40)  # more of them, and other tests, in the benchmark below


@pytest.mark.benchmark
@pytest.mark.parametrize(
    "kinds",
    [("locked_rotor",), ("no_load", "locked_rotor"), ("no_load", "locked_rotor", "spin_down"), ("warm_up",),
     ("cell_pulse",), ("loaded",), ("back_emf",), ("pull_out",)],
    ids="+".join,
)  # fmt: skip
def test_the_interval_holds_the_truth_in_more_tests(kinds):
    check_coverage(kinds, 400)


# -- the bootstrap


def test_bootstrap_and_derivatives_agree_on_white_noise():
    logs = [made("locked_rotor"), made("back_emf")]
    numbers = parameters(ROVER, logs, None)
    joint = Joint(ROVER, logs, numbers)
    data, begin = joint.data(), joint.search()
    found = solve(joint.model, data, begin)
    draws = bootstrap(joint.model, data, begin, found, 300, 1, linear=False)
    assert draws.std(axis=0) == pytest.approx(np.sqrt(np.diag(found.covariance)), rel=0.25)
    assert draws.mean(axis=0) == pytest.approx(found.x, abs=0.2 * found.half_width.max())
    again = bootstrap(joint.model, data, begin, found, 20, 1, linear=False)
    assert (again == draws[:20]).all()  # same seed, same draws


def test_bootstrap_in_blocks_knows_that_neighbours_are_alike():
    # mean of a process of first order, r = 0.8: its variance is (1 + r)/(1 − r) = 9 times that of white noise
    rng, n, r = np.random.default_rng(3), 400, 0.8
    ratios = []
    for _ in range(20):
        e = rng.standard_normal(n)
        for i in range(1, n):
            e[i] += r * e[i - 1]
        data = one_channel(10.0 + e, series=True)
        found = solve(lambda q: np.full(n, q[0]), data, search(1.0))
        draws = bootstrap(lambda q: np.full(n, q[0]), data, search(1.0), found, 200, 1, linear=False)
        assert hangs_together(e)
        ratios.append(draws.std() / np.sqrt(found.covariance[0, 0]))
    assert 2.2 < np.mean(ratios) < 3.6


def test_white_noise_is_drawn_row_by_row():
    rng = np.random.default_rng(5)
    assert np.mean([block_length(rng.standard_normal(80)) == 1 for _ in range(100)]) > 0.95
