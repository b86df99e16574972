"""Bench logs of an invented crawler that differs from its file, made from the models with seeded noise."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from drivesim.fitting.joint import predict
from drivesim.fitting.kinds import KINDS
from drivesim.fitting.logs import Log
from drivesim.fitting.places import changed
from drivesim.fitting.target import load_target

ROOT = Path(__file__).parents[2]
CRAWLER = ROOT / "scenarios" / "rovers" / "crawler.yaml"
BENCH = ROOT / "scenarios" / "bench"

ROVER = load_target(CRAWLER)[0]
TRUTH = {
    "rover.wheel.motor.terminal_resistance": 5.2,
    "rover.wheel.motor.flux_linkage": 1.61e-3,
    "rover.wheel.bearing.dry": 0.6e-3,
    "rover.wheel.bearing.viscous": 12e-6,
    "rover.wheel.inertia": 3.3e-5,
    "rover.wheel.winding.thermal_resistance": 28.0,
    "rover.wheel.winding.heat_capacity": 9.8,
    "rover.battery.cell_resistance": 0.1,
    "rover.battery.diffusion_resistance": 0.04,
    "rover.battery.diffusion_time": 40.0,
}
OWN = {"spin_down": {"start_speed": 200.0}, "cell_pulse": {"open_circuit": 3.9}}
NOISE = {
    ("no_load", "speed"): 0.4, ("no_load", "current"): 2e-3, ("loaded", "speed"): 0.5, ("loaded", "current"): 4e-3,
    ("locked_rotor", "current"): 3e-3, ("locked_rotor", "torque"): 2e-4, ("locked_rotor", "resistance"): 8e-3,
    ("back_emf", "voltage"): 8e-3, ("spin_down", "speed"): 0.5, ("pull_out", "load"): 2e-4,
    ("warm_up", "winding_temperature"): 0.3, ("warm_up", "resistance"): 4e-3, ("warm_up", "voltage"): 4e-3,
    ("warm_up", "housing_temperature"): 0.3, ("cell_pulse", "voltage"): 1.5e-3,
}  # fmt: skip


def controls(kind: str) -> tuple[dict[str, np.ndarray], tuple[str, ...]]:
    """Return what is set in a test, and the channels that are read."""
    volts = np.linspace(0.6, 3.5, 8)
    time = np.arange(0.0, 3.0, 0.1)
    minutes = np.arange(0.0, 2400.0, 40.0)
    seconds = np.arange(0.0, 240.0, 4.0)
    two = (np.repeat([1.5, 3.0], 5), np.tile(np.linspace(1e-3, 6e-3, 5), 2))
    return {
        "no_load": ({"voltage": volts}, ("speed", "current")),
        "loaded": ({"voltage": two[0], "load": two[1]}, ("speed", "current")),
        "locked_rotor": ({"voltage": np.linspace(0.3, 2.5, 8)}, ("current", "torque")),
        "back_emf": ({"speed": np.linspace(40.0, 300.0, 8)}, ("voltage",)),
        "spin_down": ({"time": time}, ("speed",)),
        "pull_out": (
            {"voltage": np.tile([0.8, 1.2, 1.6, 2.0], 2), "frequency": np.repeat([5.0, 40.0], 4)}, ("load",),
        ),
        "warm_up": ({"time": minutes, "current": np.where(minutes < 1500, 0.6, 0.0)}, ("winding_temperature",)),
        "cell_pulse": (
            {"time": seconds, "current": np.where((seconds >= 20) & (seconds < 120), 2.0, 0.0)}, ("voltage",),
        ),
    }[kind]  # fmt: skip


def made(
    kind: str,
    seed: int = 1,
    *,
    noise: float = 1.0,
    truth=None,
    scenario=None,
    channels=None,
    set_to=None,
    name="",
    **settings,
) -> Log:
    """Return a log of ``kind`` with ``noise`` times the usual noise."""
    given, read = controls(kind)
    given, read = set_to or given, channels or read
    rows = len(next(iter(given.values())))
    assert set(read) <= set(KINDS[kind].responses)
    empty = Log(name or kind, kind, given | {c: np.zeros(rows) for c in read}, settings)
    rover = changed(scenario or ROVER, TRUTH if truth is None else truth)
    found = predict(rover, empty, OWN.get(kind, {}))
    draw = np.random.default_rng([seed, sorted(KINDS).index(kind)])
    table = dict(given)
    for c in read:
        table[c] = found[c] + noise * NOISE[kind, c] * draw.standard_normal(rows)
    return Log(name or kind, kind, table, settings)
