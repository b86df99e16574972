"""The surface of the wheel's centre against closed forms and another implementation."""

import numpy as np
import pytest
from scipy import ndimage

from drivesim.ground.dilation import ball_offsets, dilate, dilate_profile

r, dx = 32e-3, 0.2e-3
x = np.arange(1001) * dx


def test_flat_ground():
    np.testing.assert_allclose(dilate(np.full((60, 50), 0.01), 3e-3, 4e-3, r), 0.01 + r, rtol=1e-15)
    np.testing.assert_allclose(dilate_profile(np.zeros(500), dx, r), r, rtol=1e-15)


@pytest.mark.parametrize("h", [8e-3, 31e-3, 50e-3])
def test_step_edge_is_an_arc_of_the_wheel(h):
    edge = 500
    centre = dilate_profile(np.where(np.arange(x.size) >= edge, h, 0.0), dx, r)
    d = x - x[edge]
    arc = np.where((d <= 0) & (np.abs(d) <= r), np.sqrt(np.maximum(0.0, r**2 - d**2)) + h, -1.0)
    expected = np.maximum(np.where(d >= 0, h + r, r), arc)
    np.testing.assert_allclose(
        centre, expected, atol=1e-7
    )  # the very last point may miss the ball by rounding


def test_over_a_half_round_bar_the_centre_runs_on_the_sum_of_both_radii():
    R = 10e-3
    d = x - 0.1
    centre = dilate_profile(np.sqrt(np.maximum(0.0, R**2 - d**2)), dx, r)
    expected = np.maximum(r, np.sqrt(np.maximum(0.0, (R + r) ** 2 - d**2)))
    np.testing.assert_allclose(centre, expected, atol=2e-6)
    assert (centre <= expected + 1e-12).all()


def test_slope_lifts_the_centre_along_its_normal():
    cell, slope = 3e-3, np.array([0.3, -0.2])
    i, j = np.meshgrid(np.arange(120) * cell, np.arange(90) * cell, indexing="ij")
    centre = dilate(slope[0] * i + slope[1] * j, cell, cell, r)
    expected = slope[0] * i + slope[1] * j + r * np.sqrt(1 + slope @ slope)
    inner = (slice(15, -15), slice(15, -15))
    assert np.abs(centre - expected)[inner].max() < cell**2 / (2 * r)


def test_against_another_implementation():
    z = np.random.default_rng(2).normal(size=(70, 55)) * 4e-3
    z[:, 30:] += 0.02
    steps = (3e-3, 2.5e-3)
    offsets, rise = ball_offsets(*steps, r)
    reach = np.abs(offsets).max(axis=0)
    ball, inside = np.zeros(2 * reach + 1), np.zeros(2 * reach + 1, dtype=bool)
    ball[tuple((offsets + reach).T)], inside[tuple((offsets + reach).T)] = rise, True
    expected = ndimage.grey_dilation(z, footprint=inside, structure=ball, mode="constant", cval=-1e6)
    np.testing.assert_array_equal(dilate(z, *steps, r), expected)


def test_order_is_kept_and_the_profile_is_the_map_without_width():
    rng = np.random.default_rng(3)
    z = rng.normal(size=(200, 1)) * 2e-3 * np.ones((1, 40))
    centre = dilate(z, 3e-3, 3e-3, r)
    assert (centre >= z + r).all()
    assert (dilate(z + 1e-3 * rng.random(z.shape), 3e-3, 3e-3, r) >= centre).all()
    np.testing.assert_allclose(dilate(z + 0.5, 3e-3, 3e-3, r), centre + 0.5, rtol=1e-14)
    np.testing.assert_array_equal(centre[:, 20], dilate_profile(z[:, 0], 3e-3, r))
