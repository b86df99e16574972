"""Speed from Hall edges, as the kernel measures it on a wheel that turns as the test says."""

from __future__ import annotations

import math

import numpy as np
import pytest
from engine_rovers import IN_THE_AIR, each_wheel, held_up, ideal, run_on

from drivesim.engine.simulate import run_model

DT, TICK, TIMEOUT, POLES = 2.5e-4, 1e-6, 0.25, 7
SPACING = {1: math.pi / POLES, 3: math.pi / (3 * POLES)}  # 2·n·p edges a turn


def coasting(speed: float, sensors: int, duration: float, direction: float = 1.0):
    """Return a model whose free wheels turn at ``speed`` [rad/s], each measured at every step."""
    sensor = {"kind": "hall", "sensors": sensors, "timer_tick": f"{TICK} s", "timeout": f"{TIMEOUT} s"}
    model = held_up(
        ideal(
            IN_THE_AIR
            | each_wheel("driven", (False,) * 4)
            | {
                "drive": {"strategy": "fixed_voltage", "voltage_per_speed": "0 V*s/rad", "sensor": sensor},
                "drive.sample_time": f"{DT} s",
                "commands": [{"at": "0 s", "left": f"{direction} rad/s", "right": f"{direction} rad/s"}],
                "duration": f"{duration} s",
                "record_every": f"{DT} s",
                "step": f"{DT} s",
            }
        )
    )
    model.states["spin"] = speed
    return model


@pytest.mark.parametrize(("speed", "resolution"), [(10.0, 6.685e-4), (100.0, 0.06689), (400.0, 1.0724)])
def test_resolution_of_the_period(speed, resolution):
    """N = 42 edges a turn, 1 MHz timer: one tick changes the speed by N·w²/(2·pi·f − N·w).

    Source: motioncontroltips.com, "How are encoders used for speed measurement?"; the form is from memory.
    """
    measured = run_model(coasting(speed, 3, 1.0)).wheels["measured_speed"][200:, 0]
    assert np.abs(measured - speed).max() < 1.01 * resolution
    periods = SPACING[3] / measured / TICK
    fresh = measured > speed - 1.01 * resolution
    assert np.abs(periods - np.round(periods))[fresh].max() < 1e-6
    values = np.unique(np.round(periods))
    assert len(values) >= 2  # no whole number of ticks fits: neighbours take turns
    assert values.max() - values.min() <= 2


@pytest.mark.parametrize(("sensors", "interval"), [(3, 14.960e-3), (1, 44.880e-3)])
def test_age_of_the_measurement(sensors, interval):
    """At 10 rad/s an edge comes every 2·pi/(2·n·p·w); before the second one nothing is known."""
    recording = run_model(coasting(10.0, sensors, 0.5))
    speed = recording.wheels["measured_speed"][:, 0]
    known = np.argmax(speed > 0)
    assert (speed[:known] == 0).all()
    assert known * DT == pytest.approx(2 * interval, abs=3e-3)  # and by the edges' hysteresis
    assert recording.model.states["edge_period"][0] == pytest.approx(interval, rel=1e-3)
    turns = recording.model.states["edge_index"][0] * SPACING[sensors]
    assert turns == pytest.approx(10.0 * 0.5, abs=SPACING[sensors])


@pytest.mark.parametrize("sensors", [1, 3])
def test_after_a_sudden_stop_the_estimate_falls_with_the_time_since_the_last_edge(sensors):
    model = coasting(10.0, sensors, 0.5)
    run_model(model)
    model.states["spin"] = 0.0
    edge, period = model.states["edge_time"][0], model.states["edge_period"][0]
    recording = run_on(model, 1.0)
    rows = np.arange(round(0.5 / DT), round(1.0 / DT))
    since = rows * DT - edge
    speed = recording.wheels["measured_speed"][rows, 0]
    expected = np.where(since > TIMEOUT, 0.0, SPACING[sensors] / np.maximum(since, period))
    clear = np.abs(since - TIMEOUT) > 1e-9
    assert speed[clear] == pytest.approx(expected[clear], rel=1e-9)
    assert speed[-1] == 0
    assert np.count_nonzero(speed) > 100


def test_three_sensors_see_the_direction_and_one_takes_the_commanded_one():
    for sensors, speed, direction, seen in (
        (3, -10, 1, -10),
        (3, 10, -1, 10),
        (1, -10, 1, 10),
        (1, 10, -1, -10),
    ):
        measured = run_model(coasting(speed, sensors, 0.5, direction)).wheels["measured_speed"][-1, 0]
        assert measured == pytest.approx(seen, rel=1e-3), (sensors, speed, direction)


def test_after_a_reversal_three_sensors_wait_for_a_whole_interval():
    """The first edge on the way back says that it turns back, not how fast."""
    model = coasting(10.0, 3, 0.5)
    run_model(model)
    model.states["spin"] = -10.0
    speed = run_on(model, 0.6).wheels["measured_speed"][round(0.5 / DT) :, 0]
    assert set(np.sign(speed)) == {1.0, 0.0, -1.0}
    first_zero, first_back = np.argmax(speed == 0), np.argmax(speed < 0)
    assert (speed[:first_zero] > 0).all()
    assert (first_back - first_zero) * DT == pytest.approx(14.960e-3, abs=2 * DT)
    assert speed[-1] == pytest.approx(-10.0, rel=1e-3)
