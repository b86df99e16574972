"""Dry friction, contact force and the rigid body against closed forms and scipy."""

from math import atan2, cos, exp, log, pi, sin

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from physics_loops import coast_down, quick, tumble
from scipy.spatial.transform import Rotation

from drivesim.physics.body import (
    angular_acceleration,
    circulating,
    cross,
    kinetic_energy,
    roll_pitch_yaw,
    rotation,
    turned,
)
from drivesim.physics.contact import (
    dry_friction,
    misalignment_drag,
    normal_force,
    share_corner,
    viscous_friction,
)

unit = st.floats(-1.0, 1.0)
rate = st.floats(-40.0, 40.0)


@st.composite
def quaternions(draw):
    q = np.array([draw(unit) for _ in range(4)])
    size = np.linalg.norm(q)
    assume(size > 0.1)
    return tuple(float(part) for part in q / size)


def as_scipy(q):
    return Rotation.from_quat([q[1], q[2], q[3], q[0]])


# -- friction and contact


@quick
@given(st.floats(-200.0, 200.0), st.floats(0.0, 0.5), st.floats(1e-6, 1e-2), st.floats(1e-6, 1e-2))
def test_dry_friction_never_reverses(speed, limit, J, dt):
    after = dry_friction(speed, limit, J, dt)
    assert after * speed >= 0.0
    assert abs(after) <= abs(speed)
    change = limit * dt / J
    assert abs(after) == pytest.approx(max(0.0, abs(speed) - change), abs=1e-12 * (1.0 + abs(speed)))
    if abs(speed) <= change:
        assert after == 0.0


def test_dry_friction_holds_a_load_below_its_limit():
    speed, J, dt, limit = 0.0, 1e-4, 1e-3, 0.01
    for _ in range(100):
        speed = dry_friction(speed + 0.0099 * dt / J, limit, J, dt)
    assert speed == 0.0
    for _ in range(100):
        speed = dry_friction(speed + 0.0110 * dt / J, limit, J, dt)
    assert speed == pytest.approx(0.001 * 100 * dt / J, rel=1e-9)


def test_coulomb_coast_down_is_exact():
    speeds = coast_down(50.0, 0.002, 0.0, 1e-4, 1e-3, 4000)
    t = np.arange(speeds.size) * 1e-3
    assert speeds == pytest.approx(np.maximum(0.0, 50.0 - 20.0 * t), abs=1e-10)
    assert speeds[-1] == 0.0


@pytest.mark.parametrize("direction", [1.0, -1.0])
def test_coast_down_with_drag(direction):
    # closed form: w = (w0 + Tc/b)·exp(−b·t/J) − Tc/b until it stops at J/b·ln(1 + b·w0/Tc)
    w0, coulomb, b, J = 80.0, 0.003, 2e-4, 1e-4
    stop = J / b * log(1.0 + b * w0 / coulomb)

    def error(dt):
        speeds = direction * coast_down(direction * w0, coulomb, b, J, dt, round(2.0 * stop / dt))
        t = np.arange(speeds.size) * dt
        exact = np.where(t < stop, (w0 + coulomb / b) * np.exp(-b * t / J) - coulomb / b, 0.0)
        assert np.argmin(speeds) * dt == pytest.approx(stop, abs=3.0 * dt)
        assert np.all(speeds[np.argmin(speeds) :] == 0.0)  # and stays at rest
        return np.max(np.abs(speeds - exact))

    assert error(1e-4) < 1e-4 * w0
    assert error(2e-4) / error(1e-4) == pytest.approx(2.0, rel=0.05)


def test_viscous_friction_decays_at_any_step():
    assert viscous_friction(10.0, 1e-3, 1e-4, 1e-6) == pytest.approx(10.0 * exp(-1e-5), rel=1e-9)
    assert 0.0 < viscous_friction(10.0, 1e-3, 1e-4, 1e6) < 1e-5


@quick
@given(st.floats(-0.01, 0.01), st.floats(-5.0, 5.0), st.floats(0.0, 1e5), st.floats(0.0, 100.0))
def test_contact_never_pulls(depth, depth_rate, k, c):
    force = normal_force(depth, depth_rate, k, c)
    assert force >= 0.0
    if depth <= 0.0:
        assert force == 0.0
    assert normal_force(depth, depth_rate + 0.1, k, c) >= force  # pressing in faster never gives less


def test_contact_force_values():
    assert normal_force(0.002, 0.0, 5e3, 20.0) == pytest.approx(10.0)
    assert normal_force(0.002, 0.1, 5e3, 20.0) == pytest.approx(12.0)
    assert normal_force(0.002, -0.1, 5e3, 20.0) == pytest.approx(8.0)
    assert normal_force(0.002, -1.0, 5e3, 20.0) == 0.0


