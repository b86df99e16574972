"""What one wheel's motor gives and takes at a bus voltage and a rim speed; composes physics, imports the design."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from scipy.optimize import brentq

from drivesim.physics import heat, motor
from drivesim.sizing.design import Wheel

FULL = 1 - 1e-9  # of the bus: an amplitude above this share is all that there is
BURNT = 1000.0  # degC; beyond it a figure says nothing
NODES = 24  # of the temperature, for the time to its limit


class Cap(NamedTuple):
    """The most torque [N·m] of a wheel by the limit of this name."""

    torque: float
    name: str


class Draw(NamedTuple):
    """What a wheel takes: phase current [A peak], power from the bus [W], its part that follows the bus, power into
    the phases [W]; ``voltage`` [V] is the amplitude that it needs."""

    current: float
    bus: float
    resistive: float
    phases: float
    voltage: float


NOTHING = Draw(0.0, 0.0, 0.0, 0.0, 0.0)


def most_torque(w: Wheel, bus: float, speed: float, R: float) -> Cap:
    """Return what a driven wheel gives at most at ``bus`` [V] and rim ``speed`` [m/s]; ``R`` [ohm] of a phase.

    A self-commutated wheel gets all the voltage there is, a forced one what its amplitude law sets.
    """
    full, we = w.modulation * bus, w.electrical_speed(speed)
    if w.forced:
        amplitude = min(w.law_amplitude(speed), full)
        found = Cap(max(0.0, motor.pull_out_torque(amplitude, R, w.L, w.lam, w.p, we)), "pull-out")
    else:
        iq = motor.steady_current(0.0, full, R, w.L, w.lam, we)[1]
        found = Cap(max(0.0, motor.torque(iq, w.p, w.lam)), "torque")
    held = w.current_limit * w.Kt
    return Cap(held, "current limit") if held < found.torque else found


def draw(w: Wheel, torque: float, bus: float, speed: float, R: float) -> Draw:
    """Return what a driven wheel takes while it gives ``torque`` [N·m] at rim ``speed`` [m/s]."""
    full, we = w.modulation * bus, w.electrical_speed(speed)
    if w.forced:
        law = w.law_amplitude(speed)
        amplitude = min(law, full)
        angle = motor.load_angle_for_torque(torque, amplitude, R, w.L, w.lam, w.p, we)
        vd, vq = motor.forced_voltages(amplitude, angle)
        id_, iq = motor.steady_current(vd, vq, R, w.L, w.lam, we)
        follows = law >= full * FULL
        voltage = law
    else:
        vd, vq = 0.0, motor.voltage_for_torque(torque, R, w.L, w.lam, w.p, we)
        id_, iq = motor.steady_current(vd, vq, R, w.L, w.lam, we)
        follows = vq >= full * FULL
        voltage = vq
    current = math.hypot(id_, iq)
    if w.forced and current > w.current_limit:
        vd, vq, _ = motor.limit_current(vd, vq, R, w.L, w.lam, we, w.current_limit)
        id_, iq = motor.steady_current(vd, vq, R, w.L, w.lam, we)
        current, follows = w.current_limit, False
    phases = motor.electrical_power(vd, vq, id_, iq)
    from_bus = phases / w.efficiency if phases > 0 else phases * w.efficiency
    return Draw(current, from_bus + w.fixed_loss, from_bus if follows else 0.0, phases, voltage)


def lasting_cap(w: Wheel, speed: float, R_hot: float) -> Cap:
    """Return the most torque [N·m] that heat and the ratings of driver and traces allow for ever.

    The current of a forced field does not follow its load but falls with it: where the unloaded field's is too much
    already, nothing is allowed.
    """
    limits = [("heat", w.continuous_current), *w.ratings]
    name, current = min(limits, key=lambda limit: limit[1])
    if not w.forced:
        return Cap(current * w.Kt, name)
    idle = draw(w, 0.0, math.inf, speed, R_hot).current
    return Cap(0.0 if idle > current else math.inf, name)


def heating(w: Wheel, torque: float, T: float, bus: float, speed: float) -> float:
    """Return what warms a winding at ``T`` [degC] [W] that gives ``torque`` [N·m], or what it then still can."""
    R = w.resistance(T)
    taken = draw(w, min(torque, most_torque(w, bus, speed, R).torque), bus, speed, R)
    copper = float(motor.copper_loss(taken.current**2, R - w.on))
    driver = float(motor.copper_loss(taken.current**2, w.on)) + taken.bus - taken.phases
    return copper + w.driver_heat * driver


def settled(w: Wheel, torque: float, bus: float, speed: float, ambient: float) -> float:
    """Return where the winding settles [degC] under a lasting ``torque``, or all it can give (inf).

    At most 1000 degC, beyond any sense.
    """

    def surplus(T: float) -> float:
        return float(heat.node_rate(heating(w, torque, T, bus, speed), T, ambient, w.R_th, 1.0))

    if surplus(ambient) <= 0.0:
        return ambient
    return BURNT if surplus(BURNT) > 0 else float(brentq(surplus, ambient, BURNT, xtol=1e-3))


def time_to_limit(w: Wheel, torque: float, bus: float, speed: float, ambient: float) -> float:
    """Return how long [s] a winding takes from the air's temperature to its limit; inf if it never comes there.

    ∫ dT/(dT/dt) of the winding's node alone: a housing around it is taken to stay as cold as the air, so that the
    time is too long by what the housing warms meanwhile.
    """
    if w.hottest <= ambient:
        return 0.0
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    half = (w.hottest - ambient) / 2
    total = 0.0
    for node, weight in zip(nodes.tolist(), weights.tolist(), strict=True):
        T = ambient + half * (1 + node)
        rate = heat.node_rate(heating(w, torque, T, bus, speed), T, ambient, w.R_wh, w.heat_capacity)
        if rate <= 0:
            return math.inf
        total += half * weight / rate
    return total
