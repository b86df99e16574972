"""The highest sharp step that the front and then the rear axle climb, at a crawl; imports ability and physics."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

from scipy.optimize import brentq

from drivesim.physics import obstacle
from drivesim.sizing.ability import Ability, Found, own_thrust, own_torque
from drivesim.sizing.bus import Bus
from drivesim.sizing.design import Wheel
from drivesim.sizing.loads import Loads, shifted
from drivesim.sizing.statics import NOT_THERE, root, still

ROUNDS = 12  # of bus and balance in turn, at most
ALMOST = 1 - 1e-6  # of the radius: a rigid wheel climbs no more
LOWEST = 1e-9  # m
UNKNOWN = (math.nan, math.nan)
PUSHES = 3  # rounds of the front wheels' load and what they pull with
LEAST = 1e-9  # N
FAR = 1e3  # weights
EVEN = 1e-9  # of the weight
SECANTS = 8

Axles = tuple[tuple[int, ...], tuple[int, ...]]


class Lift(NamedTuple):
    """Each wheel's load [N] where an axle starts to lift, and the thrust [N] needed of the rear wheels."""

    loads: Loads
    needed: float


class Step:
    """The balances at a step's corner of a rover with two axles, front first; ``lifted`` hangs in the air if given."""

    def __init__(
        self, ability: Ability, axles: Axles, level: Loads, speed: float, lifted: int | None = None
    ) -> None:
        self.ability, self.axles, self.speed, self.lifted = ability, axles, speed, lifted
        self.design = ability.design
        wheels = self.design.wheels
        self.r = self.design.radius
        self.base = wheels[axles[0][0]].x - wheels[axles[1][0]].x
        self.ahead = -wheels[axles[1][0]].x
        self.tips: float = obstacle.step_at_tipping(self.base, self.ahead, self.design.height - self.r)
        self.shares = [0.0] * len(wheels)
        for axle in axles:
            carried = sum(level[i] for i in axle)
            for i in axle:
                self.shares[i] = level[i] / carried if carried > 0 else 1 / len(axle)
        self.change = [] if lifted is None else self._change(wheels[lifted])
        usual = [load if load > 0 else self.design.weight / len(wheels) for load in level]
        ground = [self.design.traction(w, load) for w, load in zip(wheels, usual, strict=True)]
        self.grips = [limit / load for (limit, _), load in zip(ground, usual, strict=True)]
        self.drags = [drag / load for (_, drag), load in zip(ground, usual, strict=True)]  # of soil

    def _change(self, lifted: Wheel) -> Loads:
        """Return how loads change as the ground unloads a wheel: with it the opposite one, the others take it over."""
        signs = []
        for w in self.design.wheels:
            same_axle, same_side = (w.x > 0) == (lifted.x > 0), (w.y > 0) == (lifted.y > 0)
            signs.append(-1.0 if same_axle == same_side else 1.0)
        return [sign * self.design.weight for sign in signs]

    def loads(self, front: float, rear: float) -> Loads:
        """Return what each wheel carries of the axles' loads [N]."""
        on = (max(0.0, front), max(0.0, rear))
        full = [0.0] * len(self.shares)
        for axle, load in zip(self.axles, on, strict=True):
            for i in axle:
                full[i] = self.shares[i] * load
        if self.lifted is None:
            return full
        return shifted(full, self.change)

    def thrust(self, axle: Sequence[int], bus: Bus, loads: Loads, corner: bool = False) -> float:
        """Return the most that an axle pushes with along the ground under its wheels [N], or along the ``corner``.

        Soft ground drags at the wheels that stand on it, not at those that the corner carries.
        """
        total = 0.0
        for i in axle:
            w, load = self.design.wheels[i], loads[i]
            if load > 0:
                have = own_thrust(w, bus.wheels[i].torque, load, self.speed)
                total += min(self.grips[i] * load, have) - (0.0 if corner else self.drags[i] * load)
        return total

    def front_axle(self, h: float, bus: Bus) -> Lift:
        """Return how the front wheels lift at a step ``h`` [m]: they pull with all they have, the rear ones push."""
        front, _ = self.axles
        place = (self.design.weight, self.r, h, self.base, self.ahead)

        def more(F: float) -> float:
            return self.thrust(front, bus, self.loads(*_front(F, *place)[:2]), corner=True) - F

        N_front, N_rear, push = _front(_crossing(more, self.design.weight), *place)
        return Lift(self.loads(N_front, N_rear), push)

    def rear_axle(self, h: float, bus: Bus) -> Lift:
        """Return how the rear wheels lift, the front ones being up already and pulling with all they have."""
        d = self.design
        place = (self.r, h, self.base, self.ahead, d.height - self.r)
        N_front, N_rear, F = obstacle.rear_axle_at_step(d.weight, 0.0, *place)
        if N_front <= 0:
            return Lift(self.loads(0.0, d.weight), math.inf)  # it tips over backwards
        for _ in range(PUSHES):
            push = self.thrust(self.axles[0], bus, self.loads(N_front, N_rear))
            N_front, N_rear, F = obstacle.rear_axle_at_step(d.weight, push, *place)
        return Lift(self.loads(N_front, N_rear), F)

    def left(self, h: float, bus: Bus, first: bool) -> float:
        """Return what thrust is left over [N] when the front (``first``) or rear axle lifts; negative: it does not."""
        lift = self.front_axle(h, bus) if first else self.rear_axle(h, bus)
        if lift.needed == math.inf:
            return -self.design.weight  # it tips over
        given = self.thrust(self.axles[1], bus, lift.loads, corner=not first)
        return given - min(lift.needed, 2 * self.design.weight)

    def used(self, h: float, bus: Bus, first: bool) -> tuple[list[float], str]:
        """Return the torque of each wheel that its grip holds [N·m], inf of the others, and what holds most."""
        lift = self.front_axle(h, bus) if first else self.rear_axle(h, bus)
        if lift.needed == math.inf:
            return [math.inf for _ in bus.wheels], "tipping"
        weights, torques = dict[str, float](), []
        for i, (w, load) in enumerate(zip(self.design.wheels, lift.loads, strict=True)):
            have = own_thrust(w, bus.wheels[i].torque, load, self.speed)
            limit = self.grips[i] * load
            thrust = min(have, limit) if load > 0 else 0.0
            slips = limit < have or (w.driven and bus.wheels[i].name == "traction")
            torques.append(own_torque(w, limit, load, self.speed) if slips or load <= 0 else math.inf)
            if w.driven and load > 0:
                name = "traction" if limit < have else bus.wheels[i].name
                twice = 2.0 if i in self.axles[0 if first else 1] else 1.0
                weights[name] = weights.get(name, 0.0) + twice * max(thrust, LEAST)
        return torques, max(weights, key=lambda k: weights[k], default="not driven")


