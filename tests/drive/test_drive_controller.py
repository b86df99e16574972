"""When a controller samples and when its output takes effect; steps of its duty, aligning, starting anew."""

from __future__ import annotations

import math

import numpy as np
import pytest
from drive_records import DT, parameters, samples, states

from drivesim.drive import controller
from drivesim.engine import records

TICKS = 20  # a sample


def test_without_clock_error_a_controller_samples_at_every_whole_multiple():
    p, w = parameters()[0], states()[0]
    assert [t for t in range(200) if controller.due(p, w, t)] == list(range(0, 200, TICKS))


@pytest.mark.parametrize("ppm", [200, 1000])
def test_two_clocks_drift_apart(ppm):
    """After N samples the one with a clock fast by e is N·Ts·e/(1 + e) ahead; each is exact to a tick."""
    p, w = parameters(2, clock_error=(0.0, ppm * 1e-6)), states(2)
    last, count = np.zeros(2), np.zeros(2, int)
    for tick in range(100_000):
        for i in range(2):
            if count[i] < 4_000 and controller.due(p[i], w[i], tick):
                last[i], count[i] = tick, count[i] + 1
    assert count.tolist() == [4_000, 4_000]
    drift = 3_999 * TICKS * ppm * 1e-6 / (1 + ppm * 1e-6)
    assert last[0] - last[1] == pytest.approx(drift, abs=0.51)
    assert drift > 10


def test_a_fast_clock_turns_the_field_faster():
    p, w = parameters(strategy=controller.LOCKED_FREQUENCY, clock_error=1e-3)[0], states(command=10.0)[0]
    samples(p, w, 0.0, 1)
    assert w.field_speed == pytest.approx(4 * 10.0 * 1.001, rel=1e-12)


@pytest.mark.parametrize("strategy", range(4))
@pytest.mark.parametrize("latency", [7, TICKS])
def test_latency_shifts_the_output_and_changes_nothing_else(strategy, latency):
    """What is worked out at a sample takes effect so many ticks later, at most one sample."""

    def outputs(latency_ticks):
        p = parameters(
            strategy=strategy, latency_ticks=latency_ticks, kp=0.05, ki=2.0, voltage_per_speed=0.1,
            amplitude_per_hertz=0.1, slew=300.0,
        )[0]  # fmt: skip
        w = states(command=20.0)[0]
        rows = []
        for tick in range(15 * TICKS):
            if controller.due(p, w, tick):
                controller.sample(p, w, 12.0 * math.sin(0.01 * tick), 4.0, tick * DT, tick)
            controller.apply_pending(p, w, tick)
            rows.append((float(w.amplitude), float(w.field_speed), float(w.pull_out_angle)))
        return np.array(rows)

    at_once, late = outputs(0.0), outputs(float(latency))
    assert np.array_equal(late[latency:], at_once[:-latency])
    assert (late[:latency] == 0).all()
    assert len(np.unique(at_once[:, 0])) > 8


@pytest.mark.parametrize("strategy", [controller.SPEED_LOOP, controller.FIXED_VOLTAGE])
def test_duty_comes_in_steps_the_same_both_ways(strategy):
    fields = {"strategy": strategy, "voltage_per_speed": 0.1, "kp": 0.1, "pwm_steps": 16.0}
    for command in np.linspace(0.0, 60.0, 241):
        up, down = states(command=command)[0], states(command=-command)[0]
        p = parameters(**fields)[0]
        samples(p, up, 0.0, 1)
        samples(p, down, 0.0, 1)
        duty = min(up.amplitude, 4.0) / 4.0
        assert duty * 16 == round(duty * 16)
        assert abs(duty - min(0.1 * command / 4.0, 1.0)) <= 0.5 / 16 + 1e-12
        assert down.amplitude == -up.amplitude


@pytest.mark.parametrize("hold", [0, 1])
def test_a_forced_field_stands_still_before_it_starts(hold):
    p = parameters(
        strategy=controller.LOCKED_FREQUENCY, align_time=0.02, base_amplitude=1.5, amplitude_per_hertz=0.01,
        slew=1000.0, hold_at_standstill=hold,
    )[0]  # fmt: skip
    w = states()[0]
    samples(p, w, 0.0, 3)
    assert w.amplitude == 1.5 * hold
    for _ in range(2):  # and again after each stop
        w.command = -10.0
        for _ in range(10):
            samples(p, w, 0.0, 1)
            assert (w.field_speed, w.amplitude) == (0.0, 1.5)
        samples(p, w, 0.0, 1)
        assert w.setpoint == pytest.approx(-1000.0 * 20 * DT)
        w.command = 10.0  # turning round is no start
        samples(p, w, 0.0, 9)
        assert w.setpoint == pytest.approx(10.0)
        w.command = 0.0
        samples(p, w, 0.0, 6)
        assert (w.setpoint, w.field_speed) == (0.0, 0.0)


def test_after_a_reset_it_is_as_new():
    """Two controllers, one with a past, get the same command after the reset and give the same."""
    fields = {"kp": 0.05, "ki": 2.0, "sensors": 3, "latency_ticks": 5.0, "sensor_timeout": 10.0}
    p, old, new = parameters(**fields)[0], states(command=30.0)[0], states()[0]
    old.edge_period, old.edge_time, old.correction, old.derate, old.align_left = 0.01, 0.0, 3.0, 0.5, 0.1
    samples(p, old, 10.0, 30)
    assert old.integral != 0
    controller.reset(old)
    assert old.command == old.command_target == old.amplitude == 0
    rows = []
    for w in (old, new):
        w.command = 12.0
        rows.append(samples(p, w, 3.0, 20))
        rows[-1] = np.append(rows[-1], (w.measured, w.setpoint, w.integral, w.derate))
    assert np.array_equal(*rows)


def test_the_records_are_changed_through_plain_arrays_too():
    """The timeline resets a wheel of the kernel's own array."""
    array = np.zeros(2, records.WHEEL_STATE)
    array["integral"] = 5.0
    controller.reset(records.kernel_view(array)[1])
    assert array["integral"].tolist() == [5.0, 0.0]
    assert array["derate"].tolist() == [0.0, 1.0]
