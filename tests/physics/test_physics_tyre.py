"""Brush tyre, slip and friction against published values, closed forms and energy."""

from math import atan, cos, hypot, pi, radians, sin

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from physics_loops import dropped_disc, quick, rest_on_slope
from scipy.integrate import quad

from drivesim.physics.tyre import (
    SLIP_SPEED_FLOOR,
    advance_bristle,
    bristle_energy,
    bristle_use,
    brush_share,
    slip_ratio,
    steady_brush_force,
    stribeck_friction,
    tread_force,
    within_ellipse,
)

positive = st.floats(0.1, 50.0)
stiffness = st.floats(100.0, 1e4)
speed = st.floats(-3.0, 3.0)
deflection = st.floats(-0.02, 0.02)


# -- friction


@pytest.mark.parametrize(
    ("v", "force"),
    [
        (1e-5, 1.499954),
        (5e-4, 1.389600),
        (1e-3, 1.184340),
        (2e-3, 1.009958),
        (5e-3, 1.002000),
        (0.1, 1.040000),
    ],
)
def test_stribeck_curve(v, force):
    # Canudas de Wit, Olsson, Åström, Lischinsky 1995, Table I: Fs 1.5 N, Fc 1 N, vs 1 mm/s, sigma2 0.4 N·s/m;
    # the viscous part is added here
    assert stribeck_friction(v, 1.5, 1.0, 0.001) + 0.4 * v == pytest.approx(force, rel=1e-5)


# -- the steady brush


@pytest.mark.parametrize(
    ("slip", "force"),
    [(0.004, 3.67593), (0.008, 6.74074), (0.016, 11.25926), (0.032, 15.40741), (0.048, 16.0), (1.0, 16.0)],
)
def test_brush_with_parabolic_pressure(slip, force):
    # Pacejka, Tyre and Vehicle Dynamics (from memory): C = 1000 N, mu = 0.8, Fz = 20 N
    assert steady_brush_force(slip, 1000.0, 16.0) == pytest.approx(force, rel=2e-6)


def test_brush_at_friction_worth_of_slip():
    assert brush_share(1.0 / 3.0) == pytest.approx(19.0 / 27.0, rel=1e-12)  # same source: C·s = P
    assert brush_share(0.999999999) == pytest.approx(1.0, abs=1e-12)  # joins full sliding smoothly
    assert brush_share(1e-6) == pytest.approx(3e-6, rel=1e-5)


@pytest.mark.parametrize("slip", [0.004, 0.016, 0.032, 0.06, 0.5])
@pytest.mark.parametrize(("wheel", "direction"), [(0.5, 1.0), (0.5, -1.0), (-2.0, 1.0), (-2.0, -1.0)])
def test_rolling_bristle_settles_on_the_steady_brush(slip, wheel, direction):
    # k·sigma = 2000 N/m · 0.5 m = C; v = −slip·|w·r| drives forward, so the force is forward
    k, sigma, limit, dt, u = 2000.0, 0.5, 16.0, 1e-3, 0.0
    v = -direction * slip * abs(wheel)
    force = 0.0
    for _ in range(20_000):
        u = advance_bristle(u, v, wheel, sigma, dt)
        force, side, u, _ = tread_force(u, 0.0, 0.0, 0.0, k, k, 0.0, 0.0, limit, limit)
        assert side == 0.0
    assert force == pytest.approx(direction * steady_brush_force(slip, k * sigma, limit), rel=1e-6)


def test_relaxation_length():
    # closed form: after rolling sigma the deflection has come to 1 − 1/e of its end
    sigma, wheel, v, dt, u = 0.08, 0.4, -0.01, 1e-5, 0.0
    for _ in range(round(sigma / wheel / dt)):
        u = advance_bristle(u, v, wheel, sigma, dt)
    assert u == pytest.approx(0.01 * sigma / wheel * (1.0 - np.exp(-1.0)), rel=1e-3)


# -- combined slip


def test_ellipse_at_sixty_percent():
    # friction ellipse: 60 % along leaves 80 % across
    limit_x, limit_y = 10.0, 7.0
    assert within_ellipse(12.0, 11.2, limit_x, limit_y) == pytest.approx((6.0, 5.6), rel=1e-12)
    assert within_ellipse(6.0, 5.5, limit_x, limit_y) == (6.0, 5.5)
    k_x, k_y = 2000.0, 1500.0
    ux, uy = 0.6 * limit_x / k_x * 100.0, 0.8 * limit_y / k_y * 100.0
    fx, fy, held_x, held_y = tread_force(ux, uy, 0.0, 0.0, k_x, k_y, 0.0, 0.0, limit_x, limit_y)
    assert (fx, fy) == pytest.approx((6.0, 5.6), rel=1e-12)
    assert bristle_use(held_x, held_y, k_x, k_y, limit_x, limit_y)[0] == pytest.approx(1.0, rel=1e-12)


