"""The forced (locked-frequency) machine: load angle, pull-out, hunting, pull-in."""

from cmath import phase, rect
from math import asin, atan2, cos, degrees, hypot, pi, radians, sin, sqrt

import numpy as np
import pytest
from physics_loops import loaded_until_slip, swing
from scipy.integrate import trapezoid
from scipy.optimize import brentq, fsolve, minimize_scalar
from scipy.special import ellipk

from drivesim.physics.motor import (
    cogging,
    copper_loss,
    electrical_power,
    forced_voltages,
    hunting_frequency,
    load_angle_torque,
    pull_out_angle,
    pull_out_torque,
    ripple_factor,
    start_frequency_limit,
    steady_current,
    torque,
)

# a low-inductance wheel motor; p pole pairs, W electrical rad/s
P, LAM, R, L, V, W = 7, 0.002, 0.05, 20e-6, 4.0, 700.0


def phasors(v_rms, delta, R, X, e_rms):
    """Return (voltage, current) of one phase, peak values in the rotor frame, for a given EMF."""
    we = 377.0
    lam = e_rms * sqrt(2.0) / we
    vd, vq = forced_voltages(v_rms * sqrt(2.0), delta)
    return complex(vd, vq), complex(*steady_current(vd, vq, R, X / we, lam, we))


# -- steady state


@pytest.mark.parametrize(
    ("angle", "expected"), [(0, 1.012611), (30, 1.021998), (60, 0.611441), (90, -0.109050)]
)
def test_torque_at_load_angles(angle, expected):
    # closed form: cylindrical-rotor theory (Fitzgerald; Chapman; from memory)
    assert load_angle_torque(V, radians(angle), R, L, LAM, P, W) == pytest.approx(expected, rel=1e-5)


def test_pull_out_point():
    # closed form, same source
    assert degrees(pull_out_angle(R, L, W)) == pytest.approx(15.6422, rel=1e-5)
    assert pull_out_torque(V, R, L, LAM, P, W) == pytest.approx(1.072527, rel=1e-6)
    id_, iq = steady_current(*forced_voltages(V, pull_out_angle(R, L, W)), R, L, LAM, W)
    assert iq == pytest.approx(51.07273, rel=1e-6)
    assert id_ == pytest.approx(-W * L * W * LAM / (R**2 + (W * L) ** 2), rel=1e-12)  # −X·E/Z² = −7.27003 A
    assert pull_out_torque(V, 0.0, L, LAM, P, W) == pytest.approx(6.0, rel=1e-12)  # lossless textbook formula
    assert pull_out_torque(V, R, L, LAM, P, 0.0) == pytest.approx(1.68, rel=1e-12)


def test_power_balance_at_pull_out():
    vd, vq = forced_voltages(V, pull_out_angle(R, L, W))
    id_, iq = steady_current(vd, vq, R, L, LAM, W)
    electric = electrical_power(vd, vq, id_, iq)
    shaft = torque(iq, P, LAM) * W / P
    assert electric == pytest.approx(306.8484, rel=1e-6)
    assert electric == pytest.approx(shaft + copper_loss(id_ * id_ + iq * iq, R), rel=1e-12)


@pytest.mark.parametrize("resistance", [R, 0.005, 1e-9])
@pytest.mark.parametrize("we", [1.0, 70.0, 700.0, 2000.0, 3333.0, 6000.0])
def test_pull_out_is_the_maximum_over_the_load_angle(resistance, we):
    best = minimize_scalar(
        lambda delta: -load_angle_torque(V, delta, resistance, L, LAM, P, we),
        bounds=(-0.5, 2.0),
        method="bounded",
        options={"xatol": 1e-9},
    )
    scale = 1.5 * P * LAM * V / hypot(resistance, we * L)
    assert pull_out_torque(V, resistance, L, LAM, P, we) == pytest.approx(-best.fun, abs=1e-12 * scale)
    assert pull_out_angle(resistance, L, we) == pytest.approx(best.x, abs=1e-5)


def test_speed_where_pull_out_vanishes():
    # closed form w = V·R/sqrt((lam·R)² − (V·L)²); above V/lam = 2000 by field weakening
    w0 = V * R / sqrt((LAM * R) ** 2 - (V * L) ** 2)
    assert w0 == pytest.approx(3333.333, rel=1e-6)
    assert pull_out_torque(V, R, L, LAM, P, w0) == pytest.approx(0.0, abs=1e-12)
    assert pull_out_torque(V, R, L, LAM, P, 0.99 * w0) > 0.0 > pull_out_torque(V, R, L, LAM, P, 1.01 * w0)


