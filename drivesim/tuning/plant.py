"""The linear plant that a wheel's loop sees: in the air, and with its share of the rover; imports engine, physics."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drivesim.engine import records
from drivesim.engine.timeline import wheel_targets
from drivesim.engine.wheel_build import fill_drive, fill_wheel
from drivesim.physics import loop
from drivesim.physics.winding import resistance_at
from drivesim.scenario.coordination import EqualCurrent
from drivesim.scenario.drive import SpeedLoop, TrimmedFrequency
from drivesim.scenario.scenario import Scenario

FREE, LOADED = "free", "loaded"
WORDS = {FREE: "wheel in the air", LOADED: "wheel with its share of the rover"}
IN_STEP = "wheel in step with its field"
STILL = (
    1e-9  # of the fastest wheel: a wheel that turns no faster stands, as the inner one of a tight arc does
)
LEAST_FRICTION = 1e-12  # N·m·s/rad: a wheel without viscous friction under a current command has no end speed


@dataclass(frozen=True)
class Plant:
    """P(s) = gain·exp(−delay·s)/(lag·s + 1), from what the PI sets to the speed that it measures [rad/s].

    ``gain`` in rad/s for each unit of what the PI sets, ``lag`` and ``delay`` [s]; ``measuring`` [s] is the part of
    the delay by which the measured speed lags behind the true one.
    """

    name: str
    gain: float
    lag: float
    delay: float
    measuring: float = 0.0

    @property
    def words(self) -> str:
        """What the plant is, for people."""
        return WORDS[self.name] if self.lag > 0.0 else IN_STEP


@dataclass(frozen=True)
class Loop:
    """The linear loop of one scenario: its plants, its gains' paths, and where its delay comes from [s]."""

    plants: tuple[Plant, ...]
    proportional: str  # dotted path of the proportional gain
    integral: str
    sets: str  # unit of what the PI sets
    speed: float  # rad/s, the slowest commanded, at which the delay is taken
    edge_delay: float
    hold_delay: float
    latency: float

    @property
    def delay(self) -> float:
        """The whole delay [s]."""
        return self.edge_delay + self.hold_delay + self.latency

    def plant(self, name: str) -> Plant:
        """Return the plant of that name."""
        return next(plant for plant in self.plants if plant.name == name)


def wheel_record(scenario: Scenario) -> np.void:
    """Return the WHEEL record of the first wheel that drives, with the common drive settings."""
    out = np.zeros(1, records.WHEEL)
    fill_wheel(out[0], scenario.rover, driven_wheels(scenario)[0])
    fill_drive(out[0], scenario.drive.all_wheels)
    return out[0]


def driven_wheels(scenario: Scenario) -> tuple[str, ...]:
    """Return the names of the wheels that drive; of the first wheel where none does."""
    rover = scenario.rover
    return tuple(name for name in rover.wheel_names if rover.place(name).driven) or rover.wheel_names[:1]


def warm_resistance(scenario: Scenario, w: np.void) -> float:
    """Return a phase's resistance with its driver [ohm], the winding at ambient."""
    R = resistance_at(w["resistance"], w["given_at"], scenario.ambient, w["coefficient"])
    return float(R + w["on_resistance"])


def commanded_speeds(scenario: Scenario) -> np.ndarray:
    """Return the sizes of all wheel speeds that the scenario commands, wheels that drive only [rad/s]."""
    driven = np.isin(scenario.rover.wheel_names, driven_wheels(scenario))
    targets = np.array([wheel_targets(command, scenario.rover) for command in scenario.commands])
    speeds: np.ndarray = np.abs(targets[:, driven]).ravel()
    return speeds


def crawl_speed(scenario: Scenario) -> float:
    """Return the slowest wheel speed that the scenario commands, standstill left out [rad/s]; 0 without any."""
    speeds = commanded_speeds(scenario)
    return float(min(speeds[speeds > STILL * top_speed(scenario)], default=0.0))


def top_speed(scenario: Scenario) -> float:
    """Return the fastest wheel speed that the scenario commands [rad/s]; 0 without any."""
    return float(max(commanded_speeds(scenario), default=0.0))


def carried_mass(scenario: Scenario) -> float:
    """Return the mass that each driven wheel moves [kg]."""
    rover = scenario.rover
    driven = sum(rover.place(name).driven for name in rover.wheel_names)
    return rover.mass / max(1, driven)


def linear_loop(scenario: Scenario) -> Loop | None:
    """Return the linear loop of the common drive settings; None for a strategy that feeds nothing back.

    A host (``coordination``) other than ``equal_current`` acts on top of this loop and is left out.
    """
    drive, host = scenario.drive.all_wheels, scenario.drive.coordination
    w, speed = wheel_record(scenario), crawl_speed(scenario)
    if not isinstance(drive, SpeedLoop | TrimmedFrequency) or speed == 0.0:
        return None
    edges = 0.0 if drive.sensor.kind == "ideal" else float(loop.edge_delay(w["edge_spacing"], speed))
    lam, p, b, J = (float(w[name]) for name in ("flux_linkage", "pole_pairs", "bearing_viscous", "inertia"))
    heavy = float(loop.carried_inertia(J, carried_mass(scenario), w["radius"]))
    hold = drive.sample_time / 2
    at, sets = "drive", "V"
    if isinstance(host, EqualCurrent):
        at, sets, hold = "drive.coordination", "A", host.every / 2
        friction = max(b, LEAST_FRICTION)
        gain = float(loop.current_gain(lam, p, friction))
        lags = (
            float(loop.current_time_constant(J, friction)),
            float(loop.current_time_constant(heavy, friction)),
        )
    elif isinstance(drive, TrimmedFrequency):
        gain, lags, sets = 1.0, (0.0, 0.0), "rad/s"  # in step the rotor turns as the field does
    else:
        R = warm_resistance(scenario, w)
        gain = float(loop.speed_gain(R, lam, p, b))
        lags = (
            float(loop.speed_time_constant(R, J, lam, p, b)),
            float(loop.speed_time_constant(R, heavy, lam, p, b)),
        )
    delay = edges + hold + drive.latency
    plants = tuple(
        Plant(name, gain, lag, delay, edges) for name, lag in zip((FREE, LOADED), lags, strict=True)
    )
    if plants[0].lag == plants[1].lag:
        plants = plants[1:]
    return Loop(plants, f"{at}.proportional", f"{at}.integral", sets, speed, edges, hold, drive.latency)