@quick
@given(deflection, deflection, speed, speed, stiffness, stiffness, st.floats(0.0, 100.0), positive, positive)
def test_force_never_leaves_the_ellipse(ux, uy, rate_x, rate_y, kx, ky, damping, limit_x, limit_y):
    fx, fy, held_x, held_y = tread_force(ux, uy, rate_x, rate_y, kx, ky, damping, damping, limit_x, limit_y)
    assert hypot(fx / limit_x, fy / limit_y) <= 1.0 + 1e-12
    assert bristle_use(held_x, held_y, kx, ky, limit_x, limit_y)[0] <= 1.0 + 1e-12
    assert held_x * ux >= 0.0
    assert held_y * uy >= 0.0


@quick
@given(speed, speed, st.floats(-2.0, 2.0), stiffness, stiffness, positive, positive)
def test_steady_sliding_takes_energy(vx, vy, wheel, kx, ky, limit_x, limit_y):
    assume(hypot(vx, vy) > 1e-3)
    dt, ux, uy, fx, fy = 1e-2, 0.0, 0.0, 0.0, 0.0
    for _ in range(600):
        new_x, new_y = advance_bristle(ux, vx, wheel, 0.02, dt), advance_bristle(uy, vy, wheel, 0.02, dt)
        fx, fy, ux, uy = tread_force(
            new_x, new_y, (new_x - ux) / dt, (new_y - uy) / dt, kx, ky, 5.0, 5.0, limit_x, limit_y
        )
    assert fx * vx <= 0.0
    assert fy * vy <= 0.0
    assert fx * vx + fy * vy < 0.0


@pytest.mark.parametrize("angle", [0.0, 0.4, 1.3, 2.5, -2.0])
def test_sliding_friction_opposes_the_slip(angle):
    # friction circle: a locked wheel's force lies straight against its slip velocity, whatever it was before
    k, limit, dt = 3000.0, 12.0, 1e-4
    vx, vy = cos(angle), sin(angle)
    ux, uy, fx, fy = -0.004, 0.005, 0.0, 0.0
    for _ in range(20_000):
        fx, fy, ux, uy = tread_force(ux - vx * dt, uy - vy * dt, 0.0, 0.0, k, k, 0.0, 0.0, limit, limit)
    assert (fx, fy) == pytest.approx((-limit * vx, -limit * vy), abs=1e-9)


# -- energy of the bristles


@quick
@given(deflection, deflection, stiffness, stiffness, positive, positive)
def test_bristle_energy_is_the_integral_of_the_force(ux, uy, kx, ky, limit_x, limit_y):
    assume(hypot(ux, uy) > 1e-6)
    xi = bristle_use(ux, uy, kx, ky, limit_x, limit_y)[0]
    ux, uy = ux / max(1.0, xi), uy / max(1.0, xi)

    def pull(s):
        fx, fy, _, _ = tread_force(s * ux, s * uy, 0.0, 0.0, kx, ky, 0.0, 0.0, limit_x, limit_y)
        return fx * ux + fy * uy

    work = quad(pull, 0.0, 1.0, epsabs=0.0, epsrel=1e-11)[0]
    assert bristle_energy(ux, uy, kx, ky, limit_x, limit_y) == pytest.approx(work, rel=1e-9, abs=0.0)


def test_bristle_energy_of_small_and_full_deflection():
    assert bristle_energy(1e-6, 2e-6, 3000.0, 2000.0, 9.0, 8.0) == pytest.approx(
        0.5 * (3e-9 + 8e-9), rel=2e-3
    )  # springs
    full = bristle_energy(0.009, 0.0, 3000.0, 2000.0, 9.0, 8.0)
    assert full == pytest.approx(9.0 * 0.009 * 0.75, rel=1e-12)  # limit × full deflection × mean of the share
    assert bristle_energy(0.5, 0.0, 3000.0, 2000.0, 9.0, 8.0) == pytest.approx(full, rel=1e-12)


@quick
@given(
    st.lists(st.tuples(speed, speed, st.floats(-1.0, 1.0)), min_size=5, max_size=60),
    stiffness,
    positive,
    st.floats(0.3, 3.0),
)
def test_tread_never_gives_back_more_than_it_held(slips, kx, limit_x, ratio):
    # where one energy exists, k_x/P_x² = k_y/P_y²: in every step work put in ≥ rise of the held energy
    limit_y, ky, dt = ratio * limit_x, ratio * ratio * kx, 1e-3
    ux, uy, held = 0.0, 0.0, 0.0
    for vx, vy, wheel in slips:
        new_x, new_y = advance_bristle(ux, vx, wheel, 0.02, dt), advance_bristle(uy, vy, wheel, 0.02, dt)
        fx, fy, ux, uy = tread_force(new_x, new_y, 0.0, 0.0, kx, ky, 0.0, 0.0, limit_x, limit_y)
        before, held = held, bristle_energy(ux, uy, kx, ky, limit_x, limit_y)
        assert -(fx * vx + fy * vy) * dt >= held - before - 1e-12


