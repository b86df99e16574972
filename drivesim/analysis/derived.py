"""What follows from a rover before any step is simulated: copper, torque, slopes, heat; imports engine, physics."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from drivesim.analysis.heat_limits import Limit, guard_limits, heat_limits
from drivesim.analysis.plain import finite
from drivesim.engine.energy import contact_depths
from drivesim.engine.model import Model
from drivesim.engine.winding_build import layer_shares, phase_resistance, vias_resistance
from drivesim.physics import heat, motor, obstacle, supply
from drivesim.scenario.motor import Motor
from drivesim.scenario.winding import Conductor

AT = 20.0  # degC, of resistances
SAG_ROUNDS = 50  # at most, in search of the bus voltage under all wheels stalled
SAG_CLOSE = 1e-6  # V


def derived(model: Model) -> dict[str, Any]:
    """Return plain numbers and names that a builder wants to know of the built ``model`` before a run.

    None stands for what has no finite value.  Resistances are those of the equivalent star, each wheel's stall torque
    is that with its winding cold and nothing else drawing from the bus.
    """
    scenario = model.scenario
    bus = float(model.bodies["bus_voltage"][0])
    limits = [*heat_limits(scenario.rover.wheel.winding), *guard_limits(scenario.rover.wheel.driver)]
    each = {
        name: wheel_figures(w, bus, scenario.ambient, limits)
        for name, w in zip(model.names, model.wheels, strict=True)
    }
    pressed = contact_depths(model) - model.states["sinkage"]
    for name, depth, w in zip(model.names, pressed, model.wheels, strict=True):
        each[name]["standing_load_N"] = float(w["radial_stiffness"] * max(0.0, depth))
    sagged = bus_all_stalled(model)
    conductor = scenario.rover.wheel.motor.conductor
    found = finite({
        "winding": None if conductor is None else winding_table(scenario.rover.wheel.motor, conductor, model.wheels[0]),
        "wheels": each,
        "bus_voltage_V": bus,
        "bus_all_stalled_V": sagged,
        "steepest_by_torque_deg": None if sagged is None else _torque_slope(model, sagged),
        "steepest_by_friction_deg": _friction_slope(model),
        "ride_through_s": _ride_through(model, bus),
    })  # fmt: skip
    assert isinstance(found, dict)
    return found


def wheel_figures(w: np.void, bus: float, ambient: float, limits: Sequence[Limit]) -> dict[str, Any]:
    """Return one wheel's resistance, torque and force at standstill, and what heat allows for ever.

    ``bus`` [V]; of the ``limits`` the one counts that the least current reaches.  Currents and voltages are peak phase
    values.  The voltage is what the driver sets, its on-resistance included; its losses warm the board by the share
    that the scenario gives.
    """
    R20, on, alpha = cold_resistance(w), float(w["on_resistance"]), float(w["coefficient"])
    torque, efficiency = stall_torque(w, bus), float(w["efficiency"])
    R_wh, R_ha, share = (
        float(w[name]) for name in ("thermal_resistance", "housing_resistance", "driver_heat")
    )
    R_th = R_wh + (R_ha if math.isfinite(R_ha) else 0.0)
    bound, hottest = bound_limit(w, ambient, limits)
    warm = 1 + alpha * (hottest - AT)
    air = ambient + R_th * share * float(w["fixed_loss"])
    # the driver loses what its on-resistance does, and 1/efficiency − 1 of all that it gives
    heated = R20 * (1 + share * (1 / efficiency - 1)) + share * on / efficiency / warm
    # three phases: the loss of a peak phase current I is 1.5·I²·R
    current = float(heat.continuous_current(hottest, 1.5 * heated, R_th, air, alpha))
    return {
        "phase_resistance_ohm": R20,
        "stall_torque_Nm": torque,
        "stall_force_N": torque / float(w["radius"]),
        "continuous_current_A": current,
        "continuous_stall_voltage_V": current * (R20 * warm + on),
        "continuous_limit": bound.name,
        "continuous_limit_degC": bound.degC,
    }


def bound_limit(w: np.void, ambient: float, limits: Sequence[Limit]) -> tuple[Limit, float]:
    """Return which of ``limits`` the least steady current reaches, and how hot the winding is then [degC]."""
    R_wh, R_ha = float(w["thermal_resistance"]), float(w["housing_resistance"])
    part = float(heat.housing_temperature(1.0, 0.0, R_wh, R_ha)) if math.isfinite(R_ha) else 1.0
    bound = min(limits, key=lambda limit: (limit.degC - ambient) / (part if limit.of_housing else 1.0))
    return bound, ambient + max(0.0, bound.degC - ambient) / (part if bound.of_housing else 1.0)


def cold_resistance(w: np.void) -> float:
    """Return a wheel's phase resistance at 20 degC [ohm]."""
    return float(w["resistance"] / (1 + w["coefficient"] * (w["given_at"] - AT)))