@pytest.mark.parametrize(
    ("horsepower", "delta", "current", "lead"),
    [
        (15.0, 12.42, 27.42, 36.87),
        (30.0, 23.00, 41.29, 15.06),
    ],  # the book prints 12.4, 27.4, 36.87; 23, 41.2, 15
)
def test_chapman_synchronous_motor(horsepower, delta, current, lead):
    # Chapman, Electric Machinery Fundamentals, Example 6-1 (from memory): delta, 208 V, Xs = 2.5 ohm, Ra = 0,
    # EA = 255.1 V, losses 2.5 kW.  Three phases of peak values carry 1.5·V·I, star or delta.
    power = 746.0 * horsepower + 2500.0

    def lack(angle):
        v, i = phasors(208.0, angle, 0.0, 2.5, 255.1)
        return electrical_power(v.real, v.imag, i.real, i.imag) - power

    angle = brentq(lack, 0.0, pi / 2.0)
    v, i = phasors(208.0, angle, 0.0, 2.5, 255.1)
    assert degrees(angle) == pytest.approx(delta, rel=5e-3)
    assert abs(i) / sqrt(2.0) == pytest.approx(current, rel=5e-3)
    assert degrees(phase(i / v)) == pytest.approx(lead, rel=5e-3)
    # the same power by the torque, and the pull-out power 3·V·EA/Xs
    we, p = 377.0, 2
    machine = (208.0 * sqrt(2.0), 0.0, 2.5 / we, 255.1 * sqrt(2.0) / we, p, we)
    assert load_angle_torque(machine[0], angle, *machine[1:]) * we / p == pytest.approx(power, rel=1e-9)
    assert pull_out_torque(*machine) * we / p == pytest.approx(63.67e3, rel=5e-3)


def test_kimberly_synchronous_motor_with_resistance():
    # Kimberly, problem 21-2 (vias.org/kimberlyee/ee_21_10.html): 440 V line, star, 140 A at 0.8 leading,
    # Zs = 0.0931 + j0.3477 ohm; the EMF is 276 V.  Which EMF and load angle make our machine draw that?
    wanted = rect(140.0 * sqrt(2.0), np.arccos(0.8))

    def lack(unknown):
        v, i = phasors(440.0 / sqrt(3.0), unknown[1], 0.0931, 0.3477, unknown[0])
        drawn = i * abs(v) / v  # referred to the voltage
        return [drawn.real - wanted.real, drawn.imag - wanted.imag]

    emf, delta = fsolve(lack, [250.0, 0.1])
    assert emf == pytest.approx(276.0, rel=5e-3)
    assert emf == pytest.approx(276.79, rel=1e-4)
    assert delta > 0.0  # the field leads a motor's rotor


def test_rated_load_angle_of_a_standard_machine():
    # IEC 60034-1 (from memory): 1.35 × rated torque without losing step: rated angle ≤ asin(1/1.35)
    rated = load_angle_torque(V, asin(1.0 / 1.35), 0.0, L, LAM, P, W)
    assert pull_out_torque(V, 0.0, L, LAM, P, W) / rated == pytest.approx(1.35, rel=1e-12)
    assert degrees(asin(1.0 / 1.35)) == pytest.approx(47.8, abs=0.05)


# -- loss of lock in time

J_RAMP, DT = 5e-4, 1e-4


@pytest.mark.parametrize("we", [100.0, 700.0, 1500.0])
def test_slow_load_ramp_loses_lock_at_the_pull_out_torque(we):
    limit = pull_out_torque(V, R, L, LAM, P, we)
    load, when = loaded_until_slip(V, R, L, LAM, P, J_RAMP, we, 0.8 * limit, 1.1 * limit, 20.0, DT, 200_000)
    assert when > 0.0
    assert load == pytest.approx(limit, rel=1e-2)


@pytest.mark.parametrize(("share", "slips"), [(0.98, False), (1.02, True)])
@pytest.mark.parametrize("we", [100.0, 700.0, 1500.0])
def test_load_beside_the_pull_out_torque(we, share, slips):
    limit = pull_out_torque(V, R, L, LAM, P, we)
    _, when = loaded_until_slip(V, R, L, LAM, P, J_RAMP, we, 0.8 * limit, share * limit, 5.0, DT, 150_000)
    assert (when > 0.0) is slips


# -- hunting and pull-in: a field of constant torque amplitude

T_PEAK, J_HUNT = 0.05, 2e-5
I_PEAK = T_PEAK / (1.5 * P * LAM)