def highest_step(
    ability: Ability,
    level: Loads | None,
    speed: float,
    lifted: int | None = None,
    near: Sequence[float] = UNKNOWN,
) -> tuple[Found, Found]:
    """Return the highest step [m] of the front axle and of the rear axle; NaN where there are not two axles.

    They are perhaps ``near`` these.
    """
    axles = ability.design.axles
    if axles is None or level is None or (lifted is not None and any(len(axle) != 2 for axle in axles)):
        return NOT_THERE, NOT_THERE
    step = Step(ability, axles, level, speed, lifted)
    return _highest(step, True, near[0]), _highest(step, False, near[1])


def _highest(step: Step, first: bool, near: float) -> Found:
    bus = step.ability.bus(step.speed)
    found = NOT_THERE
    top = min(step.r, step.base) * ALMOST
    over = min(top, step.tips) if first else top
    for _ in range(ROUNDS):

        def left(h: float, bus: Bus = bus) -> float:
            return step.left(max(h, LOWEST), bus, first)

        h = near = root(left, over, near)
        if h == over < top:
            return Found(h, "tipping")
        if h == 0.0:
            return Found(0.0, step.used(LOWEST, bus, first)[1])
        if h == top:
            return Found(step.r, "radius")
        torques, name = step.used(h, bus, first)
        found = Found(h, name)
        before, bus = bus, step.ability.bus(step.speed, torques)
        if still(before, bus):
            break
    return found


def _front(F: float, W: float, r: float, h: float, L: float, b: float) -> tuple[float, float, float]:
    """Return the axles' loads, and the push from behind [N], for the front wheels' pull ``F`` [N]."""
    found: tuple[float, float, float] = obstacle.front_axle_at_step(W, F, r, h, L, b)
    return found


def _crossing(more: Callable[[float], float], weight: float) -> float:
    """Return the thrust [N] where what the wheels give is what they need.

    What is left over falls by straight pieces: the secant mostly meets it at once.
    """
    before, here = 0.0, more(0.0)
    at, left = here, more(here)
    for _ in range(SECANTS):
        if abs(left) <= EVEN * weight or left == here:
            return at
        new = at - left * (at - before) / (left - here)
        before, here, at, left = at, left, new, more(new)
    return float(brentq(more, -FAR * weight, FAR * weight, xtol=EVEN * weight))
