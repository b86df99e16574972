"""Driving steadily: top speed, what flows at a speed, how long and how far the pack lasts; imports ability."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from drivesim.sizing.ability import Ability, Found, Stand, own_torque, shared_thrusts
from drivesim.sizing.bus import Bus, settle_bus
from drivesim.sizing.loads import Loads
from drivesim.sizing.machine import Cap, settled
from drivesim.sizing.statics import root

NODES = 6  # of the charge, between full and empty
CLOSE = 1e-6  # of the charge
SHORT = 1 - 1e-6  # of a wheel's torque: less than that is not what was asked
BEYOND = 1.05  # of the speed without load
WARM_ROUNDS = 3
COOL_ROUNDS = 8  # at most
SAME = 0.01  # K
ALL_THERE_IS = ("torque", "pull-out", "current limit")  # what voltage and driver hold, at any temperature


@dataclass(frozen=True)
class Steady:
    """A steady drive: does it hold the speed, or what does not let it; per wheel torque and current; the pack."""

    possible: bool
    name: str
    torques: tuple[float, ...]
    bus: Bus
    beyond: float = 0.0  # N of thrust that is needed and no grip holds

    @property
    def power(self) -> float:
        """What the pack gives at its terminals [W]."""
        return self.bus.voltage * self.bus.current


def top_speed(ability: Ability, stand: Stand, slope: float = 0.0, near: float = math.nan) -> Found:
    """Return the highest speed [m/s] that the wheels hold on ``slope`` [rad], or 0 where they hold none.

    It is perhaps ``near`` this one.
    """
    d = ability.design
    loads = stand(slope, 0.0)
    if loads is None:
        return Found(0.0, "tipping")
    down = d.weight * math.sin(slope)

    def left(speed: float) -> float:
        return ability.push(ability.bus(speed).wheels, loads, speed).total - down

    if not d.driven:
        return Found(0.0, "not driven")
    fastest = (
        BEYOND * max(w.modulation / (w.p * w.lam) for w in d.driven) * d.pack.open_circuit(d.pack.charge)
    )
    fastest *= d.radius
    speed = root(left, fastest, near)
    bus = ability.bus(speed)
    return Found(speed, "battery" if bus.collapsed else ability.push(bus.wheels, loads, speed).name)


def steady(
    ability: Ability,
    loads: Loads | None,
    speed: float,
    slope: float = 0.0,
    pull: float = 0.0,
    charge: float | None = None,
) -> Steady:
    """Return what flows at ``speed`` [m/s] on ``slope`` [rad] with a level ``pull`` [N] behind.

    Wheels that turn alike slip alike, and share the thrust by their brush tyres.
    """
    d = ability.design
    nothing = (0.0,) * len(d.wheels)
    if loads is None:
        return Steady(False, "tipping", nothing, ability.bus(speed, nothing))
    grips = [d.traction(w, load) for w, load in zip(d.wheels, loads, strict=True)]
    needed = d.weight * math.sin(slope) + pull + sum(drag for _, drag in grips)
    thrusts = [0.0] * len(loads)
    for i, (w, load) in enumerate(zip(d.wheels, loads, strict=True)):
        if not w.driven and load > 0:
            thrusts[i] = -(w.rolling * load + w.drag(speed) / w.radius)
    needed -= sum(thrusts)
    pushing = [i for i, (w, load) in enumerate(zip(d.wheels, loads, strict=True)) if w.driven and load > 0]
    for i, thrust in zip(pushing, shared_thrusts([grips[i][0] for i in pushing], needed), strict=True):
        thrusts[i] = thrust
        needed -= thrust
    torques = tuple(
        own_torque(w, thrust, load, speed) if w.driven else 0.0
        for w, thrust, load in zip(d.wheels, thrusts, loads, strict=True)
    )
    caps = [Cap(min(torque, cap.torque), "given" if torque <= cap.torque else cap.name)
            for torque, cap in zip(torques, ability.caps(speed), strict=True)]  # fmt: skip
    bus = settle_bus(d, ability.resistances, speed, caps, lasting=ability.lasting, charge=charge)
    if bus.collapsed:
        return Steady(False, "battery", torques, bus)
    held = [cap.name for cap, torque in zip(bus.wheels, torques, strict=True) if cap.torque < torque * SHORT]
    no_grip = needed > 1e-9 * d.weight
    if no_grip and not d.driven:
        return Steady(False, "not driven", torques, bus, needed)
    name = "traction" if no_grip else held[0] if held else ""
    return Steady(not name, name, torques, bus, needed if no_grip else 0.0)


def warmed(
    ability: Ability, loads: Loads | None, speed: float, slope: float = 0.0, pull: float = 0.0
) -> Ability:
    """Return the same rover with its windings as warm as they settle on this steady drive."""
    d = ability.design
    for _ in range(WARM_ROUNDS):
        drive = steady(ability, loads, speed, slope, pull)
        if drive.bus.collapsed:
            return ability
        ends = tuple(
            settled(w, torque, drive.bus.voltage, speed, d.ambient) if w.driven else d.ambient
            for w, torque in zip(d.wheels, drive.torques, strict=True)
        )
        ability = Ability(d, ability.standing, ends)
    return ability


def cooled(ability: Ability, speed: float) -> Ability:
    """Return the same rover with windings that are warm by what they may give for ever, not by what they may be.

    All wheels at once at rim ``speed`` [m/s].  Where heat is what holds a wheel, its winding is at its limit.
    """
    d = ability.design
    for _ in range(COOL_ROUNDS):
        bus = ability.bus(speed)
        if bus.collapsed or all(cap.name in ("heat", "not driven") for cap in bus.wheels):
            return ability
        known: dict[tuple[object, ...], float] = {}
        ends = []
        for w, cap in zip(d.wheels, bus.wheels, strict=True):
            kind = (w.machine, w.R_th, cap)
            if kind not in known:
                torque = math.inf if cap.name in ALL_THERE_IS else cap.torque
                holds = not w.driven or cap.name == "heat"
                known[kind] = w.hottest if holds else settled(w, torque, bus.voltage, speed, d.ambient)
            ends.append(min(w.hottest, known[kind]))
        if max(abs(new - old) for new, old in zip(ends, ability.temperatures, strict=True)) < SAME:
            return ability
        ability = Ability(d, ability.standing, tuple(ends), ability.lasting)
    return ability


def endurance(
    ability: Ability, loads: Loads | None, speed: float, slope: float = 0.0, pull: float = 0.0
) -> Found:
    """Return how long [s] the pack drives that, down to its cut-off or to where the speed is no longer held."""
    pack = ability.design.pack

    def at(charge: float) -> Steady:
        return steady(ability, loads, speed, slope, pull, charge)

    def left(charge: float) -> float:
        """Return the voltage that a cell has left above its cut-off [V]."""
        drive = at(charge)
        return drive.bus.voltage / pack.cells - pack.cut_off if drive.possible else -1.0

    if left(pack.charge) <= 0:
        return Found(0.0, at(pack.charge).name or "battery")
    end = 0.0 if left(0.0) >= 0 else float(brentq(left, 0.0, pack.charge, xtol=CLOSE))
    name = at(max(0.0, end - CLOSE)).name or "battery"
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    half = (pack.charge - end) / 2
    currents = [at(float(end + half * (1 + node))).bus.current for node in nodes]
    if min(currents) <= 0:
        return Found(math.inf, "battery")
    share = half * sum(weight / current for weight, current in zip(weights, currents, strict=True))
    return Found(float(share) * pack.capacity, name)
