"""The self-commutated wheel is a DC machine seen from outside."""

import control
import numpy as np
import pytest
from physics_loops import dc_as_synchronous, regulated_speed
from scipy.optimize import brentq

from drivesim.physics.motor import (
    dc_speed_for_torque,
    mechanical_time_constant,
    stall_torque,
    steady_current,
    torque,
)

# "DC Motor Speed", Control Tutorials, University of Michigan (Michigan, Carnegie Mellon, Detroit Mercy)
J, B, K, R, L = 0.01, 0.1, 0.01, 1.0, 0.5
PLANT = control.tf([K], [J * L, J * R + B * L, B * R + K * K])

# The cross coupling we·L·id of a dq machine has no place in a DC machine.  It is (we·L/R)² of the resistance;
# few "pole pairs" with more flux each make it vanish while Ke = p·lam stays.
FEW_POLES = 0.01


def tutorial_run(voltage, target, gains, dt, duration, every, p=FEW_POLES):
    Rs, Ls, lam = dc_as_synchronous(R, L, K, p)
    steps = round(duration / dt)
    speeds, currents = regulated_speed(Rs, Ls, lam, p, J, B, voltage, target, *gains, dt, steps, every)
    return np.arange(speeds.size) * dt * every, speeds, 1.5 * currents


def test_open_loop_step_of_the_tutorial_motor():
    t, speed, current = tutorial_run(1.0, 0.0, (0.0, 0.0, 0.0), 1e-5, 6.0, 100)
    assert sorted(PLANT.poles().real) == pytest.approx(
        [-9.997499, -2.002501], rel=1e-6
    )  # tutorial: -10 and -2
    assert speed[-1] == pytest.approx(0.1, rel=2e-3)  # the tutorial's rounded 0.1 rad/s
    assert speed[-1] == pytest.approx(0.0999001, rel=1e-4)
    assert current[-1] == pytest.approx(0.999001, rel=1e-4)
    assert speed[1000] == pytest.approx(0.0830371, rel=1e-3)  # at 1 s
    measured = control.step_info(speed, T=t, yfinal=speed[-1])
    assert measured["SettlingTime"] == pytest.approx(2.07, rel=5e-3)  # tutorial 2.07 s
    assert measured["RiseTime"] == pytest.approx(1.135, rel=5e-3)
    assert measured["Overshoot"] == pytest.approx(0.0, abs=1e-6)
    reference = control.step_response(PLANT, T=t).outputs
    assert np.max(np.abs(speed - reference)) < 1e-4 * reference[-1]


@pytest.mark.parametrize(
    ("gains", "duration", "dt", "final", "overshoot", "settling", "rise"),
    [
        # gains of "DC Motor Speed: PID Controller Design" (same tutorials); figures recomputed from its plant
        ((100.0, 0.0, 0.0), 5.0, 1e-5, 0.909008, 24.92, 0.567, 0.0991),
        ((100.0, 200.0, 0.0), 5.0, 1e-5, 1.0, 30.49, 0.774, 0.0986),
        ((100.0, 200.0, 10.0), 5.0, 1e-5, 1.0, 1.028, 0.257, 0.1324),
        ((75.0, 1.0, 1.0), 600.0, 1e-4, 1.0, 0.499, 150.1, 0.157),
    ],
)
def test_closed_loop_of_the_tutorial_motor(gains, duration, dt, final, overshoot, settling, rise):
    t, speed, _ = tutorial_run(0.0, 1.0, gains, dt, duration, round(1e-3 / dt))
    assert speed[-1] == pytest.approx(final, rel=2e-3)
    measured = control.step_info(speed, T=t, yfinal=final)
    assert measured["SettlingTime"] == pytest.approx(settling, rel=1e-2)
    assert measured["RiseTime"] == pytest.approx(rise, rel=1.5e-2)  # read from samples 1 ms apart
    assert speed.max() / final == pytest.approx(1.0 + overshoot / 100.0, rel=3e-4)
    Kp, Ki, Kd = gains
    controller = control.tf([Kd, Kp, Ki], [1, 0]) if Ki else control.tf([Kp], [1])
    sample = slice(None, None, max(1, t.size // 5000))
    reference = control.step_response(control.feedback(controller * PLANT, 1), T=t[sample]).outputs
    assert np.max(np.abs(speed[sample] - reference)) < 1e-3


def test_cross_coupling_lowers_the_tutorial_motor_as_the_dq_equations_say():
    # one real pole pair: (we·L/R)² is 0.25 % here, and the run settles on the steady dq solution
    _, speed, current = tutorial_run(1.0, 0.0, (0.0, 0.0, 0.0), 1e-4, 10.0, 100, p=1.0)
    Rs, Ls, lam = dc_as_synchronous(R, L, K, 1.0)

    def balance(w):
        return torque(steady_current(0.0, 1.0, Rs, Ls, lam, w)[1], 1.0, lam) - B * w

    expected = brentq(balance, 0.0, 1.0, xtol=1e-15)
    assert speed[-1] == pytest.approx(expected, rel=1e-8)
    assert 1.0 - current[-1] / 0.999001 == pytest.approx((expected * L / R) ** 2, rel=0.01)


def test_torque_speed_line_and_best_efficiency():
    # closed form of the DC machine (any motor text, from memory): V = 12, R = 0.5, Kt = Ke = 0.03, Tf = 0.006
    p, V, Tf, Kt = 7.0, 12.0, 0.006, 0.03
    Rs, _, lam = dc_as_synchronous(0.5, 0.0, Kt, p)
    stall = stall_torque(V, Rs, lam, p)
    assert stall == pytest.approx(0.72, rel=1e-6)
    assert dc_speed_for_torque(stall, V, Rs, lam, p) == pytest.approx(0.0, abs=1e-9)
    no_load = dc_speed_for_torque(Tf, V, Rs, lam, p)
    assert no_load == pytest.approx(396.6667, rel=1e-6)
    half_net = (stall - Tf) / 2.0
    speed = dc_speed_for_torque(half_net + Tf, V, Rs, lam, p)
    assert speed == pytest.approx(198.333, rel=1e-5)
    assert half_net * speed == pytest.approx(70.805, rel=1e-5)  # greatest shaft power
    current = 2.190890  # sqrt(I0·I_stall)
    best = (Kt * current - Tf) * dc_speed_for_torque(Kt * current, V, Rs, lam, p) / (V * current)
    assert best == pytest.approx(0.825759, rel=1e-6)
    assert mechanical_time_constant(Rs, 1e-4, lam, p) == pytest.approx(55.556e-3, rel=1e-4)
    # the line is the steady dq machine wherever the cross coupling is nil
    iq = steady_current(0.0, V, Rs, 1e-12, lam, p * speed)[1]
    assert torque(iq, p, lam) == pytest.approx(half_net + Tf, rel=1e-9)
