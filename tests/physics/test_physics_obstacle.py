"""Statics of steps, slopes and turning against published tables and balances of forces."""

from math import atan, cos, degrees, pi, radians, sin, tan

import pytest
from hypothesis import given
from hypothesis import strategies as st
from physics_loops import quick
from scipy.optimize import brentq

from drivesim.physics.obstacle import (
    axle_loads,
    corner,
    friction_for_front_axle,
    friction_for_single_wheel,
    front_load_at_step,
    grade_by_torque,
    pull_over_step,
    steepest_grade,
    step_limit_single_wheel,
    torque_over_step,
    turning_moment,
)

R = 0.05


@pytest.mark.parametrize(
    ("h", "pull", "angle", "reaction", "best_push", "torque", "mu"),
    [
        (0.010, 7.5, 36.870, 12.5, 6.0, 0.3, 0.75),
        (0.020, 13.3333, 53.130, 16.6667, 8.0, 0.4, 1.3333),
        (0.025, 17.3205, 60.0, 20.0, 8.6603, 0.4330, 1.7321),
    ],
)
def test_one_wheel_at_a_step(h, pull, angle, reaction, best_push, torque, mu):
    # pulled wheel: Giancoli, Physics, figure 8-55 (problem statement), W = 10 N; torque alone: closed form
    s, c = corner(R, h)
    assert degrees(atan(s / c)) == pytest.approx(angle, rel=1e-5)
    assert pull_over_step(10.0, R, h) == pytest.approx(pull, rel=1e-5)
    assert 10.0 / c == pytest.approx(reaction, rel=1e-5)
    assert 10.0 * s == pytest.approx(best_push, rel=1e-5)
    assert torque_over_step(10.0, R, h) == pytest.approx(torque, rel=1e-4)
    assert friction_for_single_wheel(R, h) == pytest.approx(mu, rel=1e-4)
    assert step_limit_single_wheel(R, friction_for_single_wheel(R, h)) == pytest.approx(h, rel=1e-9)


@pytest.mark.parametrize(
    ("mu", "share"),
    [(0.3, 0.04217), (0.5, 0.10557), (0.6, 0.14251), (0.7, 0.18077), (0.8, 0.21913), (1.0, 0.29289)],
)
def test_highest_step_of_one_wheel(mu, share):
    # closed form, 1 − 1/sqrt(1 + mu²)
    assert step_limit_single_wheel(R, mu) / R == pytest.approx(share, abs=6e-6)


@pytest.mark.parametrize(
    ("h", "mu", "load"),
    [
        (0.005, 0.20581, 0.45297),
        (0.010, 2.0 / 7.0, 0.44025),
        (0.015, 0.34716, 0.43384),
        (0.020, 0.40000, 0.43103),
        (0.025, 0.44802, 0.43085),
        (0.030, 0.49321, 0.43285),
    ],
)
def test_front_axle_at_a_step(h, mu, load):
    # closed form: three balances, all wheels at the friction limit, L = 0.2, b = 0.1
    assert friction_for_front_axle(R, h, 0.2, 0.1) == pytest.approx(mu, rel=3e-5)
    assert front_load_at_step(1.0, mu, R, h) == pytest.approx(load, rel=1e-4)


@quick
@given(st.floats(0.01, 0.2), st.floats(0.001, 0.95), st.floats(1.0, 8.0), st.floats(0.05, 0.95))
def test_front_axle_balances(r, step_share, base_share, centre_share):
    h, L = step_share * r, base_share * r * 2.0
    b, W = centre_share * L, 40.0
    mu = friction_for_front_axle(r, h, L, b)
    front = front_load_at_step(W, mu, r, h)
    s, c = corner(r, h)
    level, lift = front * (mu * c - s), front * (c + mu * s)  # force of the corner on the rover
    rear = W - lift
    assert mu > 0.0
    assert level + mu * rear == pytest.approx(0.0, abs=1e-9 * W)
    assert (L + r * s) * lift - h * level == pytest.approx(W * b, rel=1e-9)


def test_no_step_needs_no_friction():
    assert friction_for_front_axle(R, 0.0, 0.2, 0.1) == 0.0
    assert friction_for_single_wheel(R, 0.0) == 0.0
    # closed form for a low step: the front axle's load times sin(theta) over all the weight
    theta = (2.0 * 1e-8 / R) ** 0.5
    assert friction_for_front_axle(R, 1e-8, 0.2, 0.1) == pytest.approx(0.1 / 0.2 * theta, rel=1e-3)


