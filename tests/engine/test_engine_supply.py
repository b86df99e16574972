"""Cells with a slow R–C pair, and charge that is counted, in the time-stepped model against solved equations."""

from __future__ import annotations

import math
from types import SimpleNamespace
from unittest.mock import MagicMock

import numpy as np
import pytest
from engine_rovers import FOREVER, IN_THE_AIR, held_up, ideal
from scipy.integrate import solve_ivp

from drivesim.analysis.ledger import ledger
from drivesim.engine import supervisors
from drivesim.engine.simulate import run_model
from drivesim.physics.supply import polymer_cell_short_pair
from drivesim.scenario.protection import Lockout

# 850 mAh polymer cell at half charge, series resistance and short pair: Chen and Rincon-Mora, IEEE Transactions
# on Energy Conversion 21(2), 2006 (looked up)
VOLTS, R0 = 3.8034, 0.07446
R1, C1 = polymer_cell_short_pair(0.5)
TAU = R1 * C1
PULSE, REST = 40.0, 60.0  # s: the motors are blocked under voltage, then off


@pytest.fixture(scope="module")
def pulse():
    """Return the run of one cell that blocked motors load with 1.5·V²/R each, and that then rests."""
    changes = {
        "rover.wheel.bearing": {"dry": f"{FOREVER} N*m"},
        "rover.battery": {
            "capacity": "1e6 A*h", "cell_resistance": f"{R0} ohm", "bus_capacitance": "10 uF",
            "open_circuit": [[0, f"{VOLTS} V"], [1, f"{VOLTS} V"]],
            "diffusion_resistance": f"{R1!r} ohm", "diffusion_time": f"{TAU!r} s",
        },
        "drive": {"strategy": "fixed_voltage", "voltage_per_speed": "1 V*s/rad", "sensor": {"kind": "ideal"}},
        "commands": [
            {"at": "0 s", "left": "0.7 rad/s", "right": "0.7 rad/s"},
            {"at": f"{PULSE} s", "left": "0 rad/s", "right": "0 rad/s"},
        ],
        "duration": f"{PULSE + REST} s",
    }  # fmt: skip
    return run_model(held_up(ideal(IN_THE_AIR | changes)))


def test_a_pulse_on_a_cell_with_one_slow_pair(pulse):
    """C·dV1/dt = I − V1/R1 under constant power, against scipy; then V1 dies away with the time constant R1·C."""
    power = 4 * 1.5 * 0.7**2 / 1.0

    def drawn(V1: float) -> float:
        inner = VOLTS - V1
        return (inner - math.sqrt(inner**2 - 4 * R0 * power)) / (2 * R0)

    loaded = (pulse.time > 0.1) & (pulse.time < PULSE)
    times = pulse.time[loaded]
    V1 = solve_ivp(
        lambda _t, V: [(drawn(V[0]) - V[0] / R1) / C1],
        (0, PULSE),
        [0.0],
        t_eval=[*times, PULSE],
        rtol=1e-10,
        atol=1e-12,
    ).y[0]
    current = np.array([drawn(v) for v in V1[:-1]])
    assert V1[-1] > 0.5 * power / VOLTS * R1
    assert pulse.body["battery_current"][loaded] == pytest.approx(current, rel=1e-5)
    assert pulse.body["bus_voltage"][loaded] == pytest.approx(VOLTS - V1[:-1] - R0 * current, rel=1e-5)
    resting = pulse.time > PULSE + 0.1
    rest = VOLTS - V1[-1] * np.exp(-(pulse.time[resting] - PULSE) / TAU)
    assert pulse.body["bus_voltage"][resting] == pytest.approx(rest, rel=1e-5)
    assert pulse.body["bus_voltage"][-1] < VOLTS - 0.1 * V1[-1]  # it has not come back yet


def test_what_the_slow_pair_holds_and_loses_is_counted(pulse):
    """The cell's losses are ∫(R0·I² + V1²/R1)dt, and nothing is left over in the ledger."""
    parts = ledger(pulse)
    assert abs(parts["remainder_fraction"]) < 1e-6
    current = pulse.body["battery_current"]
    V1 = VOLTS - pulse.body["bus_voltage"] - R0 * current
    lost = float(((R0 * current**2 + V1**2 / R1) * np.gradient(pulse.time)).sum())
    assert parts["battery"] == pytest.approx(lost, rel=1e-3)
    assert parts["battery"] > 2.0  # J


@pytest.mark.parametrize(("parallel", "charge"), [(1, 1.0), (2, 0.5)])
def test_ten_amperes_empty_two_ampere_hours_in_720_seconds(parallel, charge):
    """Coulomb counting (closed form), a thousand times faster: 2 mAh at 10 A last 0.72 s."""
    battery = {
        "cells_in_parallel": parallel, "capacity": "2e-3 A*h", "cell_resistance": "1e-6 ohm",
        "state_of_charge": charge, "electronics": "111 W", "open_circuit": [[0, "11.1 V"], [1, "11.1 V"]],
    }  # fmt: skip
    recording = run_model(held_up(ideal(IN_THE_AIR | {"rover.battery": battery, "duration": "2 s"})))
    assert recording.ending == "collapsed"
    assert recording.end_time == pytest.approx(0.72, abs=2 * recording.model.step)
    left = charge * (1 - recording.time / 0.72)
    assert recording.body["state_of_charge"] == pytest.approx(left, abs=1e-3)


@pytest.mark.parametrize(
    ("volts", "told"), [(4.35, "4.35"), (8.2, "8.20"), (8.1999, "8.19"), (8.999, "8.99")]
)
def test_a_reset_tells_the_bus_neither_rounded_up_nor_a_digit_short(volts, told):
    timeline, bus = MagicMock(), MagicMock(value=volts)
    timeline.model = SimpleNamespace(names=[], params={"electronics": np.zeros(1)})
    guard = supervisors._lock_out(timeline, Lockout(below="9 V", above="9.5 V", boot="0.1 s"), bus)
    next(guard)
    next(guard)
    assert timeline.note.call_args.args[1] == f"bus fell to {told} V, below the lockout of 9 V"
