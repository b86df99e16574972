"""Soft soil against published examples, the exact circular wheel and closed forms."""

from decimal import Decimal, localcontext
from math import atan, e, exp, pi, radians, sqrt, tan

import pytest
from hypothesis import given
from hypothesis import strategies as st
from physics_loops import quick
from scipy.integrate import quad
from scipy.optimize import brentq

from drivesim.physics.obstacle import turning_moment
from drivesim.physics.soil import (
    compaction_resistance,
    contact_length,
    greatest_thrust,
    janosi_hanamoto,
    load_slope,
    mean_shear,
    pressure,
    sinkage_under_load,
    wheel_load,
)

# Wong, Theory of Ground Vehicles (from memory): n, k_c [N/m^(n+1)], k_phi [N/m^(n+2)]
DRY_SAND = (1.1, 990.0, 1528.43e3)
SANDY_LOAM_15 = (0.7, 5270.0, 1515.04e3)

exponent = st.floats(0.1, 1.6)
depth = st.floats(1e-6, 0.2)
width = st.floats(0.005, 0.5)
diameter = st.floats(0.03, 1.5)
stiffness = st.floats(1e4, 1e7)


# -- published examples


@pytest.mark.parametrize(
    ("b", "length", "sinkage", "resistance", "book", "thrusts"),
    [
        (1.0, 3.6, 0.2270, 3274.0, 3280.0, (40.532, 47.829, 51.680, 53.609, 54.573)),
        (0.8, 4.5, 0.2262, 2610.0, 2600.0, (43.333, 49.367, 52.452, 53.994, 54.766)),
    ],
)
def test_two_tracks_on_snow(b, length, sinkage, resistance, book, thrusts):
    # Wong, Theory of Ground Vehicles, two-track example (from memory): W = 135 kN, snow n = 1.6, kc = 4.37,
    # kphi = 196.72 (kN, m), c = 1.0 kPa, phi = 19.7 degrees, K = 0.05 m
    W, n, k_c, k_phi, tan_phi = 135e3, 1.6, 4370.0, 196.72e3, tan(radians(19.7))
    z = brentq(lambda z: pressure(z, k_c, k_phi, n, b) - W / (2.0 * b * length), 1e-6, 1.0)
    assert z == pytest.approx(sinkage, rel=5e-4)
    drag = 2.0 * compaction_resistance(z, b, k_c / b + k_phi, n)
    assert drag == pytest.approx(resistance, rel=5e-4)
    assert drag == pytest.approx(book, rel=5e-3)
    greatest = 2.0 * greatest_thrust(b * length, 1e3, W / 2.0, tan_phi, 0.0, b)
    assert greatest == pytest.approx(55.537e3, rel=2e-4)
    for slip, thrust in zip((0.05, 0.1, 0.2, 0.4, 0.8), thrusts, strict=True):
        assert greatest * mean_shear(slip * length, 0.05) == pytest.approx(thrust * 1e3, rel=2e-4)


@pytest.mark.parametrize(
    ("soil", "W", "D", "b", "sinkage", "resistance", "exact"),
    [
        (DRY_SAND, 10e3, 1.0, 0.3, 121.63e-3, 2622.2, 122.61e-3),
        (DRY_SAND, 10.0, 0.1, 0.04, 11.633e-3, 2.5644, 11.714e-3),
        (SANDY_LOAM_15, 10.0, 0.1, 0.04, 2.1408e-3, 1.1226, 2.2422e-3),
    ],
)
def test_rigid_wheel_beside_the_exact_circle(soil, W, D, b, sinkage, resistance, exact):
    # Bekker's wheel (from memory); the circle itself integrated: z = z0 − (r − sqrt(r² − x²))
    n, k_c, k_phi = soil
    k, r = k_c / b + k_phi, D / 2.0
    z = sinkage_under_load(W, b, D, n, k)
    assert z == pytest.approx(sinkage, rel=1e-4)
    assert compaction_resistance(z, b, k, n) == pytest.approx(resistance, rel=1e-4)

    def carried(z0):
        def strip(x):
            return b * pressure(z0 - (r - sqrt(r * r - x * x)), k_c, k_phi, n, b)

        return quad(strip, 0.0, contact_length(z0, D), epsrel=1e-9)[0]

    true_sinkage = brentq(lambda z0: carried(z0) - W, 0.5 * z, 2.0 * z)
    assert true_sinkage == pytest.approx(exact, rel=1e-4)
    assert z == pytest.approx(true_sinkage, rel=0.05)