def stall_torque(w: np.void, bus: float) -> float:
    """Return a wheel's torque [N·m] at standstill, winding cold: at full ``bus`` voltage [V] or its current limit."""
    if not w["driven"]:
        return 0.0
    R, lam, p = cold_resistance(w) + w["on_resistance"], w["flux_linkage"], w["pole_pairs"]
    full = motor.stall_torque(w["modulation"] * bus, R, lam, p)
    return float(min(full, motor.torque(w["current_limit"], p, lam)))


def bus_all_stalled(model: Model) -> float | None:
    """Return where the bus settles [V] while every driven wheel gives all it can at standstill; None on collapse."""
    R = float(model.params["battery_resistance"][0])
    R *= float(np.interp(model.bodies["state_of_charge"][0], model.table[0], model.table[2]))
    R += float(model.params["diffusion_resistance"][0])
    inner = bus = float(model.bodies["bus_voltage"][0])
    for _ in range(SAG_ROUNDS):
        constant, resistive = _drawn_stalled(model, bus)
        new = float(
            supply.advance_bus(bus, inner, R, 0.0, constant, resistive, 1.0)
        )  # no capacitance: at once
        if new == supply.COLLAPSED:
            return None
        if abs(new - bus) < SAG_CLOSE:
            break
        bus = new
    return bus


def _drawn_stalled(model: Model, bus: float) -> tuple[float, float]:
    """Return the power [W] that does not depend on the bus voltage, and that which grows with its square."""
    constant, resistive = float(model.params["electronics"][0]), 0.0
    for w in model.wheels[model.wheels["driven"] == 1]:
        R = cold_resistance(w) + w["on_resistance"]
        current = w["modulation"] * bus / R
        power = motor.copper_loss(min(current, w["current_limit"]) ** 2, R) / w["efficiency"]
        constant += w["fixed_loss"]
        if current < w["current_limit"]:
            resistive += power
        else:
            constant += power
    return float(constant), float(resistive)


def winding_table(motor: Motor, conductor: Conductor, wheel: np.void) -> dict[str, Any]:
    """Return each kind of layer's part of a phase's resistance, and what thinner inner layers cost.

    The resistances are those of one path as it is drawn.  ``inner_cost``: the phase's resistance over that with every
    inner layer as thick as the outer ones, 1 without both; ``inner_torque_cost``: the share of the torque at
    standstill that this takes, with ``wheel``'s driver.
    """
    shares, vias = layer_shares(conductor, AT), vias_resistance(conductor, AT)
    path = sum(share.resistance for share in shares) + vias
    outer = max((share.thickness for share in shares if share.place == "outer"), default=None)
    inner = [share for share in shares if share.place == "inner"]
    saved = sum(s.resistance * max(0.0, 1 - s.thickness / outer) for s in inner) if outer else 0.0
    star = motor.star(phase_resistance(conductor, AT))
    even = star * (path - saved) / path
    return {
        "layers": [
            {**share._asdict(), "share": share.resistance / path, "thickness_um": share.thickness * 1e6}
            for share in shares
        ],
        "vias_ohm": vias,
        "vias_share": vias / path,
        "phase_ohm": phase_resistance(conductor, AT),
        "inner_cost": path / (path - saved),
        "inner_torque_cost": 1 - float((even + wheel["on_resistance"]) / (star + wheel["on_resistance"])),
    }


def _torque_slope(model: Model, bus: float) -> float:
    """Return the steepest slope [deg] that all wheels' torque at standstill climbs at ``bus`` [V], at a crawl.

    Rolling resistance, on the ground as it is away from patches, and the bearings' dry drag take their part of it;
    what soil takes besides is left out.
    """
    w = model.wheels
    slope = obstacle.grade_by_torque(
        sum(stall_torque(wheel, bus) for wheel in w),
        float(w["bearing_dry"].sum()),
        float(w["rolling_resistance"].mean() * model.scenario.ground.rolling),
        float(w["radius"].mean()),
        float(model.params["mass"][0] * model.params["gravity"][0]),
    )
    return math.degrees(slope)


def _friction_slope(model: Model) -> float | None:
    """Return the steepest slope that friction allows [deg]; None on soil and where wheels do not stand in two axles."""
    w, ground = model.wheels, model.scenario.ground
    front, rear = w["x"] > 0, w["x"] < 0
    if not (front.any() and rear.any()) or ground.soil is not None:
        return None
    wheelbase = float(w["x"][front].mean() - w["x"][rear].mean())
    height = float(w["radius"].mean() - w["z"].mean())
    driven = w["driven"] == 1
    mu = float((w["friction"] * ground.friction + ground.hold * w["bite"]).min())
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
