"""What sizing asks of physics: inverses of torque, axles at a step's corner, what a friction ellipse leaves."""

from math import asin, cos, hypot, radians, sin

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from physics_loops import quick

from drivesim.physics.motor import (
    load_angle_for_torque,
    load_angle_torque,
    pull_out_angle,
    pull_out_torque,
    steady_current,
    torque,
    voltage_for_torque,
)
from drivesim.physics.obstacle import (
    corner,
    friction_for_front_axle,
    front_axle_at_step,
    front_load_at_step,
    rear_axle_at_step,
)
from drivesim.physics.tyre import brush_share, brush_use, side_force_beside, within_ellipse

# a low-inductance wheel motor; p pole pairs, W electrical rad/s
P, LAM, R, L, V, W = 7, 0.002, 0.05, 20e-6, 4.0, 700.0


@pytest.mark.parametrize(("degrees", "expected"), [(0.0, 1.012611), (-30.0, None), (-80.0, None)])
def test_load_angle_of_a_torque_is_the_inverse_before_pull_out(degrees, expected):
    # closed form, cylindrical-rotor theory; at 0 deg the table's 1.012611 N·m (derived, recomputed)
    made = load_angle_torque(V, radians(degrees), R, L, LAM, P, W)
    if degrees == 0.0:
        assert made == pytest.approx(expected, rel=1e-6)
    assert load_angle_for_torque(made, V, R, L, LAM, P, W) == pytest.approx(radians(degrees), abs=1e-9)


def test_load_angle_of_too_great_a_torque_is_that_of_pull_out():
    most = pull_out_torque(V, R, L, LAM, P, W)
    assert most == pytest.approx(1.072527, rel=1e-6)  # closed form, same machine
    peak = pull_out_angle(R, L, W)
    assert load_angle_for_torque(1.01 * most, V, R, L, LAM, P, W) == peak
    assert load_angle_for_torque(most, V, R, L, LAM, P, W) == pytest.approx(peak, abs=1e-6)
    assert load_angle_for_torque(0.999 * most, V, R, L, LAM, P, W) < peak


@quick
@given(st.floats(-0.5, 0.5), st.floats(0.0, 2000.0))
def test_voltage_of_a_torque_is_the_inverse_of_the_torque(T, we):
    amplitude = voltage_for_torque(T, R, L, LAM, P, we)
    assert torque(steady_current(0.0, amplitude, R, L, LAM, we)[1], P, LAM) == pytest.approx(T, abs=1e-12)


def test_front_axle_at_its_friction_limit_is_the_published_balance():
    # closed form, three balances: h = 20 mm needs mu = 0.4 on L = 0.2, b = 0.1, r = 0.05; N_front/W = 0.43103
    r, h, base, ahead, weight = 0.05, 0.02, 0.2, 0.1, 40.0
    mu = friction_for_front_axle(r, h, base, ahead)
    assert mu == pytest.approx(0.4, rel=1e-5)
    front, rear, push = front_axle_at_step(weight, mu * 0.43103 * weight, r, h, base, ahead)
    assert front == pytest.approx(0.43103 * weight, rel=1e-4)
    assert front == pytest.approx(front_load_at_step(weight, mu, r, h), rel=1e-4)
    assert push == pytest.approx(mu * rear, rel=1e-4)


@quick
@given(
    st.floats(0.01, 0.2), st.floats(0.01, 0.9), st.floats(2.2, 8.0), st.floats(0.2, 0.8), st.floats(0.0, 0.5),
    st.floats(0.0, 1.0),
)  # fmt: skip
def test_both_axles_are_in_balance_about_the_centre_of_gravity(r, share, base, centre, high, pull):
    """Forces and moments taken anew about the centre of gravity, the geometry from a drawing."""
    h, L = share * r, base * r
    b, z, weight, F = centre * L, high * r, 40.0, pull * 20.0
    s, c = corner(r, h)
    normal, along = np.array([-s, c]), np.array([c, s])

    front, rear, push = front_axle_at_step(weight, F, r, h, L, b)
    at_front, at_rear, mass = np.array([L + r * s, h]), np.array([0.0, 0.0]), np.array([b, r + z])
    forces = [(front * normal + F * along, at_front), (np.array([push, rear]), at_rear)]
    assert_balanced(forces, mass, weight)

    lean = asin(h / L)
    rear_hub = np.array([0.0, r])
    front_hub = rear_hub + L * np.array([cos(lean), sin(lean)])
    mass = rear_hub + b * np.array([cos(lean), sin(lean)]) + z * np.array([-sin(lean), cos(lean)])
    front, rear, along_rear = rear_axle_at_step(weight, F, r, h, L, b, z)
    forces = [
        (np.array([F, front]), front_hub - [0.0, r]),
        (rear * normal + along_rear * along, rear_hub - r * normal),
    ]
    assert_balanced(forces, mass, weight)


def assert_balanced(forces, mass, weight):
    total = sum(force for force, _ in forces) + np.array([0.0, -weight])
    arms = [place - mass for _, place in forces]
    moment = sum(arm[0] * force[1] - arm[1] * force[0] for arm, (force, _) in zip(arms, forces, strict=True))
    size = max(hypot(*force) for force, _ in forces) + weight
    assert total == pytest.approx([0.0, 0.0], abs=1e-9 * size)
    assert moment == pytest.approx(0.0, abs=1e-9 * size)


def test_what_a_friction_ellipse_leaves():
    # closed form: 60 % along leaves 80 % across
    assert side_force_beside(6.0, 10.0, 5.0) == pytest.approx(4.0, rel=1e-12)
    assert side_force_beside(-6.0, 10.0, 5.0) == pytest.approx(4.0, rel=1e-12)
    assert side_force_beside(10.0, 10.0, 5.0) == 0.0
    assert within_ellipse(6.0, 4.0, 10.0, 5.0) == pytest.approx((6.0, 4.0), rel=1e-12)


@quick
@given(st.floats(0.0, 1.0))
def test_use_of_a_brush_is_the_inverse_of_its_share(xi):
    assert brush_use(brush_share(xi)) == pytest.approx(xi, abs=1e-5)
    # at friction's worth of slip, xi = 1/3, the brush gives 19/27 (Pacejka, from memory)
    assert brush_use(19.0 / 27.0) == pytest.approx(1.0 / 3.0, rel=1e-12)
