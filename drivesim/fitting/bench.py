"""What the model says each bench test of one wheel shows, by the functions of physics and the engine's own records.

Imports physics, engine's records and the logs.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from types import SimpleNamespace
from typing import Any

import numpy as np

from drivesim.engine import records
from drivesim.engine.wheel_build import fill_wheel
from drivesim.errors import DrivesimError
from drivesim.fitting.logs import Array, Log
from drivesim.physics import bench, motor
from drivesim.physics.heat import two_node_time_constants
from drivesim.physics.winding import resistance_at
from drivesim.scenario import Scenario

STEP_SHARE = 0.1  # of the fastest time constant, for a step of the heat's integration
MOST_STEPS = 400  # in one interval between two rows

Prediction = Mapping[str, Array]


def wheel_numbers(scenario: Scenario, name: str) -> Any:
    """Return one wheel's numbers as the engine has them, by the names of its record."""
    record = np.zeros(1, records.WHEEL)
    fill_wheel(record[0], scenario.rover, name)
    return SimpleNamespace(**dict(zip(record.dtype.names or (), record[0].tolist(), strict=True)))


def wheel_of(scenario: Scenario, log: Log) -> str:
    """Return the wheel that a log is of; the first one where it does not say."""
    return str(log.settings.get("wheel", scenario.rover.wheel_names[0]))


def resistances(w: Any, scenario: Scenario, log: Log) -> Iterator[float]:
    """Yield the phase resistance [ohm] in each row: the winding's at its temperature, and the driver's in the way."""
    driver = 0.0 if log.at_motor or "resistance" in log.table else w.on_resistance
    warm = log.table.get("winding_temperature")
    if warm is None:
        R = resistance_at(w.resistance, w.given_at, winding_temperature(scenario, log), w.coefficient)
        yield from [R + driver] * log.rows
    else:
        yield from (resistance_at(w.resistance, w.given_at, T, w.coefficient) + driver for T in warm)


def winding_temperature(scenario: Scenario, log: Log) -> float:
    """Return the winding's temperature during a short test [degC]: as told, or that of the scenario's air."""
    return log.number("winding_temperature", scenario.ambient)


def current_limit(w: Any, log: Log) -> float:
    """Return the peak phase current [A] that the driver allows; a voltage read at the motor is what it let through."""
    return math.inf if log.at_motor else float(w.current_limit)


def field_speeds(w: Any, log: Log) -> Array:
    """Return the speed [rad/s] of the forced field in each row, as the rotor turns with it."""
    frequency = log.table.get("frequency")
    return log.table["speed"] if frequency is None else 2 * math.pi * frequency / w.pole_pairs


def refuse_limited(scenario: Scenario, log: Log) -> None:
    """Raise DrivesimError where a pull_out log asks more current than the driver lets through: it has no model."""
    if log.kind != "pull_out":
        return
    w = wheel_numbers(scenario, wheel_of(scenario, log))
    limit = current_limit(w, log)
    rows = zip(log.table["voltage"], field_speeds(w, log), resistances(w, scenario, log), strict=True)
    for i, (V, speed, R) in enumerate(rows):
        we = w.pole_pairs * speed
        vd, vq = motor.forced_voltages(V, motor.pull_out_angle(R, w.inductance, we))
        amps = math.hypot(*motor.steady_current(vd, vq, R, w.inductance, w.flux_linkage, we))
        if amps > limit:
            raise DrivesimError(
                f"{log.path or log.name}:{log.line(i)}: found a current of {amps:.3g} A at pull-out, allowed: at most "
                f"{limit:.3g} A, the driver's current_limit; leave out such rows"
            )


def running(w: Any, scenario: Scenario, log: Log, _own: Mapping[str, float]) -> Prediction:
    """Return speed [rad/s] and current [A] of a wheel that runs freely or against a brake."""
    loads = log.table.get("load", np.zeros(log.rows))
    limit = current_limit(w, log)
    speed, current = np.empty(log.rows), np.empty(log.rows)
    for i, (V, load, R) in enumerate(
        zip(log.table["voltage"], loads, resistances(w, scenario, log), strict=True)
    ):
        speed[i] = bench.running_speed(
            V, w.bearing_dry + load, w.bearing_viscous, R, w.inductance, w.flux_linkage, w.pole_pairs, limit
        )
        current[i] = math.hypot(
            *bench.limited_current(V, R, w.inductance, w.flux_linkage, w.pole_pairs * speed[i], limit)
        )
    return {"speed": speed, "current": current}


