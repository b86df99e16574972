"""Lookups on the grid against scipy and finite differences."""

from math import nan, sqrt

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from drivesim.ground.surface import height_and_slopes, is_inside, node_at, unit_normal

x0, y0, dx, dy = -0.5, -0.3, 0.02, 0.03
Z = np.random.default_rng(4).normal(size=(41, 21))
GRID = (x0, y0, dx, dy)
X, Y = x0 + dx * np.arange(41), y0 + dy * np.arange(21)


def test_height_is_bilinear():
    points = np.random.default_rng(5).uniform((X[0], Y[0]), (X[-1], Y[-1]), size=(300, 2))
    found = [height_and_slopes(Z, *GRID, *p)[0] for p in points]
    np.testing.assert_allclose(found, RegularGridInterpolator((X, Y), Z)(points), atol=1e-12)
    assert height_and_slopes(Z, *GRID, X[7], Y[9])[0] == pytest.approx(Z[7, 9], abs=1e-12)


def test_slopes_are_the_gradient():
    rng, d = np.random.default_rng(6), 1e-7
    for _ in range(100):
        x = X[rng.integers(40)] + dx * rng.uniform(0.1, 0.9)
        y = Y[rng.integers(20)] + dy * rng.uniform(0.1, 0.9)
        _, hx, hy = height_and_slopes(Z, *GRID, x, y)

        def height(x, y):
            return height_and_slopes(Z, *GRID, x, y)[0]

        assert hx == pytest.approx((height(x + d, y) - height(x - d, y)) / (2 * d), abs=1e-4)
        assert hy == pytest.approx((height(x, y + d) - height(x, y - d)) / (2 * d), abs=1e-4)


def test_beyond_the_border_the_ground_stays_level():
    h, hx, hy = height_and_slopes(Z, *GRID, X[0] - 5.0, Y[3] + 0.4 * dy)
    assert h == pytest.approx(0.6 * Z[0, 3] + 0.4 * Z[0, 4])
    assert hx == 0.0
    assert hy == pytest.approx((Z[0, 4] - Z[0, 3]) / dy)
    assert height_and_slopes(Z, *GRID, 1e300, 1e300) == pytest.approx((Z[-1, -1], 0.0, 0.0))
    # a NaN must not lead off the grid; it is reported by whoever holds it
    assert height_and_slopes(Z, *GRID, nan, nan)[0] == Z[0, 0]


def test_inside():
    shape = Z.shape
    assert is_inside(*shape, *GRID, X[0], Y[0])
    assert is_inside(*shape, *GRID, 0.0, 0.0)
    assert not is_inside(*shape, *GRID, X[-1] + 1e-6, 0.0)
    assert not is_inside(*shape, *GRID, 0.0, Y[0] - 1e-6)
    assert not is_inside(*shape, *GRID, nan, 0.0)


def test_normal_stands_on_both_tangents():
    hx, hy = 0.4, -0.7
    n = np.array(unit_normal(hx, hy))
    assert np.linalg.norm(n) == pytest.approx(1.0, rel=1e-14)
    assert n @ (1.0, 0.0, hx) == pytest.approx(0.0, abs=1e-15)
    assert n @ (0.0, 1.0, hy) == pytest.approx(0.0, abs=1e-15)
    assert unit_normal(1.0, 0.0) == pytest.approx((-1 / sqrt(2), 0.0, 1 / sqrt(2)))


def test_friction_is_that_of_the_nearest_node():
    for i, j in ((0, 0), (7, 12), (40, 20)):
        for a, b in ((-0.45, 0.45), (0.45, -0.45)):
            assert node_at(Z[..., None], *GRID, X[i] + a * dx, Y[j] + b * dy) == (i, j)
    assert node_at(Z[..., None], *GRID, 99.0, -99.0) == (Z.shape[0] - 1, 0)
    assert node_at(Z[..., None], *GRID, nan, nan) == (0, 0)
