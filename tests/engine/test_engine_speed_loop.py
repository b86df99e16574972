"""The sampled speed loop of a free wheel against python-control and against a few plain lines."""

import math

import control
import numpy as np
import pytest
from engine_rovers import IN_THE_AIR, held_up, ideal
from hypothesis import given, settings
from hypothesis import strategies as st

from drivesim.drive.pi import BACK_CALCULATION, CONDITIONAL, pi_step
from drivesim.engine.simulate import run_model

# the ideal rover's wheel: Kt = 1.5·p·lam, Ke = p·lam, as a plant gain/(tau·s + 1) from voltage to speed
KT, KE, R, INERTIA = 1.5 * 0.014, 0.014, 1.0, 1e-4
GAIN, TAU = 1 / KE, INERTIA * R / (KT * KE)
KP, KI, TS, DT = 0.1, 2.0, 5e-3, 5e-5
LIMIT = 4.0  # V: half of an 8 V bus


def loop(commands, duration, **drive):
    """Return set-point and wheel speed at every sample, wheel 0 forward and wheel 1 backward."""
    scenario = ideal(
        IN_THE_AIR
        | {
            "rover.battery.open_circuit": [[0, "8 V"], [1, "8 V"]],
            "drive": {
                "strategy": "speed_loop",
                "proportional": f"{KP} V*s/rad",
                "integral": f"{KI} V/rad",
                "sample_time": f"{TS} s",
                "sensor": {"kind": "ideal"},
                **drive,
            },
            "commands": [{"at": f"{t} s", "left": f"{w} rad/s", "right": f"{-w} rad/s"} for t, w in commands],
            "duration": f"{duration} s",
            "record_every": f"{DT} s",
        }
    )
    speed = run_model(held_up(scenario, DT)).wheels["wheel_speed"]
    ticks = round(TS / DT)
    return np.vstack([np.zeros((1, 4)), speed[ticks - 1 :: ticks]])


def plain_pi(error, integral, forward, low, high, back):
    """Return voltage and integral of one sample, written out anew."""
    candidate = integral + KI * TS * error
    voltage = forward + KP * error + candidate
    held = min(max(voltage, low), high)
    if held == voltage:
        return held, candidate
    if back:
        return held, candidate + TS * KI / KP * (held - voltage)
    pushes_further = (error > 0) == (voltage > high)
    return held, integral if pushes_further else candidate


def plain_loop(commands, duration, back=False, slew=math.inf, forward=0.0, lowest=-LIMIT):
    """Return the speed at every sample of the loop around the exactly discretised first-order plant."""
    keep = math.exp(-TS / TAU)
    speed, integral, setpoint, speeds = 0.0, 0.0, 0.0, [0.0]
    for k in range(round(duration / TS)):
        target = [w for t, w in commands if t <= k * TS + 1e-9][-1]
        setpoint += min(max(target - setpoint, -slew * TS), slew * TS)
        voltage, integral = plain_pi(setpoint - speed, integral, forward * setpoint, lowest, LIMIT, back)
        speed = keep * speed + (1 - keep) * GAIN * voltage
        speeds.append(speed)
    return np.array(speeds)


def test_step_response_against_python_control():
    """Sampled PI and zero-order hold around the DC machine; no limit is met."""
    plant = control.sample_system(control.tf([GAIN], [TAU, 1]), TS, method="zoh")
    regulator = control.tf([KP + KI * TS, -KP], [1, -1], TS)  # the integral takes in the present error
    times = np.arange(201) * TS
    _, expected = control.step_response(control.feedback(plant * regulator), T=times)
    target = 30.0
    speed = loop([(0, target)], 1.0)
    assert np.abs(speed[:, 0] - target * expected).max() < 2e-3 * target
    assert np.array_equal(speed[:, 1], -speed[:, 0])
    assert expected.max() > 1.1  # a response with an overshoot worth comparing


UP_AND_DOWN = [(0, 200.0), (0.8, 60.0)]


@pytest.mark.parametrize("anti_windup", ["conditional", "back_calculation"])
def test_anti_windup_at_the_bus_limit(anti_windup):
    back = anti_windup == "back_calculation"
    expected = plain_loop(UP_AND_DOWN, 1.6, back)
    speed = loop(UP_AND_DOWN, 1.6, anti_windup=anti_windup)[:, 0]
    assert np.abs(speed - expected).max() < 2e-3 * 200
    assert (
        np.abs(expected - plain_loop(UP_AND_DOWN, 1.6, not back)).max() > 4
    )  # the two kinds can be told apart


def test_slew_feed_forward_and_no_braking():
    options = {"slew": "300 rad/s^2", "feed_forward": f"{KE} V*s/rad", "braking": False}
    expected = plain_loop(UP_AND_DOWN, 1.6, slew=300, forward=KE, lowest=0.0)
    speed = loop(UP_AND_DOWN, 1.6, **options)
    assert np.abs(speed[:, 0] - expected).max() < 2e-3 * 200
    assert np.abs(expected - plain_loop(UP_AND_DOWN, 1.6, slew=300, forward=KE)).max() > 2
    assert np.array_equal(speed[:, 1], -speed[:, 0])


@settings(deadline=None, derandomize=True, max_examples=300)
@given(
    error=st.floats(-50, 50), integral=st.floats(-10, 10), forward=st.floats(-5, 5), low=st.floats(-6, 0),
    high=st.floats(0, 6), back=st.booleans(),
)  # fmt: skip
def test_pi_step_against_plain_lines(error, integral, forward, low, high, back):
    kind = BACK_CALCULATION if back else CONDITIONAL
    found = pi_step(error, integral, forward, KP, KI, low, high, kind, TS)
    assert found == pytest.approx(plain_pi(error, integral, forward, low, high, back), abs=1e-12)
    assert low <= found[0] <= high
