"""Gains to begin with, from published rules and the rover's own numbers; imports the plant and physics.

A PI gets Skogestad's SIMC rule (physics.loop), with the closed loop's time constant as long as the dead time, once for
the wheel in the air and once for the wheel with its share of the rover.  Strategies without a PI get the law that
drive makers use, common practice without a source: volts for the EMF, and on top what the load needs.
"""

from __future__ import annotations

import numpy as np

from drivesim.physics import loop, motor
from drivesim.physics.bench import back_emf
from drivesim.scenario.drive import FixedVoltage, LockedFrequency, TrimmedFrequency
from drivesim.scenario.rules import full_amplitude
from drivesim.scenario.scenario import Scenario
from drivesim.tuning.plant import (
    LOADED,
    Loop,
    Plant,
    carried_mass,
    crawl_speed,
    warm_resistance,
    wheel_record,
)

Gains = dict[str, float]  # dotted path → SI

FEED_FORWARD, SPEED_VOLTS = "drive.feed_forward", "drive.voltage_per_speed"
BASE, PER_HERTZ = "drive.base_amplitude", "drive.amplitude_per_hertz"


def simc(plant: Plant) -> tuple[float, float]:
    """Return (kp, ki) by Skogestad's rule, the closed loop as slow as the dead time."""
    theta = plant.delay
    if plant.lag == 0.0:
        return 0.0, float(loop.simc_integral_of_delay(plant.gain, theta, theta))
    kp = float(loop.simc_gain(plant.gain, plant.lag, theta, theta))
    return kp, kp / float(loop.simc_integral_time(plant.lag, theta, theta))


def rules(scenario: Scenario, linear: Loop | None) -> dict[str, Gains]:
    """Return the gains of each rule that fits the scenario's drive, by a name that says which.

    Gains that a rule says nothing of are left out.
    """
    drive = scenario.drive.all_wheels
    found: dict[str, Gains] = {}
    for plant in linear.plants if linear else ():
        assert linear is not None
        kp, ki = simc(plant)
        found[f"rule, {plant.name}"] = {linear.proportional: kp, linear.integral: ki}
    if isinstance(drive, FixedVoltage):
        found["rule"] = {SPEED_VOLTS: rolling_voltage(scenario)}
    elif isinstance(drive, LockedFrequency | TrimmedFrequency):
        volts = {
            BASE: sliding_voltage(scenario),
            PER_HERTZ: float(loop.emf_per_hertz(scenario.rover.wheel.motor.lam)),
        }
        found = {name: gains | volts for name, gains in found.items()} or {"rule": volts}
    elif linear is not None and linear.sets == "V":
        w = wheel_record(scenario)
        for gains in found.values():
            gains[FEED_FORWARD] = emf(w)
    return found


def rolling_voltage(scenario: Scenario) -> float:
    """Return the volts for each rad/s that carry EMF, bearing and rolling resistance on level ground at the crawl."""
    w, speed = wheel_record(scenario), crawl_speed(scenario)
    if speed == 0.0:
        return emf(w)
    load = loop.rolling_load(
        carried_mass(scenario), scenario.gravity, w["rolling_resistance"], w["radius"], w["bearing_dry"],
        w["bearing_viscous"], speed,
    )  # fmt: skip
    R = warm_resistance(scenario, w)
    return float(loop.driving_voltage(load, R, w["flux_linkage"], w["pole_pairs"], speed) / speed)


def emf(w: np.void) -> float:
    """Return the EMF's volts for each rad/s of a wheel."""
    return float(back_emf(1.0, w["pole_pairs"], w["flux_linkage"]))


def sliding_voltage(scenario: Scenario) -> float:
    """Return the amplitude [V] at which a field at rest pulls as hard as the tyre holds; at most the full pack's."""
    w = wheel_record(scenario)
    grip = loop.grip_torque(carried_mass(scenario), scenario.gravity, w["friction"], w["radius"])
    per_volt = motor.stall_torque(1.0, warm_resistance(scenario, w), w["flux_linkage"], w["pole_pairs"])
    return float(min(grip / per_volt, full_amplitude(scenario.rover)))


def words(name: str) -> str:
    """Return what a rule's name stands for."""
    if name == f"rule, {LOADED}":
        return "SIMC rule for a wheel with its share of the rover"
    return "SIMC rule for a wheel in the air" if "," in name else "volts for EMF and load"
