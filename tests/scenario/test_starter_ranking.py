"""What a wrong number costs: the ranking on docs/quick_start.md, made anew by ``pytest -m benchmark`` on this file -s.

Each number is set to two wrong values, as far off as a builder's guess may be (common practice, no source).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from drivesim import load_scenario, simulate, size
from drivesim.errors import DrivesimError
from drivesim.scenario.starter import MEASURES
from drivesim.scenario.starter_choices import GROUNDS
from drivesim.scenario.starter_files import starter_files
from drivesim.scenario.variation import Template

WHEEL, TYRE, MOTOR = "rover.wheel.", "rover.wheel.tyre.", "rover.wheel.motor."
#: path → factors, or values as text
GUESSES = {
    "rover.mass": (0.85, 1.15), "rover.centre_of_gravity.0": ("-14 mm", "26 mm"), "rover.wheelbase": (0.9, 1.1),
    "rover.track": (0.9, 1.1), WHEEL + "radius": (0.9, 1.1), TYRE + "friction": (0.6, 1.4),
    TYRE + "rolling_resistance": (0.5, 2.0), WHEEL + "bearing.dry": (0.33, 3.0), MOTOR + "pole_pairs": (0.5, 2.0),
    MOTOR + "terminal_resistance": (0.7, 1.4), MOTOR + "back_emf_constant": (0.75, 1.33),
    WHEEL + "winding.thermal_resistance": (0.6, 1.6), WHEEL + "driver.current_limit": (0.6, 1.5),
    "rover.battery.cells_in_series": (0.5, 1.5), "rover.battery.cell_resistance": (0.5, 2.5),
}  # fmt: skip
COPIED = {
    WHEEL + "driver.on_resistance": (0.33, 3.0), "rover.battery.state_of_charge": ("30 %", "100 %"),
    WHEEL + "winding.limit": ("85 degC", "130 degC"), "rover.battery.capacity": (0.7, 1.2),
    "drive.proportional": (0.5, 2.0), "drive.base_amplitude": (0.75, 1.25),
}  # fmt: skip
LEFT = {
    "rover.centre_of_gravity.1": ("-10 mm", "10 mm"), "rover.centre_of_gravity.2": ("7 mm", "37 mm"),
    "rover.box.0": (0.7, 1.4), WHEEL + "inertia": (0.5, 2.0), TYRE + "slip_stiffness": (0.5, 2.0),
    TYRE + "relaxation_length": (0.5, 2.0), TYRE + "radial_stiffness": (0.5, 2.0), TYRE + "radial_damping": (0.5, 2.0),
    TYRE + "width": (0.8, 1.25), WHEEL + "bearing.viscous": (0.33, 3.0), MOTOR + "terminal_inductance": (0.5, 2.0),
    WHEEL + "winding.heat_capacity": (0.5, 2.0), WHEEL + "driver.fixed_loss": (0.33, 3.0),
    "rover.battery.electronics": (0.5, 2.0),
}  # fmt: skip
BARELY = {"rover.mass": (0.999, 1.001)}  # what chance alone does on rough ground
LIMITS = ("grade", "step_front", "step_rear", "turn", "tow")
STATES = ("now", "for_ever", "wheel_up")


def templates(folder):
    """Return each ground under a speed loop and a locked frequency, random ones three times."""
    found = []
    for ground in GROUNDS:
        for drive in ("speed_loop", "locked_frequency"):
            for file, text in starter_files("r", ground, drive).items():
                (folder / file).write_text(text, encoding="utf-8")
            scenario = load_scenario(folder / "scenario.yaml")
            for seed in (1, 2, 3) if ground in ("rubble", "pavers") else (1,):
                found.append(Template(scenario.model_copy(update={"seed": seed})))
    return found


def wrong(template, path, guess):
    value = template.number(path)
    if isinstance(guess, float):
        guess = max(1, round(value * guess)) if template.whole(path) else value * guess
    return template.scenario_with({path: guess})


def ways(scenarios):
    return np.array([simulate(scenario).summary["progress_m"] for scenario in scenarios])


def limits(scenario):
    table = size(scenario, slope=math.radians(10)).limits
    return np.array([table.loc[task, state] for task in LIMITS for state in STATES])


@pytest.mark.benchmark
def test_the_numbers_that_decide_are_among_the_fifteen(tmp_path):
    cases = templates(tmp_path)
    right = ways([case.scenario for case in cases])
    able = limits(cases[0].scenario)
    commanded = 0.12 * (8 - 0.2 - 0.15)
    assert list(GUESSES) == [m.path for m in MEASURES]
    effects = {}
    for name, group in (("measure", GUESSES), ("copy", COPIED), ("leave", LEFT), ("chance", BARELY)):
        for path, guesses in group.items():
            moved, changed = [], []
            for guess in guesses:
                fitting = [i for i, case in enumerate(cases) if has(case, path)]
                runs = ways([wrong(cases[i], path, guess) for i in fitting])
                moved.append(np.abs(runs - right[fitting]) / commanded)
                if has(cases[0], path):
                    changed.append(np.abs(limits(wrong(cases[0], path, guess)) / able - 1))
            size_of = 100 * np.mean(changed) if changed else 0.0
            effects[name, path] = (100 * np.mean(moved), size_of, guesses)
            print(
                f"| {name} | `{path}` | {guesses} | {effects[name, path][0]:.1f} | {size_of:.1f} |",
                flush=True,
            )
    of = {key: max(runs, able) for key, (runs, able, _) in effects.items()}
    left = max(value for (name, _), value in of.items() if name == "leave")
    above = [path for (name, path), value in of.items() if name == "measure" and value > left]
    assert len(above) >= 12, above


def has(template, path):
    try:
        template.number(path)
    except DrivesimError:
        return False
    return True
