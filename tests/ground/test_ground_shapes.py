"""The geometry of each feature."""

from math import radians, tan

import numpy as np
import pytest

from drivesim.ground import shapes

x = np.linspace(-0.5, 4.0, 4501)  # 1 mm
y = np.linspace(-0.5, 0.5, 101)  # 10 mm
MIDDLE = 50


def at(z, place, across=0.0):
    return z[round((place + 0.5) * 1000), round((across + 0.5) * 100)]


def test_ramp():
    z = shapes.ramp(x, y, 1.0, 2.0, radians(10))
    assert [at(z, p) for p in (0.5, 1.0)] == [0.0, 0.0]
    assert at(z, 1.5) == pytest.approx(0.5 * tan(radians(10)))
    assert at(z, 2.0) == at(z, 4.0) == pytest.approx(tan(radians(10)))
    assert z.shape == (x.size, y.size)
    down = shapes.ramp(x, y, 1.0, 2.0, radians(-10))
    np.testing.assert_array_equal(down, -z)


def test_cross_slope_lifts_the_left_and_meets_level_ground():
    z = shapes.ramp(x, y, 1.0, 3.0, 0.0, radians(8))
    np.testing.assert_allclose(z[2500], y * tan(radians(8)), atol=1e-15)
    assert at(z, 2.0, 0.2) == pytest.approx(0.2 * tan(radians(8))) == pytest.approx(-at(z, 2.0, -0.2))
    assert np.abs(z[x <= 1.0]).max() == np.abs(z[x >= 3.0]).max() == 0.0
    assert np.abs(np.diff(z, axis=0)).max() < 1e-3 * 0.5 * tan(radians(8)) * 1.5 / 0.5 * 1.01


@pytest.mark.parametrize("height", [12e-3, -12e-3])
def test_step_edge_belongs_to_the_higher_side(height):
    z = shapes.step(x, y, 1.0003, height)[:, 3]
    assert set(z) == {0.0, height}
    assert at(z[:, None] * np.ones(101), 1.0) == max(0.0, height)
    higher = x[z == max(0.0, height)]
    edge = higher.min() if height > 0 else higher.max()
    assert abs(edge - 1.0003) <= 0.5e-3


def test_step_off_the_grid_stays_there():
    assert (shapes.step(x, y, -3.0, 0.01) == 0.01).all()
    assert (shapes.step(x, y, 9.0, 0.01) == 0.0).all()


def test_pavers_with_gaps():
    tops = np.array([0.010, 0.012, 0.008])
    z = shapes.pavers(x, y, 1.0, 0.3, 0.02, tops, gap_floor=-0.005)
    for i, top in enumerate(tops):
        start = 1.0 + 0.32 * i
        assert [at(z, start + d) for d in (0.0, 0.15, 0.3)] == [top] * 3
    assert at(z, 0.999) == at(z, 1.941) == 0.0
    assert at(z, 1.301) == at(z, 1.319) == -0.005
    touching = shapes.pavers(x, y, 1.0, 0.3, 0.0, tops)
    assert at(touching, 1.3) == 0.012
    assert at(touching, 1.6) == 0.012


def test_slab_heights_are_drawn_within_the_spread():
    drawn = shapes.draw_heights(1000, 0.02, 0.003, np.random.default_rng(1))
    assert 0.017 <= drawn.min() < 0.0171 < 0.0229 < drawn.max() <= 0.023
    assert drawn.std() == pytest.approx(0.003 / np.sqrt(3), rel=0.05)


def test_bumps():
    z = shapes.bumps(x, y, 1.0, 3, 0.1, 0.015)
    for crest in (1.015, 1.115, 1.215):
        assert at(z, crest) == pytest.approx(0.015, abs=1e-6)
        assert at(z, crest + 0.009) == pytest.approx(0.012, abs=1e-6)
    assert at(z, 1.0) == pytest.approx(0.0, abs=1e-6)
    assert at(z, 1.06) == at(z, 1.5) == 0.0
    left = shapes.bumps(x, y, 1.0, 3, 0.1, 0.015, "left")
    np.testing.assert_array_equal(left[:, y > 0], z[:, y > 0])
    assert not left[:, y <= 0].any()
    np.testing.assert_array_equal(shapes.bumps(x, y, 1.0, 3, 0.1, 0.015, "right"), left[:, ::-1])


def test_washboard_and_twist():
    z = shapes.washboard(x, y, 1.0, 0.4, 0.01)
    assert at(z, 1.1) == pytest.approx(0.01) == pytest.approx(-at(z, 1.3))
    assert not z[x < 1.0].any()
    t = shapes.twist(x, y, 1.0, 0.4, 0.01)
    np.testing.assert_allclose(t[:, y > 0.02], z[:, y > 0.02])
    np.testing.assert_allclose(t, -t[:, ::-1], atol=1e-17)
    assert at(t, 1.1, 0.01) == pytest.approx(0.005)


def test_profile_and_height_map():
    z = shapes.profile(x, y, 0.5, np.array([0.0, 0.1, 0.3]), np.array([0.01, 0.03, 0.02]))
    assert [at(z, p) for p in (0.0, 0.55, 0.7, 3.0)] == pytest.approx([0.01, 0.02, 0.025, 0.02])
    heights = np.array([[0.0, 1.0, 5.0], [2.0, 3.0, 7.0]])
    m = shapes.height_map(x, y, 1.0, 0.2, heights)
    assert [at(m, 1.0, p) for p in (-0.2, 0.0, 0.2, 0.4)] == pytest.approx([0.0, 1.0, 5.0, 5.0])
    assert at(m, 1.1, 0.1) == pytest.approx((1.0 + 5.0 + 3.0 + 7.0) / 4)
    assert at(m, 3.0, -0.4) == pytest.approx(2.0)


def test_fade_in():
    f = shapes.fade_in(x, 1.0, 0.2)
    assert [f[1500], f[1600], f[1700]] == pytest.approx([0.0, 0.5, 1.0])
    assert (np.diff(f) >= 0).all()
    assert set(shapes.fade_in(x, 1.0, 0.0)) == {0.0, 1.0}