def test_bearing_out_of_line_drags_either_way():
    assert misalignment_drag(0.02, 0.5) == pytest.approx(0.01, rel=1e-12)
    assert misalignment_drag(-0.02, 0.5) == misalignment_drag(0.02, 0.5)
    assert misalignment_drag(0.0, 0.5) == 0.0


# -- attitude


@quick
@given(quaternions())
def test_rotation_matrix_against_scipy(q):
    assert np.reshape(rotation(*q), (3, 3)) == pytest.approx(as_scipy(q).as_matrix(), abs=1e-12)


@quick
@given(quaternions(), rate, rate, rate, st.floats(1e-6, 0.1))
def test_turned_against_scipy(q, wx, wy, wz, dt):
    # angular velocity in body axes: the increment acts on the right
    expected = as_scipy(q) * Rotation.from_rotvec([wx * dt, wy * dt, wz * dt])
    after = turned(*q, wx, wy, wz, dt)
    assert np.linalg.norm(after) == pytest.approx(1.0, rel=1e-14)
    assert as_scipy(after).as_matrix() == pytest.approx(expected.as_matrix(), abs=1e-12)


def test_turned_by_almost_nothing():
    for w in (0.0, 1e-9, 1.9e-3, 2.1e-3):  # both sides of the series' switch at half·dt = 1e-4
        after = turned(1.0, 0.0, 0.0, 0.0, 0.0, w, 0.0, 0.1)
        assert after == pytest.approx((cos(0.05 * w), 0.0, sin(0.05 * w), 0.0), rel=1e-14, abs=0.0)


@quick
@given(st.floats(-3.1, 3.1), st.floats(-1.5, 1.5), st.floats(-3.1, 3.1))
def test_roll_pitch_yaw_round_trip(roll, pitch, yaw):
    # ISO 8855: yaw about z, then pitch about the new y, then roll about the new x
    x, y, z, w = Rotation.from_euler("ZYX", [yaw, pitch, roll]).as_quat()
    assert roll_pitch_yaw(w, x, y, z) == pytest.approx((roll, pitch, yaw), abs=1e-9)


def test_signs_of_attitude():
    # positive pitch puts the nose down, positive roll the left side up, positive yaw the nose to the left
    def axes(wx, wy, wz):
        return np.reshape(rotation(*turned(1.0, 0.0, 0.0, 0.0, wx, wy, wz, 1.0)), (3, 3))

    assert axes(0.0, 0.1, 0.0)[2, 0] < 0.0  # world z of the body's x axis
    assert axes(0.1, 0.0, 0.0)[2, 1] > 0.0  # world z of the body's y axis (left)
    assert axes(0.0, 0.0, 0.1)[1, 0] > 0.0  # world y of the body's x axis
    assert roll_pitch_yaw(*turned(1.0, 0.0, 0.0, 0.0, 0.1, 0.0, 0.0, 1.0)) == pytest.approx(
        (0.1, 0.0, 0.0), abs=1e-12
    )
    assert roll_pitch_yaw(*turned(1.0, 0.0, 0.0, 0.0, 0.0, 0.1, 0.0, 1.0)) == pytest.approx(
        (0.0, 0.1, 0.0), abs=1e-12
    )
    assert roll_pitch_yaw(*turned(1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.1, 1.0)) == pytest.approx(
        (0.0, 0.0, 0.1), abs=1e-12
    )


def test_straight_nose_down_is_finite():
    half = pi / 4.0
    roll, pitch, yaw = roll_pitch_yaw(cos(half), 0.0, sin(half) * (1.0 + 1e-15), 0.0)
    assert pitch == pytest.approx(pi / 2.0, abs=1e-7)
    assert np.isfinite([roll, yaw]).all()


# -- rigid body


@quick
@given(*[st.floats(-5.0, 5.0)] * 6)
def test_cross_product(ax, ay, az, bx, by, bz):
    assert cross(ax, ay, az, bx, by, bz) == pytest.approx(
        tuple(np.cross([ax, ay, az], [bx, by, bz])), abs=1e-12
    )


@quick
@given(*[st.floats(-5.0, 5.0)] * 6)
def test_euler_equations_against_vectors(wx, wy, wz, tx, ty, tz):
    # closed form: I·dw/dt = t − w × (I·w)
    inertia, w, t = np.array([0.02, 0.03, 0.045]), np.array([wx, wy, wz]), np.array([tx, ty, tz])
    expected = (t - np.cross(w, inertia * w)) / inertia
    assert angular_acceleration(*w, *t, *inertia) == pytest.approx(tuple(expected), rel=1e-9, abs=1e-9)
    power = np.dot(inertia * w, angular_acceleration(*w, *t, *inertia))
    assert power == pytest.approx(np.dot(t, w), abs=1e-9)  # the gyroscopic part does no work