# -- standstill


@pytest.mark.parametrize("heading", [0.0, 0.7, pi / 2.0, pi])
def test_locked_wheels_hold_on_a_slope_without_creep(heading):
    m, g, slope, mu, k = 1.2, 9.81, radians(20.0), 0.6, 4000.0
    x, v = rest_on_slope(m, g, slope, heading, mu, k, 60.0, 1e-4, 100_000)
    limit = mu * m * g * cos(slope)
    xi = 1.0 - (1.0 - m * g * sin(slope) / limit) ** (1.0 / 3.0)  # the brush law turned round
    assert x[-1] == pytest.approx(3.0 * limit * xi / k, rel=1e-9)
    assert abs(v[-1]) < 1e-12
    assert abs(x[-1] - x[50_000]) < 1e-12  # not a hair in five seconds


@pytest.mark.parametrize("heading", [0.0, pi / 2.0])
def test_locked_wheels_slide_beyond_the_friction_angle(heading):
    # closed form: g·(sin − mu·cos) once everything slides
    m, g, mu = 1.2, 9.81, 0.6
    slope = atan(mu) + 0.1
    _, v = rest_on_slope(m, g, slope, heading, mu, 4000.0, 60.0, 1e-4, 20_000)
    assert v[-1] - v[10_000] == pytest.approx(
        g * (sin(slope) - mu * cos(slope)), rel=1e-9
    )  # within one second


def test_lifted_wheel_has_no_force():
    assert tread_force(0.01, 0.01, 1.0, 1.0, 1e3, 1e3, 9.0, 9.0, 0.0, 0.0) == (0.0, 0.0, 0.0, 0.0)
    assert bristle_energy(0.01, 0.01, 1e3, 1e3, 0.0, 0.0) == 0.0


def test_spinning_disc_dropped_on_the_ground():
    # closed form (common textbook problem): rolls at r·w0/3 after r·w0/(3·mu·g)
    m, r, w0, mu, g, dt = 0.4, 0.05, 60.0, 0.6, 9.81, 1e-5
    x, v, w = dropped_disc(m, 0.5 * m * r * r, r, w0, mu, g, 2e4, 0.01, dt, 40_000)
    assert v[-1] == pytest.approx(1.0, rel=1e-2)
    assert w[-1] * r == pytest.approx(v[-1], rel=1e-6)
    rolling = np.argmax(v >= 0.99 * v[-1])
    assert rolling * dt == pytest.approx(0.99 * 0.169895, rel=1e-2)
    assert x[round(0.169895 / dt)] == pytest.approx(0.084947, rel=1e-2)
    kept = (v[-1] ** 2 + 0.5 * (r * w[-1]) ** 2) / (0.5 * (r * w0) ** 2)
    assert kept == pytest.approx(1.0 / 3.0, rel=2e-2)


# -- slip ratio


def test_slip_conventions():
    # SAE J670 / ISO 8855: S = r·w/V − 1; Wong: i = 1 − V/(r·w) driving (from memory); i = S/(1 + S)
    S = 1.25 / 1.0 - 1.0
    assert slip_ratio(1.0, 1.25) == pytest.approx(0.2, rel=1e-12)
    assert slip_ratio(1.0, 1.25) == pytest.approx(S / (1.0 + S), rel=1e-12)
    assert slip_ratio(1.0, 0.75) == pytest.approx(-0.25, rel=1e-12)  # braking: S itself, minus Wong's skid
    assert slip_ratio(0.0, 1.0) == 1.0  # spinning in place
    assert slip_ratio(1.0, 0.0) == -1.0  # locked
    assert slip_ratio(-1.0, 0.0) == 1.0  # locked, dragged backward
    assert slip_ratio(1.0, -1.0) == -1.0  # turning against its travel
    assert slip_ratio(0.0, 0.0) == 0.0
    assert slip_ratio(0.0, 0.5 * SLIP_SPEED_FLOOR) == pytest.approx(0.5)  # fades out below the floor


@quick
@given(speed, speed)
def test_slip_ratio_is_bounded_odd_and_signed(v, wheel):
    kappa = slip_ratio(v, wheel)
    assert -1.0 <= kappa <= 1.0
    assert slip_ratio(-v, -wheel) == -kappa
    assert kappa * (wheel - v) >= 0.0
    assert abs(slip_ratio(v, wheel + 1e-9) - kappa) < 1e-6 / SLIP_SPEED_FLOOR  # continuous


def test_full_turn_of_directions_has_one_limit():
    # friction circle: the size of full sliding does not depend on the direction
    sizes = []
    for angle in np.linspace(0.0, 2.0 * pi, 37):
        fx, fy, _, _ = tread_force(cos(angle), sin(angle), 0.0, 0.0, 2e3, 2e3, 0.0, 0.0, 5.0, 5.0)
        sizes.append(hypot(fx, fy))
    assert sizes == pytest.approx([5.0] * 37, rel=1e-12)
