"""Torque of wheels whose controllers find the rotor's angle between Hall edges, at a steady speed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from engine_rovers import IN_THE_AIR, held_up, ideal

from drivesim.engine.simulate import run_model

POLES, R, LAM, VOLTS, SPEED = 7, 1.0, 2e-3, 3.0, 20.0


def torque_and_error(commutation: str, sensors: int = 3, **sensor: object) -> tuple[float, np.ndarray]:
    """Return the mean torque [N·m] of wheels too heavy to change their speed, and their angle errors [rad].

    Means over whole turns, both directions of turning.
    """
    given = {"kind": "hall", "sensors": sensors, "hysteresis": "0 rad", "timer_tick": "0 s", "timeout": "1 s"}
    changes = {
        "rover.wheel.inertia": "1e6 kg*m^2",
        "drive": {
            "strategy": "fixed_voltage", "voltage_per_speed": f"{VOLTS / SPEED!r} V*s/rad", "sample_time": "0.5 ms",
            "sensor": given | {"commutation": commutation} | sensor,
        },
        "commands": [{"at": "0 s", "left": f"{SPEED} rad/s", "right": f"{-SPEED} rad/s"}],
        "start.rotors": "random",
        "step": "0.1 ms",
        "record_every": "0.1 ms",
        "duration": "2.2 s",
    }  # fmt: skip
    model = held_up(ideal(IN_THE_AIR | changes))
    model.states["spin"] = SPEED * np.array([1, -1, 1, -1])
    wheels = run_model(model).wheels
    turns = round(6 * 2 * math.pi / SPEED / 1e-4)  # the last six
    late = wheels[-turns:]
    torque = late["motor_torque"].mean(axis=0) * [1, -1, 1, -1]
    assert torque == pytest.approx([torque.mean()] * 4, rel=2e-3)
    return float(torque.mean()), late["angle_error"]


def expected(share: float) -> float:
    """Return 1.5·p·λ·(V·share − p·ω·λ)/R: the torque [N·m] where ``share`` of the voltage points along q."""
    return 1.5 * POLES * LAM * (VOLTS * share - POLES * SPEED * LAM) / R


@pytest.mark.parametrize(("sensors", "share"), [(3, 3 / math.pi), (1, 2 / math.pi)])
def test_commutation_by_sectors_uses_the_mean_of_a_cosine(sensors, share):
    """Closed form: errors even within ±π/(2·sensors) leave sin(a)/a of the voltage, 3/π with three sensors."""
    torque, error = torque_and_error("sectors", sensors)
    assert torque == pytest.approx(expected(share), rel=2e-3)
    most = math.pi / (2 * sensors)
    assert np.abs(error).max() == pytest.approx(most, rel=0.02)
    assert error.mean() == pytest.approx(0.0, abs=0.01 * most)


def test_an_angle_interpolated_at_steady_speed_is_as_good_as_a_known_one():
    """At a steady speed the time since the last edge tells the angle."""
    known, _ = torque_and_error("ideal")
    torque, error = torque_and_error("interpolated")
    assert known == pytest.approx(expected(1.0), rel=1e-6)
    assert torque == pytest.approx(known, rel=1e-3)
    assert np.abs(error).max() < 0.01


def test_misplaced_magnets_cost_interpolated_torque_by_the_cosine_of_their_errors():
    """The share of voltage along q is the mean cosine of the recorded angle errors, some degrees wide."""
    torque, error = torque_and_error("interpolated", edge_placement="5 deg")
    assert 0.03 < error.std() < 0.3
    assert torque == pytest.approx(expected(np.cos(error).mean()), rel=2e-3)
    assert torque < 0.9995 * expected(1.0)