def swing_frequency(amplitude, load_share):
    """Return the frequency [rad/s] of a swing by ``amplitude`` [rad electrical] about the loaded rest."""
    rest = asin(load_share)
    expected = hunting_frequency(T_PEAK, load_share * T_PEAK, P, J_HUNT)
    dt = 2.0 * pi / expected / 4000.0
    angles = swing(I_PEAK, LAM, P, J_HUNT, load_share * T_PEAK, rest + amplitude, 0.0, 0.0, dt, 60_000)
    offset = angles - rest
    up = np.flatnonzero((offset[:-1] < 0.0) & (offset[1:] >= 0.0))
    crossing = (up - offset[up] / (offset[up + 1] - offset[up])) * dt
    return 2.0 * pi * (crossing.size - 1) / (crossing[-1] - crossing[0])


@pytest.mark.parametrize(("load_share", "factor"), [(0.0, 1.0), (0.5, 0.930605), (0.9, 0.660220)])
def test_small_hunting(load_share, factor):
    # Acarnley, Stepping Motors (from memory): sqrt(p·T·cos(delta0)/J) = 132.2876 rad/s unloaded
    formula = hunting_frequency(T_PEAK, load_share * T_PEAK, P, J_HUNT)
    assert formula == pytest.approx(132.2876 * factor, rel=1e-5)
    assert swing_frequency(radians(0.2), load_share) == pytest.approx(formula, rel=1e-4)


@pytest.mark.parametrize(("amplitude", "factor"), [(10, 0.998096), (60, 0.931808), (90, 0.847213)])
def test_wide_hunting_is_a_pendulum(amplitude, factor):
    # closed form of the pendulum, f/f0 = (pi/2)/K(m)
    assert pi / 2.0 / ellipk(sin(radians(amplitude) / 2.0) ** 2) == pytest.approx(factor, rel=1e-5)
    measured = swing_frequency(radians(amplitude), 0.0) / hunting_frequency(T_PEAK, 0.0, P, J_HUNT)
    assert measured == pytest.approx(factor, rel=1e-4)


def test_start_frequency_limit():
    # closed form: separatrix of the undamped pendulum
    limit = start_frequency_limit(T_PEAK, P, J_HUNT)
    assert limit == pytest.approx(264.575, rel=1e-5)
    assert limit / (2.0 * pi) == pytest.approx(42.108, rel=2e-5)
    assert limit / P * 60.0 / (2.0 * pi) == pytest.approx(360.93, rel=1e-5)
    locked = swing(I_PEAK, LAM, P, J_HUNT, 0.0, 0.0, 0.995 * limit, 0.0, 1e-6, 500_000)
    lost = swing(I_PEAK, LAM, P, J_HUNT, 0.0, 0.0, 1.005 * limit, 0.0, 1e-6, 500_000)
    assert np.max(np.abs(locked)) == pytest.approx(2.0 * asin(0.995), rel=1e-5)  # < pi
    assert np.max(lost) > 2.0 * pi


# -- disturbances


def test_cogging_pulls_back_and_stores_energy():
    n, amplitude = 42, 0.003
    angle = np.linspace(0.0, 2.0 * pi, 100_001)
    values = np.array([cogging(amplitude, n, a) for a in angle])
    assert values.max() == pytest.approx(amplitude, rel=1e-6)
    assert cogging(amplitude, n, 1e-3) < 0.0 < cogging(amplitude, n, -1e-3)
    assert trapezoid(values, angle) == pytest.approx(0.0, abs=1e-12)
    assert np.count_nonzero(np.diff(np.sign(values[1:-1])) < 0) == n - 1  # rests, not counting angle 0


def test_ripple_has_six_waves_and_mean_one():
    angle = np.arange(3600) / 3600.0 * 2.0 * pi
    values = np.array([ripple_factor(0.05, a) for a in angle])
    spectrum = np.abs(np.fft.rfft(values)) / values.size
    assert spectrum[0] == pytest.approx(1.0, rel=1e-12)
    assert spectrum[6] == pytest.approx(0.025, rel=1e-9)
    assert spectrum[1:6].max() < 1e-12 > spectrum[7:].max()


def test_forced_field_leads_by_the_load_angle():
    # the d axis is at 0, the EMF's q axis at 90 degrees; the field stands delta ahead of the EMF
    vd, vq = forced_voltages(3.0, 0.4)
    assert hypot(vd, vq) == pytest.approx(3.0)
    assert atan2(vq, vd) == pytest.approx(pi / 2.0 + 0.4)
    assert vq == pytest.approx(3.0 * cos(0.4))
