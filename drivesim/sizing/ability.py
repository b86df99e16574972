"""What all wheels together push with: each held by its own motor or its grip; imports bus, loads and machine."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from scipy.optimize import brentq

from drivesim.physics import tyre
from drivesim.sizing.bus import FREE, Bus, settle_bus
from drivesim.sizing.design import Design, Wheel
from drivesim.sizing.loads import Loads, Standing
from drivesim.sizing.machine import Cap, lasting_cap

Stand = Callable[[float, float], Loads | None]  # slope [rad], level pull [N] → loads


class Found(NamedTuple):
    """A limit in SI, and the name of what sets it."""

    value: float
    name: str


class Push(NamedTuple):
    """All wheels' thrust less what soil and idle wheels take [N], and the name of what holds most of it.

    ``used``: the torque [N·m] that grip leaves each wheel which it holds, or has held before this; inf of the others,
    which give all they have.
    """

    total: float
    used: tuple[float, ...]
    name: str


@dataclass(frozen=True)
class Ability:
    """A design with windings as warm as ``temperatures``; ``lasting``: only what heat and ratings allow for ever."""

    design: Design
    standing: Standing
    temperatures: tuple[float, ...]
    lasting: bool = False

    @cached_property
    def resistances(self) -> tuple[float, ...]:
        """What the current passes of each wheel's phase [ohm]."""
        return tuple(w.resistance(T) for w, T in zip(self.design.wheels, self.temperatures, strict=True))

    def caps(self, speed: float) -> list[Cap]:
        """Return what each wheel may give at most besides what voltage and driver hold [N·m]."""
        if not self.lasting:
            return [FREE] * len(self.design.wheels)
        return [
            lasting_cap(w, speed, R) if w.driven else FREE
            for w, R in zip(self.design.wheels, self.resistances, strict=True)
        ]

    def bus(self, speed: float, used: Sequence[float] | None = None, charge: float | None = None) -> Bus:
        """Return the bus while every wheel gives all it can, or what is ``used`` of it where that is less [N·m]."""
        if used is not None and min(used, default=0.0) == math.inf:
            used = None
        if used is None and charge is None:
            if speed not in self._known:
                self._known[speed] = self._settled(speed, self.caps(speed), None)
            return self._known[speed]
        caps = self.caps(speed)
        if used is not None:
            caps = [
                Cap(torque, "traction") if torque < cap.torque else cap
                for torque, cap in zip(used, caps, strict=True)
            ]
        return self._settled(speed, caps, charge)

    @cached_property
    def _known(self) -> dict[float, Bus]:
        return {}

    def _settled(self, speed: float, caps: Sequence[Cap], charge: float | None) -> Bus:
        return settle_bus(self.design, self.resistances, speed, caps, lasting=self.lasting, charge=charge)

    def push(self, given: Sequence[Cap], loads: Loads, speed: float = 0.0) -> Push:
        """Return what the wheels push with, that are ``given`` this torque at most and carry ``loads``.

        A wheel in the air turns and pushes nothing.  Forced wheels turn alike, so that all treads are bent alike (the
        brush tyre): none pushes with more than it does when the first of them is at its pull-out.
        """
        d = self.design
        grips = [d.traction(w, load) for w, load in zip(d.wheels, loads, strict=True)]
        haves = [
            own_thrust(w, cap.torque, load, speed)
            for w, cap, load in zip(d.wheels, given, loads, strict=True)
        ]
        shared = min(
            (
                limit * tyre.brush_use(max(0.0, have) / limit)
                for w, have, (limit, _), load in zip(d.wheels, haves, grips, loads, strict=True)
                if w.forced and w.driven and load > 0 and have < limit
            ),
            default=math.inf,
        )  # of the bristles, in newtons: that of the wheel which pulls out first
        total, used, weights = 0.0, [], dict[str, float]()
        for w, cap, load, have, (limit, drag) in zip(d.wheels, given, loads, haves, grips, strict=True):
            most = have
            if w.forced and w.driven and load > 0 and shared < math.inf:
                most = min(have, limit * tyre.brush_share(shared / limit))
            thrust = min(most, limit) if load > 0 else 0.0
            if w.driven and load > 0:
                name = "traction" if limit < most else cap.name
                weights[name] = weights.get(name, 0.0) + max(thrust, 1e-9)
            total += thrust - drag
            slips = w.driven and (limit < most or cap.name == "traction")
            used.append(own_torque(w, limit, load, speed) if slips or load <= 0 else math.inf)
        return Push(total, tuple(used), max(weights, key=lambda k: weights[k], default="not driven"))


def shared_thrusts(limits: Sequence[float], needed: float) -> list[float]:
    """Return what wheels of these grips [N] push with that turn alike and together push with ``needed`` [N].

    All treads are bent alike, as the brush tyre's; no more than the grips together.
    """
    if needed <= 0 or not limits:
        return [needed / len(limits)] * len(limits) if limits else []
    if needed >= sum(limits):
        return list(limits)

    def pushed(bent: float) -> list[float]:
        return [limit * tyre.brush_share(bent / limit) if limit > 0 else 0.0 for limit in limits]

    bent = float(brentq(lambda u: sum(pushed(u)) - needed, 0.0, max(limits), xtol=1e-12))
    return pushed(bent)


def own_thrust(w: Wheel, torque: float, load: float, speed: float) -> float:
    """Return the thrust [N] that ``torque`` [N·m] leaves after bearing and rolling resistance."""
    return (torque - w.drag(speed)) / w.radius - w.rolling * load


def own_torque(w: Wheel, thrust: float, load: float, speed: float) -> float:
    """Return the torque [N·m] that this ``thrust`` [N] takes."""
    return max(0.0, w.radius * (thrust + w.rolling * load) + w.drag(speed))