def test_kinetic_energy():
    assert kinetic_energy(2.0, 1.0, 2.0, 3.0, 0.1, 0.2, 0.3, 4.0, 5.0, 6.0) == pytest.approx(
        0.5 * 2.0 * 14.0 + 0.5 * (1.6 + 5.0 + 10.8), rel=1e-12
    )


def test_free_body_keeps_energy_and_momentum_to_the_order_of_the_step():
    inertia, w, q = (0.02, 0.03, 0.045), (3.0, 4.0, -2.0), (1.0, 0.0, 0.0, 0.0)

    def drift(dt):
        _, momentum, energy = tumble(inertia, w, q, dt, round(5.0 / dt))
        moved = np.linalg.norm(momentum - momentum[0], axis=1).max() / np.linalg.norm(momentum[0])
        return np.array([moved, np.abs(energy / energy[0] - 1.0).max()])

    coarse, fine = drift(2e-4), drift(1e-4)
    assert np.all(fine < 2e-3)
    assert coarse / fine == pytest.approx(np.array([2.0, 2.0]), rel=0.1)


def test_precession_of_a_symmetric_top():
    # closed form: the axis goes round the angular momentum at L/I1, and w round the axis at (I3 − I1)/I1·w3
    I1, I3, w1, w3, dt, steps = 0.02, 0.035, 2.0, 5.0, 1e-5, 200_000
    lean = atan2(I1 * w1, I3 * w3)
    start = (cos(lean / 2.0), 0.0, -sin(lean / 2.0), 0.0)  # the angular momentum straight up
    attitude, momentum, _ = tumble((I1, I1, I3), (w1, 0.0, w3), start, dt, steps)
    assert momentum[0] == pytest.approx([0.0, 0.0, np.hypot(I1 * w1, I3 * w3)], abs=1e-12)
    frames = [np.reshape(rotation(*q), (3, 3)) for q in attitude[:: steps // 200]]
    turn = np.unwrap([atan2(m[1, 2], m[0, 2]) for m in frames])
    assert (turn[-1] - turn[0]) / (dt * steps) == pytest.approx(momentum[0, 2] / I1, rel=1e-3)
    assert [m[2, 2] for m in frames] == pytest.approx([cos(lean)] * len(frames), abs=1e-3)
    in_body = [m.T @ momentum[0] for m in frames]
    wobble = np.unwrap([atan2(v[1], v[0]) for v in in_body])
    assert (wobble[-1] - wobble[0]) / (dt * steps) == pytest.approx((I3 - I1) / I1 * w3, rel=1e-3)


def test_circulating_is_what_works_against_itself():
    # closed form: of 3, 1 and −2 N the −2 is cancelled by 2 of the others
    for forces, expected in (([3.0, 1.0, -2.0], 2.0), ([1.0, 2.0, 3.0], 0.0), ([2.0, -2.0], 2.0)):
        assert circulating(sum(map(abs, forces)), abs(sum(forces))) == pytest.approx(expected)


DEPTHS = st.floats(-2e-3, 2e-3)


@given(a=DEPTHS, b=DEPTHS, angle=st.floats(0.05, 3.0))
def test_corner_leads_to_the_nearest_place_that_both_planes_allow(a, b, angle):
    """Convex optimisation: the nearest point of two half-planes, by the Karush-Kuhn-Tucker conditions."""
    cosine = cos(angle)
    share_a, share_b = share_corner(a, b, cosine)
    assert share_a >= 0
    assert share_b >= 0
    left_a = a - share_a - share_b * cosine  # how far beyond each plane it still is after the move
    left_b = b - share_b - share_a * cosine
    assert left_a <= 1e-12
    assert left_b <= 1e-12
    assert abs(share_a * left_a) < 1e-12
    assert abs(share_b * left_b) < 1e-12


def test_a_way_round_in_a_corner_makes_no_energy():
    """The force k·(a·n_a + b·n_b) is the slope of half its square: work over any closed way is zero."""
    angle, k = 1.1, 3e3
    n_a, n_b = np.array([0.0, 1.0]), np.array([-sin(angle), cos(angle)])
    phase = np.linspace(0.0, 2 * pi, 20001)
    way = np.column_stack([1e-3 * np.cos(phase), -0.4e-3 + 1e-3 * np.sin(phase)])
    forces = []
    for hub in way:
        a, b = share_corner(-hub @ n_a, -hub @ n_b, n_a @ n_b)
        forces.append(k * (a * n_a + b * n_b))
    work = np.sum(0.5 * (np.array(forces[1:]) + np.array(forces[:-1])) * np.diff(way, axis=0))
    assert abs(work) < 1e-6 * 0.5 * k * (1e-3) ** 2
