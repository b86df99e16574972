"""Rovers and small tools of the engine's tests: an ideal rover whose losses are switched on by the test."""

from __future__ import annotations

import copy
from typing import Any

import numpy as np
import yaml

from drivesim import Scenario, scenario_from_text
from drivesim.engine.build import build
from drivesim.engine.model import Model
from drivesim.engine.simulate import Recording, run_model

WHEELS = ("front_left", "front_right", "rear_left", "rear_right")
G = 9.81
FOREVER = 1e9  # N·m: a bearing that no torque turns

#: no drag, no rolling resistance, one friction coefficient, a stiff 100 V supply, a perfect speed sensor
IDEAL: dict[str, Any] = {
    "name": "ideal rover",
    "rover": {
        "mass": "1 kg",
        "inertia": ["4e-3 kg*m^2", "5e-3 kg*m^2", "8e-3 kg*m^2"],
        "wheelbase": "0.2 m",
        "track": "0.16 m",
        "wheel": {
            "radius": "0.05 m",
            "inertia": "1e-4 kg*m^2",
            "tyre": {
                "friction": 0.8,
                "slip_stiffness": "40 N",
                "relaxation_length": "0.01 m",
                "radial_stiffness": "5000 N/m",
                "radial_damping": "10 N*s/m",
                "rolling_resistance": 0,
            },
            "motor": {
                "pole_pairs": 7,
                "phase_resistance": "1 ohm",
                "phase_inductance": "1e-7 H",
                "flux_linkage": "2e-3 Wb",
            },
            "winding": {
                "thermal_resistance": "1 K/W",
                "heat_capacity": "1e9 J/K",
                "temperature_coefficient": "0 1/K",
            },
        },
        "battery": {
            "capacity": "1e6 A*h",
            "cell_resistance": "1e-6 ohm",
            "open_circuit": [[0, "100 V"], [1, "100 V"]],
        },
    },
    "ground": {"length": "3 m", "behind": "3 m", "width": "3 m"},
    "drive": {"strategy": "fixed_voltage", "voltage_per_speed": "0.014 V*s/rad", "sensor": {"kind": "ideal"}},
    "start": {"rotors": "aligned"},
    "commands": [{"at": "0 s", "forward": "0 m/s"}],
    "duration": "1 s",
}


def ideal(changes: dict[str, Any] | None = None) -> Scenario:
    """Return the ideal rover's scenario with ``changes`` (dotted path → what a user would write there)."""
    data = copy.deepcopy(IDEAL)
    for path, value in (changes or {}).items():
        *steps, last = path.split(".")
        place = data
        for step in steps:
            place = place.setdefault(step, {})
        place[last] = value
    return scenario_from_text(yaml.safe_dump(data, sort_keys=False))


def each_wheel(field: str, values: tuple[Any, ...]) -> dict[str, Any]:
    """Return the changes that give ``field`` of the wheels' places these values, in the usual order."""
    return {f"rover.wheels.{name}.{field}": value for name, value in zip(WHEELS, values, strict=True)}


def held_up(scenario: Scenario, step: float | None = None) -> Model:
    """Return the built model hanging in the air without weight: no wheel touches anything."""
    model = build(scenario, step)
    model.bodies["z"] += 0.5
    return model


def standing_on_a_slope(degrees: float, heading: float) -> Scenario:
    """Return a rover with blocked wheels, let go on a slope; its weight lies 60 mm above the ground."""
    tyre = {
        "friction": 4,
        "slip_stiffness": "2000 N",
        "relaxation_length": "2 mm",
        "tread_damping": 1,
        "radial_stiffness": "200 N/mm",
        "radial_damping": "300 N*s/m",
    }
    return ideal(
        each_wheel("extra_drag", (f"{FOREVER} N*m",) * 4)
        | {f"rover.wheel.tyre.{key}": value for key, value in tyre.items()}
        | {
            "rover.centre_of_gravity": ["0 m", "0 m", "10 mm"],
            "ground.features": [{"kind": "ramp", "start": "-3 m", "end": "3 m", "slope": f"{degrees!r} deg"}],
            "ground.cell": "5 mm",
            "start.heading": f"{heading!r} deg",
            "duration": "3 s",
        }
    )


#: with these changes a wheel's torque moves nothing but the wheel
IN_THE_AIR = {"gravity": "1e-9 m/s^2", "rover.inertia": ["1e9 kg*m^2", "1e9 kg*m^2", "1e9 kg*m^2"]}


def run_on(model: Model, until: float) -> Recording:
    """Run a model on to ``until`` [s]; rows before the present time are zero."""
    model.scenario = model.scenario.model_copy(update={"duration": until})
    return run_model(model)


def step_ends(recording: Recording) -> np.ndarray:
    """Return the times [s] at which the steps end, for a recording with one row a step."""
    assert recording.model.params["record_ticks"][0] == 1
    return (np.arange(recording.time.size) + 1) * recording.model.step


def same_bytes(a: Recording, b: Recording) -> bool:
    """Tell whether two recordings hold the same numbers, bit by bit."""
    return a.body.tobytes() == b.body.tobytes() and a.wheels.tobytes() == b.wheels.tobytes()
