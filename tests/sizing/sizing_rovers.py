"""Rovers of the sizing tests: one whose losses are all off, and the rover of the shelf with changes."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import yaml

from drivesim import Scenario, scenario_from_text
from drivesim.sizing.answers import Rover, answers
from drivesim.sizing.ask import Ask

SCENARIOS = Path(__file__).parents[2] / "scenarios"
WEIGHT, RADIUS, BASE, TRACK, HEIGHT = 9.81, 0.05, 0.2, 0.16, 0.06  # of the plain rover: N, m
TORQUE = 1.5 * 7 * 2e-3 * 2.0 / 1.0  # N·m of one of its wheels at standstill: Kt·V/R at 2 V of amplitude

#: no drag, no rolling resistance, a stiff 4 V supply (2 V of amplitude), copper that does not know its temperature
PLAIN: dict[str, Any] = {
    "name": "plain rover",
    "rover": {
        "mass": "1 kg",
        "box": ["0.25 m", "0.2 m", "0.1 m"],
        "centre_of_gravity": ["0 m", "0 m", "10 mm"],
        "wheelbase": "0.2 m",
        "track": "0.16 m",
        "wheel": {
            "radius": "50 mm",
            "inertia": "2e-4 kg*m^2",
            "tyre": {
                "friction": 0.6,
                "slip_stiffness": "60 N",
                "relaxation_length": "5 mm",
                "radial_stiffness": "20 N/mm",
                "radial_damping": "20 N*s/m",
                "rolling_resistance": 0,
            },
            "motor": {
                "pole_pairs": 7,
                "phase_resistance": "1 ohm",
                "phase_inductance": "1e-7 H",
                "flux_linkage": "2 mWb",
            },
            "winding": {
                "thermal_resistance": "10 K/W",
                "heat_capacity": "10 J/K",
                "limit": "100 degC",
                "temperature_coefficient": "0 1/K",
            },
        },
        "battery": {
            "cells_in_series": 1,
            "capacity": "2 A*h",
            "cell_resistance": "1e-9 ohm",
            "open_circuit": [[0, "4 V"], [1, "4 V"]],
            "discharge_rating": 1000,
        },
    },
    "ground": {"length": "3 m", "behind": "2 m", "width": "3 m"},
    "drive": {"strategy": "fixed_voltage", "voltage_per_speed": "1 V*s/rad", "sensor": {"kind": "ideal"}},
    "commands": [{"at": "0 s", "forward": "0.1 m/s"}],
    "duration": "1 s",
}


def plain(changes: dict[str, Any] | None = None) -> Scenario:
    """Return the plain rover with ``changes`` (dotted path → what a user would write there)."""
    data = copy.deepcopy(PLAIN)
    for path, value in (changes or {}).items():
        *steps, last = path.split(".")
        place = data
        for step in steps:
            place = place.setdefault(step, {})
        place[last] = value
    return scenario_from_text(yaml.safe_dump(data, sort_keys=False))


def shelf(base: str = "steep_ramp.yaml", **changes: Any) -> Scenario:
    """Return a shipped scenario with changes: keys with __ for a dot."""
    text = {"base": base, "change": {key.replace("__", "."): value for key, value in changes.items()}}
    return scenario_from_text(yaml.safe_dump(text, sort_keys=False), folder=SCENARIOS)


def limits(scenario: Scenario, speed: float = 0.1, **ask: float) -> dict[tuple[str, str], Any]:
    """Return every limit of ``scenario`` by task and state."""
    return answers(Rover.of(scenario), Ask(speed, **ask))[0]
