"""What follows from a rover before any step is simulated: copper, torque, slopes, heat; imports engine, physics."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from drivesim.engine.energy import contact_depths
from drivesim.engine.model import Model
from drivesim.engine.winding_build import layer_shares, phase_resistance, vias_resistance
from drivesim.physics import heat, motor, obstacle, supply
from drivesim.scenario.motor import MODULATION
from drivesim.scenario.winding import Conductor

AT = 20.0  # degC, of resistances


def derived(model: Model) -> dict[str, Any]:
    """Return plain numbers and names that a builder wants to know of the built ``model`` before a run."""
    scenario, wheels = model.scenario, model.wheels
    bus = float(model.bodies["bus_voltage"][0])
    volts = MODULATION[scenario.rover.wheel.driver.modulation] * bus
    each = {
        name: wheel_figures(w, volts, scenario.ambient, scenario.rover.wheel.winding.limit)
        for name, w in zip(model.names, wheels, strict=True)
    }
    pressed = contact_depths(model) - model.states["sinkage"]
    for name, depth, w in zip(model.names, pressed, wheels, strict=True):
        each[name]["standing_load_N"] = float(w["radial_stiffness"] * max(0.0, depth))
    weight = float(model.params["mass"][0] * model.params["gravity"][0])
    push = sum(figures["stall_force_N"] for figures in each.values())
    conductor = scenario.rover.wheel.motor.conductor
    return {
        "winding": None if conductor is None else winding_table(conductor),
        "wheels": each,
        "bus_voltage_V": bus,
        "steepest_by_torque_deg": math.degrees(math.asin(min(1.0, push / weight))),
        "steepest_by_friction_deg": _friction_slope(model),
        "ride_through_s": _ride_through(model, bus),
    }


def wheel_figures(w: np.void, volts: float, ambient: float, limit: float) -> dict[str, float]:
    """Return one wheel's resistance, torque and force at standstill, and what heat allows for ever.

    ``volts`` the greatest phase amplitude; ``limit`` [degC] of the board; currents are peak phase values.
    """
    R, alpha = float(w["resistance"]), float(w["coefficient"])
    R20 = R / (1 + alpha * (float(w["given_at"]) - AT))
    torque = motor.stall_torque(volts, R20 + w["on_resistance"], w["flux_linkage"], w["pole_pairs"])
    R_th = w["thermal_resistance"] + (
        w["housing_resistance"] if np.isfinite(w["housing_resistance"]) else 0.0
    )
    figures = {
        "phase_resistance_ohm": R20,
        "stall_torque_Nm": torque if w["driven"] else 0.0,
        "stall_force_N": torque / w["radius"] if w["driven"] else 0.0,
        # three phases: the loss of a peak phase current I is 1.5·I²·R
        "continuous_current_A": heat.continuous_current(limit, 1.5 * R20, R_th, ambient, alpha),
        "continuous_stall_voltage_V": heat.stall_voltage(limit, R20, R_th, ambient, alpha),
    }
    return {name: float(value) for name, value in figures.items()}


def winding_table(conductor: Conductor) -> dict[str, Any]:
    """Return each kind of layer's part of a phase's resistance, and what thinner inner layers cost.

    ``inner_cost``: the phase's resistance over that with every inner layer as thick as the outer ones; 1 without both.
    """
    shares, vias = layer_shares(conductor, AT), vias_resistance(conductor, AT)
    path = sum(share.resistance for share in shares) + vias
    outer = max((share.thickness for share in shares if share.place == "outer"), default=None)
    inner = [share for share in shares if share.place == "inner"]
    saved = sum(s.resistance * max(0.0, 1 - s.thickness / outer) for s in inner) if outer else 0.0
    return {
        "layers": [
            {**share._asdict(), "share": share.resistance / path, "thickness_um": share.thickness * 1e6}
            for share in shares
        ],
        "vias_ohm": vias,
        "vias_share": vias / path,
        "phase_ohm": phase_resistance(conductor, AT),
        "inner_cost": path / (path - saved),
    }


def _friction_slope(model: Model) -> float | None:
    """Return the steepest slope that friction allows [deg]; None on soil and where wheels do not stand in two axles."""
    w, ground = model.wheels, model.scenario.ground
    front, rear = w["x"] > 0, w["x"] < 0
    if not (front.any() and rear.any()) or ground.soil is not None:
        return None
    wheelbase = float(w["x"][front].mean() - w["x"][rear].mean())
    height = float(w["radius"].mean() - w["z"].mean())
    driven = w["driven"] == 1
    mu = float(w["friction"].min()) * ground.friction
    a = float(w["x"][front].mean())
    slope = obstacle.steepest_grade(
        mu, bool(driven[front].all()), bool(driven[rear].all()), wheelbase, a, height
    )
    return math.degrees(slope)


def _ride_through(model: Model, bus: float) -> float:
    """Return how long the bus capacitance alone carries electronics and idle drivers down to the lockout [s]."""
    lockout = model.scenario.rover.wheel.driver.lockout
    power = model.params["electronics"][0] + model.wheels["fixed_loss"].sum()
    down_to = bus / 2 if lockout is None else lockout.below
    return float(supply.ride_through_time(model.params["bus_capacitance"][0], bus, down_to, power))