@pytest.mark.parametrize(
    ("front", "rear", "slope"), [(False, True, 20.095), (True, False, 14.265), (True, True, 30.964)]
)
def test_steepest_grade(front, rear, slope):
    # Wong, Theory of Ground Vehicles; Gillespie, Fundamentals of Vehicle Dynamics (from memory)
    L, a, hg, mu = 0.2, 0.1, 0.06, 0.6
    found = steepest_grade(mu, front, rear, L, a, hg)
    assert degrees(found) == pytest.approx(slope, abs=6e-4)
    # what the driven axles carry there, times mu, is just the weight's pull down the slope
    loads = axle_loads(1.0, found, L, a, hg)
    assert mu * (front * loads[0] + rear * loads[1]) == pytest.approx(sin(found), rel=1e-12)


def test_grade_without_a_driven_axle_or_a_friction_limit():
    assert steepest_grade(0.6, False, False, 0.2, 0.1, 0.06) == 0.0
    assert steepest_grade(2.0, False, True, 0.1, 0.05, 0.06) == pi / 2.0


@pytest.mark.parametrize("rolling", [0.0, 0.02, 0.3])
@pytest.mark.parametrize("share", [0.35, 0.6, 1.0])
def test_grade_by_torque_balances(share, rolling):
    # the balance of torques written out anew and solved by scipy: r·W·(sin + Crr·cos) + drag
    r, W, drag = 0.034, 6.08, 0.002
    torque = drag + share * r * W
    found = grade_by_torque(torque, drag, rolling, r, W)
    wanted = brentq(
        lambda a: torque - drag - r * W * (sin(a) + rolling * cos(a)), 0.0, pi / 2.0 - atan(rolling)
    )
    assert found == pytest.approx(wanted, abs=1e-9)


def test_grade_by_torque_that_carries_everything_or_nothing():
    r, W = 0.034, 6.08
    assert grade_by_torque(r * W * 1.1, 0.0, 0.3, r, W) == pi / 2.0  # sin + 0.3·cos is 1.044 at most
    assert grade_by_torque(r * W * 1.02, 0.0, 0.3, r, W) < atan(
        1.0 / 0.3
    )  # where it is steepest for the tyres
    assert grade_by_torque(r * W * 0.019, 0.0, 0.02, r, W) == 0.0
    assert grade_by_torque(0.001, 0.002, 0.0, r, W) == 0.0


def test_axle_loads_up_a_slope():
    # Wong; Gillespie (from memory): W = 40 N at 20 degrees; tips at 59.04 degrees
    front, rear = axle_loads(40.0, radians(20.0), 0.2, 0.1, 0.06)
    assert (front, rear) == pytest.approx((14.690, 22.898), rel=5e-5)
    assert front + rear == pytest.approx(40.0 * cos(radians(20.0)), rel=1e-12)
    assert axle_loads(40.0, radians(59.04), 0.2, 0.1, 0.06)[0] == pytest.approx(0.0, abs=5e-3)
    assert tan(radians(59.04)) == pytest.approx((0.2 - 0.1) / 0.06, rel=1e-3)
    assert axle_loads(40.0, 0.0, 0.2, 0.05, 0.06) == pytest.approx((30.0, 10.0))  # nearer the front axle


def test_turning_moment_of_four_wheels():
    # closed form: n equal axles over length l give mu·W·l·n/(4·(n − 1)), n = 2 here; twice a track's (Wong)
    mu, W, L = 0.5, 40.0, 0.2
    n = 2
    assert turning_moment(mu, W, L) == pytest.approx(mu * W * L * n / (4.0 * (n - 1)), rel=1e-12)
    assert turning_moment(mu, W, L) == pytest.approx(
        sum(mu * W / 4.0 * abs(x) for x in (0.1, 0.1, -0.1, -0.1))
    )


def test_turning_moment_of_a_tracked_vehicle():
    # Wong, Theory of Ground Vehicles (from memory): W = 155.68 kN, l = 3.048 m, B = 2.032 m, mu_t = 0.5;
    # even pressure along the track gives half of what two axles at its ends do
    moment = turning_moment(0.5, 155.68e3, 3.048) / 2.0
    assert moment == pytest.approx(59.314e3, rel=1e-4)
    assert moment / 2.032 == pytest.approx(29.19e3, rel=2e-4)
