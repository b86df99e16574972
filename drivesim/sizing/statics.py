"""Steepest grade, pull and turning on the spot, from balances of forces at a crawl; imports ability."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from scipy.optimize import brentq

from drivesim.physics import obstacle
from drivesim.sizing.ability import Ability, Found, Push, Stand, own_thrust
from drivesim.sizing.bus import Bus
from drivesim.sizing.loads import Loads
from drivesim.sizing.machine import Cap

ROUNDS = 12  # of bus and balance in turn, at most
STILL = 1e-5  # of the greatest torque
STEEPEST = math.radians(89.9)
A_HAIR = 1e-6  # rad, beyond a slope to see whether the rover tips there
CLOSE = 1e-8
NEAR = 0.05  # of a value that the solution is close to
NOT_THERE = Found(math.nan, "")


def steepest_grade(ability: Ability, stand: Stand, speed: float, near: float = math.nan) -> Found:
    """Return the steepest slope [rad] that the rover starts up and climbs, perhaps ``near`` this one."""
    weight = ability.design.weight
    if stand(0.0, 0.0) is None:
        return Found(0.0, "tipping")
    found = Found(0.0, "")
    bus = ability.bus(speed)
    for _ in range(ROUNDS):

        def left(slope: float, bus: Bus = bus) -> float:
            loads = stand(slope, 0.0)
            if loads is None:
                return -weight
            return ability.push(bus.wheels, loads, speed).total - weight * math.sin(slope)

        value = near = root(left, STEEPEST, near)
        loads = stand(value, 0.0) or stand(value - A_HAIR, 0.0)
        assert loads is not None
        push = ability.push(bus.wheels, loads, speed)
        found = Found(value, "tipping" if stand(value + A_HAIR, 0.0) is None else _name(push, bus))
        before, bus = bus, ability.bus(speed, push.used)
        if still(before, bus):
            break
    return found


def greatest_pull(ability: Ability, stand: Stand, speed: float, near: float = math.nan) -> Found:
    """Return the greatest pull [N] at axle height on the level, perhaps ``near`` this one."""
    found = Found(0.0, "")
    bus = ability.bus(speed)
    for _ in range(ROUNDS):

        def left(pull: float, bus: Bus = bus) -> float:
            loads = stand(0.0, pull)
            return -pull if loads is None else ability.push(bus.wheels, loads, speed).total - pull

        most = sum(cap.torque for cap in bus.wheels) / ability.design.radius
        value = near = root(left, most + 1e-9, near)
        loads = stand(0.0, value)
        if loads is None:
            return Found(value, "tipping")
        push = ability.push(bus.wheels, loads, speed)
        found = Found(value, _name(push, bus))
        before, bus = bus, ability.bus(speed, push.used)
        if still(before, bus):
            break
    return found


def still(before: Bus, after: Bus) -> bool:
    """Tell whether another round changes nothing more: neither the bus nor what any wheel gives."""
    if after.collapsed:
        return True
    most = max(cap.torque for cap in after.wheels)
    return all(
        abs(new.torque - old.torque) <= STILL * most or min(new.torque, old.torque) == math.inf
        for old, new in zip(before.wheels, after.wheels, strict=True)
    )


def turn_margin(ability: Ability, loads: Loads | None, speed: float) -> tuple[Found, float]:
    """Return by what factor the torque exceeds what begins a turn on the spot, and the mean torque that takes [N·m].

    Rigid Coulomb friction: at rest each wheel is dragged across by what its friction ellipse leaves beside its own
    thrust.  It turns when the thrusts' moment exceeds what that can hold, about the centre that resists least.
    """
    d = ability.design
    if loads is None:
        return Found(0.0, "tipping"), math.nan
    bus = ability.bus(speed)
    grips = [d.traction(w, load) for w, load in zip(d.wheels, loads, strict=True)]
    limits = [limit for limit, _ in grips]
    places = np.array([w.x for w in d.wheels])

    def left(share: float) -> float:
        moment, holds = 0.0, np.zeros(len(places))
        for i, (w, cap, load, (limit, drag)) in enumerate(
            zip(d.wheels, bus.wheels, loads, grips, strict=True)
        ):
            if load <= 0:
                continue
            thrust = min(limit, own_thrust(w, share * cap.torque, load, speed))
            thrust = max(thrust, -limit)
            moment += abs(w.y) * (thrust - drag)
            holds[i] = d.side_limit(w, thrust, limit)
        return moment - float(obstacle.side_moment(places, holds))

    needs = [
        (limit + w.rolling * load + w.drag(speed) / w.radius) * w.radius / cap.torque
        for w, cap, load, limit in zip(d.wheels, bus.wheels, loads, limits, strict=True)
        if load > 0 and cap.torque > 0
    ]
    if not needs:
        return Found(0.0, bus.wheels[0].name), math.nan
    if left(max(needs)) <= 0:
        idle = [
            cap.name
            for w, cap, load in zip(d.wheels, bus.wheels, loads, strict=True)
            if w.driven and load > 0 and cap.torque == 0
        ]
        return Found(0.0, idle[0] if idle else "traction"), math.nan
    share = root(lambda s: -left(s), max(needs))
    torques = [
        cap.torque * share
        for w, cap, load in zip(d.wheels, bus.wheels, loads, strict=True)
        if w.driven and load > 0
    ]
    if share <= 0:
        return Found(math.inf, "none"), 0.0
    return Found(1 / share, _heaviest(bus.wheels, loads)), sum(torques) / len(torques)


def _heaviest(given: tuple[Cap, ...], loads: Loads) -> str:
    """Return the name of what holds the torque of the wheels that carry the rover."""
    weights = dict[str, float]()
    for cap, load in zip(given, loads, strict=True):
        if cap.name != "not driven":
            weights[cap.name] = weights.get(cap.name, 0.0) + load
    return max(weights, key=lambda k: weights[k], default="not driven")


def _name(push: Push, bus: Bus) -> str:
    return "battery" if bus.collapsed else push.name


def root(left: Callable[[float], float], high: float, near: float = math.nan) -> float:
    """Return where ``left`` falls below zero between 0 and ``high``; 0 where it does so at once, ``high`` if never.

    It is looked for close to ``near`` first.
    """
    below, above = near * (1 - NEAR), min(high, near * (1 + NEAR))
    if 0 < below < above and left(below) > 0 > left(above):
        return float(brentq(left, below, above, xtol=CLOSE, rtol=CLOSE))
    if left(0.0) <= 0:
        return 0.0
    if left(high) >= 0:
        return high
    return float(brentq(left, 0.0, high, xtol=CLOSE, rtol=CLOSE))
