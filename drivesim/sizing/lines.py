"""Torque–speed lines of each wheel and of the whole rover at the rim, and what the ground demands; imports answers."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from drivesim.physics import motor
from drivesim.sizing.ability import Ability
from drivesim.sizing.answers import FOR_EVER, HOT, NOW, Rover
from drivesim.sizing.ask import Ask
from drivesim.sizing.bus import Bus
from drivesim.sizing.loads import Loads
from drivesim.sizing.machine import Cap
from drivesim.sizing.statics import root, turn_margin
from drivesim.sizing.steps import Step
from drivesim.sizing.travel import steady

POINTS = 41
PAST = 1.02  # of the highest speed without load
NO_GRIP = "no grip"
LINES = {
    NOW: "full bus, windings as cold as the air",
    HOT: "full bus, windings at their temperature limit",
    FOR_EVER: "what heat and ratings allow for ever",
    "pull_out": "pull-out of a forced field: at its amplitude law, or at the full voltage of a wheel that has none",
}


def torque_lines(rover: Rover, ask: Ask) -> xr.Dataset:
    """Return the lines over the rim speed [m/s], all wheels loaded alike at once so that the bus sags.

    Per wheel torque [N·m] ``torque_now``, ``torque_hot``, ``torque_for_ever``, ``torque_pull_out``; of the rover the
    force at the rim [N] under the same names with ``force``; ``bus_now`` [V]; and what the ground demands at the rim
    [N], losses of wheels and bearings included: ``demand_level``, and where it is asked for or possible
    ``demand_slope``, ``demand_tow``, ``demand_turn``, ``demand_step``.
    """
    d = rover.design
    fastest = max((w.modulation * w.radius / (w.p * w.lam) for w in d.driven), default=1.0)
    speeds = np.linspace(0.0, PAST * fastest * d.pack.open_circuit(d.pack.charge), POINTS)
    torques: dict[str, list[list[float]]] = {name: [] for name in LINES}
    bus_now = []
    for speed in speeds.tolist():
        for state in (NOW, HOT, FOR_EVER):
            bus = rover.ability(state).bus(speed)
            torques[state].append([cap.torque for cap in bus.wheels])
            if state == NOW:
                bus_now.append(bus.voltage if not bus.collapsed else math.nan)
        torques["pull_out"].append(_pull_out(rover.cold, speed, bus_now[-1]))
    names = [w.name for w in d.wheels]
    out = xr.Dataset(
        coords={
            "speed": ("speed", speeds, {"units": "m/s", "long_name": "rim speed"}),
            "wheel": ("wheel", names),
        }
    )
    for name, meaning in LINES.items():
        values = np.array(torques[name])
        out[f"torque_{name}"] = ("speed", "wheel"), values, {"units": "N*m", "long_name": meaning}
        out[f"force_{name}"] = "speed", values.sum(axis=1) / d.radius, {"units": "N", "long_name": meaning}
    out["bus_now"] = "speed", np.array(bus_now), {"units": "V", "long_name": "bus, every wheel at its limit"}
    for name, (values, note) in _demands(rover, ask, speeds.tolist()).items():
        about = {"units": "N", "long_name": f"demand at the rim: {name}"}
        out[f"demand_{name}"] = "speed", values, about | ({"note": note} if note else {})
    return out


def _pull_out(ability: Ability, speed: float, bus: float) -> list[float]:
    """Return each wheel's pull-out torque [N·m] at ``bus`` [V]."""
    found = []
    for w, R in zip(ability.design.wheels, ability.resistances, strict=True):
        full = w.modulation * bus
        amplitude = min(w.law_amplitude(speed), full) if w.forced else full
        we = w.electrical_speed(speed)
        most = motor.pull_out_torque(amplitude, R, w.L, w.lam, w.p, we) if w.driven else 0.0
        found.append(min(max(0.0, most), w.current_limit * w.Kt))
    return found


def _demands(rover: Rover, ask: Ask, speeds: list[float]) -> dict[str, tuple[np.ndarray, str]]:
    """Return what is demanded of all driven wheels together at the rim [N], by name, and what is to be said of it.

    A demand that no grip can give is told as if there were more; where the rover tips there is none.
    """
    cold, stand = rover.cold, rover.standing.loads
    level = stand()

    found: dict[str, tuple[np.ndarray, str]] = {}

    def rim(name: str, slope: float, pull: float, loads: Loads | None) -> None:
        if loads is None:
            return
        drives = [steady(cold, loads, speed, slope, pull) for speed in speeds]
        values = [sum(drive.torques) / rover.design.radius + drive.beyond for drive in drives]
        found[name] = np.array(values), NO_GRIP if drives[0].beyond > 0 else ""

    rim("level", 0.0, 0.0, level)
    if ask.slope is not None:
        rim("slope", ask.slope, 0.0, stand(ask.slope))
    if ask.tow is not None:
        rim("tow", 0.0, ask.tow, stand(0.0, ask.tow))
    crawl = rover.crawl(ask)
    turn, torque = turn_margin(cold, level, crawl)
    if turn.value > 0 and math.isfinite(torque):
        found["turn"] = np.full(len(speeds), torque * len(rover.design.driven) / rover.design.radius), ""
    step = step_demand(rover, ask)
    if step is not None:
        found["step"] = np.full(len(speeds), step), ""
    return found


def step_demand(rover: Rover, ask: Ask) -> float | None:
    """Return the force at the rim [N] at which the front wheels start up the step asked for; None if friction stops it.

    Every wheel gives the same share of what it has.
    """
    axles, level = rover.design.axles, rover.standing.loads()
    if ask.step is None or axles is None or level is None or ask.step >= rover.design.radius:
        return None
    height = ask.step
    speed = rover.crawl(ask)
    step, bus = Step(rover.cold, axles, level, speed), rover.cold.bus(speed)

    def part(share: float) -> Bus:
        return bus._replace(wheels=tuple(Cap(share * cap.torque, cap.name) for cap in bus.wheels))

    most = sum(cap.torque for cap in bus.wheels)
    enough = 10.0 * rover.design.weight * rover.design.radius / most if most > 0 else 0.0
    if enough == 0.0 or step.left(height, part(enough), True) <= 0:
        return None
    share = root(lambda s: -step.left(height, part(s), True), enough)
    used, _ = step.used(height, part(share), True)
    each = [min(cap.torque * share, held) for cap, held in zip(bus.wheels, used, strict=True)]
    return sum(each) / rover.design.radius
