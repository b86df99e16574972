"""Blocked wheels that heat their boards: two nodes and R(T) in the time-stepped model against solved equations."""

from __future__ import annotations

import numpy as np
import pytest
from engine_rovers import FOREVER, IN_THE_AIR, held_up, ideal
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from drivesim.engine.simulate import Recording, run_model
from drivesim.physics import heat

R20, ALPHA, AMBIENT = 0.8, 3.93e-3, 25.0  # phase resistance [ohm] at 20 degC, copper [1/K], air [degC]
R_WH, C_W, R_HA, C_H = 4.0, 0.1, 6.0, 0.3  # K/W, J/K: winding to housing, housing to air
LOSS20 = 1.5 * R20  # W per A² of peak phase current, three phases at 20 degC


def blocked(
    volts: float, seconds: float, limit: float | None = None, bus: float = 200.0, **driver: object
) -> Recording:
    """Run wheels that cannot turn at a phase amplitude of ``volts``, or less if ``limit`` [A] holds the current."""
    if limit is not None:
        driver["current_limit"] = f"{limit!r} A"
    changes = {
        "rover.wheel.bearing": {"dry": f"{FOREVER} N*m"},
        "rover.wheel.motor.phase_resistance": f"{R20} ohm",
        "rover.wheel.motor.resistance_at": "20 degC",
        "rover.wheel.winding": {
            "thermal_resistance": f"{R_WH} K/W", "heat_capacity": f"{C_W} J/K", "limit": "900 degC",
            "housing": {"thermal_resistance": f"{R_HA} K/W", "heat_capacity": f"{C_H} J/K"},
        },
        "rover.wheel.driver": driver,
        "rover.battery.open_circuit": [[0, f"{bus} V"], [1, f"{bus} V"]],
        "drive": {"strategy": "fixed_voltage", "voltage_per_speed": "1 V*s/rad", "sensor": {"kind": "ideal"}},
        "commands": [{"at": "0 s", "left": f"{volts!r} rad/s", "right": f"{-volts!r} rad/s"}],
        "ambient": f"{AMBIENT} degC",
        "duration": f"{seconds} s",
        "record_every": "20 ms",
    }  # fmt: skip
    return run_model(held_up(ideal(IN_THE_AIR | changes)))


def solved(loss, times: np.ndarray) -> np.ndarray:
    """Return winding and housing [degC] at ``times`` [s] from scipy, written out anew; ``loss`` [W] of T."""

    def rates(_t: float, T: np.ndarray) -> list[float]:
        through, out = (T[0] - T[1]) / R_WH, (T[1] - AMBIENT) / R_HA
        return [(loss(T[0]) - through) / C_W, (through - out) / C_H]

    return solve_ivp(rates, (0, times[-1]), [AMBIENT] * 2, t_eval=times, rtol=1e-9, atol=1e-9).y


def warm(T: float) -> float:
    """Return by how much copper's resistance has grown since 20 degC."""
    return 1 + ALPHA * (T - 20)


@pytest.mark.parametrize("held", ["current", "voltage"])
def test_two_nodes_with_copper_that_warms(held):
    """Two heat nodes and R(T), against scipy; a constant current heats more and more, a voltage less and less."""
    if held == "current":
        recording = blocked(50.0, 12.0, limit=1.5)
        T_w, T_h = solved(lambda T: LOSS20 * 1.5**2 * warm(T), recording.time)
    else:
        recording = blocked(2.0, 12.0)
        T_w, T_h = solved(lambda T: 1.5 * 2.0**2 / (R20 * warm(T)), recording.time)
    assert T_w[-1] > 50
    for wheel in (0, 1):
        assert recording.wheels["winding_temperature"][:, wheel] == pytest.approx(T_w, abs=0.02)
        assert recording.wheels["housing_temperature"][:, wheel] == pytest.approx(T_h, abs=0.02)


@pytest.mark.parametrize("held", ["current", "voltage"])
@pytest.mark.parametrize("limit", [90.0, 130.0])
def test_the_continuous_current_and_the_stall_voltage_settle_at_the_limit(held, limit):
    """Closed form: (limit − ambient)/R_th = 1.5·R(limit)·I², and = 1.5·V²/R(limit)."""
    R_th = R_WH + R_HA
    if held == "current":
        current = heat.continuous_current(limit, LOSS20, R_th, AMBIENT, ALPHA)
        recording = blocked(50.0, 40.0, limit=current)
    else:
        recording = blocked(heat.stall_voltage(limit, R20, R_th, AMBIENT, ALPHA), 40.0)
    last = recording.wheels[-1]
    assert last["winding_temperature"] == pytest.approx([limit] * 4, abs=0.05)
    assert last["housing_temperature"] == pytest.approx([AMBIENT + 0.6 * (limit - AMBIENT)] * 4, abs=0.05)


def test_cutting_back_holds_the_winding_below_its_end():
    """At 8 V · ½ the board would burn; it settles where 1.5·(V·(end − T)/(end − start))²/R(T) = (T − T_a)/R_th."""
    start, end, V, R_th = 70.0, 95.0, 4.0, R_WH + R_HA
    assert blocked(V, 12.0, bus=2 * V).wheels["winding_temperature"].max() > end
    kept = blocked(V, 40.0, bus=2 * V, cut_back={"start": f"{start} degC", "end": f"{end} degC"}).wheels
    settled = brentq(
        lambda T: 1.5 * (V * (end - T) / (end - start)) ** 2 / (R20 * warm(T)) - (T - AMBIENT) / R_th,
        start,
        end,
    )
    assert kept["winding_temperature"].max() < end
    assert kept["winding_temperature"][-1] == pytest.approx([settled] * 4, abs=0.05)


@pytest.mark.parametrize(("share", "runs_away"), [(0.9, False), (1.1, True)])
def test_a_constant_current_above_the_runaway_current_heats_without_bound(share, runs_away):
    """Closed form: from 1/sqrt(alpha·R·R_th) on every kelvin brings more heat than it drives out."""
    current = share * heat.runaway_current(LOSS20, R_WH + R_HA, ALPHA)
    temperature = blocked(900.0, 30.0, limit=current, bus=2000.0).wheels["winding_temperature"][:, 0]
    rise = np.diff(temperature[100::50])  # once the winding's own quick start is over
    if runs_away:
        assert (np.diff(rise) > 0).all()  # ever faster
        assert temperature[-1] > 1000
    else:
        end = heat.final_temperature(current, LOSS20, R_WH + R_HA, AMBIENT, ALPHA)
        assert (np.diff(rise) < 0).all()
        assert 0.8 * end < temperature[-1] < end
