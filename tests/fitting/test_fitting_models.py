"""The models of the bench tests against the simulator's own runs: free wheels, then let go, and the battery."""

from __future__ import annotations

import numpy as np
import pytest
from fitting_logs import ROOT

from drivesim import scenario_from_text, simulate
from drivesim.fitting.fit import fit
from drivesim.fitting.joint import predict
from drivesim.fitting.logs import Log

#: next to no weight: the wheels turn freely, those of one side against those of the other, so that the body stays
WEIGHTLESS = """
base: bench_start.yaml
name: wheels in the air
drive: {strategy: fixed_voltage, voltage_per_speed: 20 mV*s/rad, sensor: {kind: ideal}}
commands: [{at: 0 s, left: 100 rad/s, right: -100 rad/s}]
events:
  - {at: 6 s, kind: driver_dies, wheel: front_left}
  - {at: 6 s, kind: driver_dies, wheel: front_right}
  - {at: 6 s, kind: driver_dies, wheel: rear_left}
  - {at: 6 s, kind: driver_dies, wheel: rear_right}
gravity: 1e-9 m/s^2
duration: 9 s
record_every: 20 ms
change:
  rover.battery.diffusion_resistance: 200 mohm
  rover.battery.diffusion_time: 2 s
  rover.battery.capacity: 20 mAh
  rover.battery.bus_capacitance: 1 uF
  rover.battery.discharge_rating: 100
"""
LET_GO = 6.0  # s


@pytest.fixture(scope="module")
def run():
    return simulate(scenario_from_text(WEIGHTLESS, ROOT / "scenarios"))


def test_a_free_wheel_runs_as_a_no_load_log_says(run):
    end = run.traces.sel(wheel="rear_left").sel(time=slice(5.5, 5.9)).mean()
    assert float(end.phase_voltage) == pytest.approx(2.0, rel=1e-6)
    table = {name: np.full(3, value) for name, value in (("voltage", 2.0), ("speed", 0.0), ("current", 0.0))}
    log = Log("a", "no_load", table, {"winding_temperature": float(end.winding_temperature)})
    found = predict(run.scenario, log, {})
    assert found["speed"][0] == pytest.approx(float(end.wheel_speed), rel=1e-4)
    assert found["current"][0] == pytest.approx(float(np.hypot(end.current_d, end.current_q)), rel=1e-3)
    at_motor = predict(run.scenario, Log("a", "no_load", table, log.settings, at_motor=True), {})
    assert at_motor["speed"][0] > found["speed"][0]  # the driver's own resistance takes nothing then


def test_a_wheel_without_driver_coasts_as_a_spin_down_log_says(run):
    own = run.traces.sel(wheel="front_left").sel(time=slice(LET_GO + 0.1, 9.0))
    log = Log("a", "spin_down", {"time": own.time.values, "speed": own.wheel_speed.values})
    found = predict(run.scenario, log, {"start_speed": float(own.wheel_speed[0])})["speed"]
    assert float(own.wheel_speed[-1]) < 0.5 * float(own.wheel_speed[0])
    assert found == pytest.approx(own.wheel_speed.values, rel=2e-3)


def test_the_battery_sags_as_a_cell_pulse_log_says(run):
    time, current, volts = (run.traces[n].values for n in ("time", "battery_current", "bus_voltage"))
    log = Log("a", "cell_pulse", {"time": time, "current": current, "voltage": volts}, {"across": "pack"})
    rested = fit(run.scenario, [log], bootstrap=0).parameters
    battery = run.scenario.rover.battery
    assert rested.fitted["rover.battery.cell_resistance"] == pytest.approx(battery.cell_resistance, rel=0.02)
    assert rested.fitted["rover.battery.diffusion_resistance"] == pytest.approx(0.2, rel=0.02)
    assert rested.fitted["rover.battery.diffusion_time"] == pytest.approx(2.0, rel=0.03)
    found = predict(run.scenario, log, {"open_circuit": rested.file["a: open_circuit"]})["voltage"]
    late = time > 2.0  # the first row is not quite at rest
    assert np.abs(found - volts)[late].max() < 0.01 * (volts.max() - volts.min())


def test_a_warm_winding_is_what_a_warm_up_log_says(run):
    own = run.traces.sel(wheel="rear_left")
    current = np.hypot(own.current_d, own.current_q).values
    winding = own.winding_temperature.values
    log = Log("a", "warm_up", {"time": own.time.values, "current": current, "winding_temperature": winding})
    found = predict(run.scenario, log, {})["winding_temperature"]
    assert winding[-1] > winding[0]
    assert found - found[0] == pytest.approx(winding - winding[0], abs=0.05 * (winding[-1] - winding[0]))