@pytest.mark.parametrize(
    ("cohesion", "p", "phi", "mu_t", "most"),
    [(0.0, 6900.0, 30.0, 0.5, 1.909), (3450.0, 6900.0, 0.0, 0.4, 2.0)],
)
def test_longest_track_that_still_turns(cohesion, p, phi, mu_t, most):
    # Wong, Theory of Ground Vehicles (from memory), printed 1.9 on sand and 2.0 on clay; rolling resistance
    # 0.1.  The outer track, half the weight, drags half the rover and half the turning moment mu_t·W·l/4.
    W, b, rolling = 50e3, 0.4, 0.1
    area = W / 2.0 / p
    left = greatest_thrust(area, cohesion, W / 2.0, tan(radians(phi)), 0.0, b) - rolling * W / 2.0
    moment_per_length = turning_moment(mu_t, W, 1.0) / 2.0  # of a track, half that of four wheels
    assert left / moment_per_length == pytest.approx(most, rel=5e-4)


@pytest.mark.parametrize(
    ("j", "share"), [(1, 0.09516), (5, 0.39347), (10, 0.63212), (20, 0.86466), (50, 0.99326)]
)
def test_shear_curve(j, share):
    # Janosi and Hanamoto 1961, K = 10 mm, values computed
    assert janosi_hanamoto(j * 1e-3, 10e-3) == pytest.approx(share, abs=6e-6)


# -- lugs


def test_lugs_add_sides_and_passive_soil():
    # Bekker; Wong (from memory): h/b = 1/8
    area, load, b = 2e-3, 12.0, 0.04
    assert greatest_thrust(area, 1720.0, 0.0, 0.55, 0.005, b) == pytest.approx(
        1.25 * area * 1720.0, rel=1e-12
    )
    friction = greatest_thrust(0.0, 1720.0, load, 0.55, 0.005, b)
    assert friction == pytest.approx(load * 0.55 * (1.0 + 0.08 * atan(8.0)), rel=1e-12)
    assert friction / (load * 0.55) == pytest.approx(1.1157, rel=1e-4)
    assert greatest_thrust(area, 1720.0, load, 0.55, 1e-9, b) == pytest.approx(
        greatest_thrust(area, 1720.0, load, 0.55, 0.0, b), rel=1e-6
    )


@quick
@given(st.floats(0.0, 0.1), st.floats(0.0, 7e4), st.floats(0.0, 1e3), st.floats(0.0, 1.0), width)
def test_longer_lugs_never_give_less_thrust(area, cohesion, load, tan_phi, b):
    thrusts = [greatest_thrust(area, cohesion, load, tan_phi, h, b) for h in (0.0, 0.001, 0.005, 0.02, 0.1)]
    assert thrusts == sorted(thrusts)
    assert thrusts[0] == area * cohesion + load * tan_phi


# -- closed forms


@quick
@given(depth, width, diameter, exponent, stiffness)
def test_sinkage_undoes_the_load(z, b, D, n, k):
    load = wheel_load(z, b, D, n, k)
    assert sinkage_under_load(load, b, D, n, k) == pytest.approx(z, rel=1e-9, abs=0.0)
    assert wheel_load(1.01 * z, b, D, n, k) > load


@quick
@given(depth, width, diameter, exponent, stiffness)
def test_slope_of_the_load(z, b, D, n, k):
    step = 1e-5 * z
    rise = wheel_load(z + step, b, D, n, k) - wheel_load(z - step, b, D, n, k)
    assert load_slope(wheel_load(z, b, D, n, k), z, n) == pytest.approx(rise / (2.0 * step), rel=1e-7)