def locked(w: Any, scenario: Scenario, log: Log, _own: Mapping[str, float]) -> Prediction:
    """Return current [A] and torque [N·m] of a wheel held still, or its resistance [ohm]."""
    R = np.fromiter(resistances(w, scenario, log), float, log.rows)
    if "voltage" not in log.table:
        return {"resistance": R}
    current = np.array([
        bench.limited_current(V, r, w.inductance, w.flux_linkage, 0.0, current_limit(w, log))[1]
        for V, r in zip(log.table["voltage"], R, strict=True)
    ])  # fmt: skip
    torque = [motor.torque(iq, w.pole_pairs, w.flux_linkage) for iq in current]
    return {"current": current, "torque": np.array(torque)}


def turned(w: Any, _scenario: Scenario, log: Log, _own: Mapping[str, float]) -> Prediction:
    """Return the peak phase voltage [V] of a wheel turned from outside, leads open."""
    voltage = [bench.back_emf(speed, w.pole_pairs, w.flux_linkage) for speed in log.table["speed"]]
    return {"voltage": np.array(voltage)}


def coasting(w: Any, _scenario: Scenario, log: Log, own: Mapping[str, float]) -> Prediction:
    """Return the speed [rad/s] of a wheel let go."""
    J = log.number("inertia", w.inertia)
    time = log.table["time"]
    speed = [
        bench.coasting_speed(own["start_speed"], w.bearing_dry, w.bearing_viscous, J, t)
        for t in time - time[0]
    ]
    return {"speed": np.array(speed)}


def pulled_out(w: Any, scenario: Scenario, log: Log, _own: Mapping[str, float]) -> Prediction:
    """Return the brake torque [N·m] at which a forced field loses the rotor."""
    speeds = field_speeds(w, log)
    load = [
        bench.pull_out_margin(
            w.bearing_dry, V, w.bearing_viscous, R, w.inductance, w.flux_linkage, w.pole_pairs, speed
        )
        for V, speed, R in zip(log.table["voltage"], speeds, resistances(w, scenario, log), strict=True)
    ]
    return {"load": np.array(load)}


def warming(w: Any, scenario: Scenario, log: Log, _own: Mapping[str, float]) -> Prediction:
    """Return temperatures [degC], resistance [ohm] and voltage [V] of a winding under current.

    The current of a row flows until the next one.
    """
    time, current = log.table["time"], log.table["current"]
    ambient = log.number("ambient", scenario.ambient)
    T_w = log.number("start_temperature", ambient)
    T_h = (
        T_w if math.isfinite(w.housing_capacity) else ambient
    )  # without a housing the second node is the air
    fastest = min(
        two_node_time_constants(
            w.thermal_resistance, w.heat_capacity, w.housing_resistance, w.housing_capacity, 0.0
        )
    )
    winding, housing = np.empty(log.rows), np.empty(log.rows)
    winding[0], housing[0] = T_w, T_h
    for i, dt in enumerate(np.diff(time)):
        steps = int(min(MOST_STEPS, max(1.0, math.ceil(dt / (STEP_SHARE * fastest)))))
        T_w, T_h = bench.warmed(
            T_w, T_h, current[i], w.resistance, w.given_at, w.coefficient, ambient,
            w.thermal_resistance, w.heat_capacity, w.housing_resistance, w.housing_capacity, dt, steps,
        )  # fmt: skip
        winding[i + 1], housing[i + 1] = T_w, T_h
    R = np.array([resistance_at(w.resistance, w.given_at, T, w.coefficient) for T in winding])
    return {
        "winding_temperature": winding,
        "housing_temperature": housing,
        "resistance": R,
        "voltage": R * current,
    }


Predictor = Callable[[Any, Scenario, Log, Mapping[str, float]], Prediction]
WHEEL_TESTS: dict[str, Predictor] = {
    "no_load": running, "loaded": running, "locked_rotor": locked, "back_emf": turned, "spin_down": coasting,
    "pull_out": pulled_out, "warm_up": warming,
}  # fmt: skip