@quick
@given(depth, width, exponent, stiffness)
def test_resistance_is_the_work_of_pressing_a_rut(z, b, n, k):
    work = quad(lambda s: b * pressure(s, 0.0, k, n, b), 0.0, z, epsabs=0.0, epsrel=1e-8)[0]
    assert compaction_resistance(z, b, k, n) == pytest.approx(work, rel=1e-6, abs=0.0)


@quick
@given(st.floats(1e-4, 1.0), diameter)
def test_contact_length_of_a_circle(share, D):
    z = share * D
    length = contact_length(z, D)
    assert 0.0 < length <= D / 2.0
    if share < 0.5:
        r = D / 2.0
        assert (r - z) ** 2 + length**2 == pytest.approx(r * r, rel=1e-12)
    else:
        assert length == D / 2.0


@quick
@given(st.floats(1e-6, 30.0), st.floats(1e-3, 0.1))
def test_mean_shear_is_the_mean_of_the_curve(x, K):
    u = x * K  # small x takes the series, whose switch lies at 1e-3
    mean = quad(lambda s: janosi_hanamoto(s * u, K), 0.0, 1.0, epsabs=0.0, epsrel=1e-12)[0]
    assert mean_shear(u, K) == pytest.approx(mean, rel=1e-10, abs=0.0)
    assert mean_shear(1.001 * u, K) > mean_shear(u, K)
    assert 0.0 < mean_shear(u, K) < min(1.0, 0.5 * x * (1.0 + 1e-12))


@pytest.mark.parametrize("x", [1e-6, 1e-4, 0.999e-3, 1.001e-3, 0.02])
def test_mean_shear_keeps_its_digits(x):
    # the closed form in fifty digits, both sides of the series' switch
    with localcontext(prec=50):
        exact = 1 - (1 - (-Decimal(x)).exp()) / Decimal(x)
    assert mean_shear(x, 1.0) == pytest.approx(float(exact), rel=2e-12, abs=0.0)


def test_shear_ends():
    assert mean_shear(1e-12, 0.01) == pytest.approx(0.5e-10, rel=1e-9, abs=0.0)  # half the slope of the curve
    assert mean_shear(0.01, 0.01) == pytest.approx(1.0 / e, rel=1e-12)
    assert janosi_hanamoto(1e-12, 0.01) == pytest.approx(1e-10, rel=1e-9, abs=0.0)
    assert janosi_hanamoto(10.0, 0.01) == 1.0
    assert mean_shear(10.0, 0.01) == pytest.approx(1.0 - 1e-3, rel=1e-12)
    assert 1.0 - janosi_hanamoto(0.02, 0.01) == pytest.approx(exp(-2.0), rel=1e-12)


@pytest.mark.parametrize("z", [0.0, -1e-9, -0.01])
@pytest.mark.parametrize("n", [0.13, 0.5, 1.1, 1.6])
def test_nothing_out_of_the_ground(z, n):
    assert pressure(z, 990.0, 1.5e6, n, 0.04) == 0.0
    assert wheel_load(z, 0.04, 0.1, n, 1.5e6) == 0.0
    assert sinkage_under_load(z, 0.04, 0.1, n, 1.5e6) == 0.0
    assert load_slope(3.0, z, n) == 0.0
    assert compaction_resistance(z, 0.04, 1.5e6, n) == 0.0
    assert contact_length(z, 0.1) == 0.0
    assert janosi_hanamoto(z, 0.01) == 0.0
    assert mean_shear(z, 0.01) == 0.0
    assert greatest_thrust(0.0, 1e3, 0.0, 0.6, 0.005, 0.04) == 0.0


def test_narrow_wheel_meets_stiffer_soil():
    # closed form: k = k_c/b + k_phi; a pressure of n = 0 would be the modulus itself
    assert pressure(1.0, 990.0, 1500.0, 0.7, 0.1) == pytest.approx(9900.0 + 1500.0, rel=1e-12)
    assert pressure(0.25, 0.0, 1500.0, 0.5, 0.1) == pytest.approx(750.0, rel=1e-12)
    assert wheel_load(1.0, pi, 4.0, 1.0, 3.0) == pytest.approx(4.0 * pi, rel=1e-12)
