"""A small folder of each kind of study, with hostile names, for the tests of their pages."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from drivesim import load_scenario, scenario_from_text
from drivesim.fitting.fit import fit
from drivesim.fitting.logs import Log
from drivesim.fitting.writing import write_fit
from drivesim.scenario.study import study_from_text
from drivesim.scenario.sweep_file import SweepFile
from drivesim.scenario.tune_file import TuneFile
from drivesim.sizing.files import write_sizing
from drivesim.sizing.size import size
from drivesim.study.compare import compare
from drivesim.study.sweep import sweep
from drivesim.study.sweep_setup import setup
from drivesim.tuning.files import write_tuned
from drivesim.tuning.tune import tune

SCENARIOS = Path(__file__).parents[2] / "scenarios"
HOSTILE = "</script><img src=x onerror=alert(1)> \"a\" & 'b'"
GROUND = """{name: floor, length: 0.8 m, width: 0.6 m, features: [{kind: roughness, rms: 1.5 mm,
  correlation_length: 40 mm, start: 0.05 m}]}"""
SHORT = f"""
base: rubble_speed_loop.yaml
name: short
ground: {GROUND}
duration: 0.6 s
"""
QUOTED = '"' + HOSTILE.replace('"', '\\"') + '"'
TUNE = f"""
name: {QUOTED}
question: {QUOTED}
scenario: {{base: rubble_speed_loop.yaml, ground: {GROUND}, duration: 0.6 s}}
gains:
  drive.proportional: {{between: [0.02 V*s/rad, 1 V*s/rad]}}
  drive.integral: {{between: [0.05 V/rad, 5 V/rad], scale: linear}}
training: 2
grounds: 3
search: {{points: 3, refine: 2, finalists: 1}}
spread: {{rover.mass: {{uniform: 5 %}}}}
"""
SWEEP = f"""
name: {QUOTED}
scenario: {{base: ../rubble_speed_loop.yaml, ground: {GROUND}, duration: 0.5 s}}
axes:
  rover.mass: [500 g, 900 g]
  drive:
    label: {QUOTED}
    values:
    - {{label: {QUOTED}, value: ../drives/speed_loop.yaml}}
    - {{label: other, value: ../drives/locked_frequency.yaml}}
grounds: 4
"""
#: a file that is a picture of each kind's folder
PICTURE = {
    "comparison": "differences.png", "tuning": "tune_map.png", "sizing": "size_lines.png", "sweep": "map.png",
    "fit": "fit_measured.png",
}  # fmt: skip


def _comparison(folder: Path) -> Any:
    cases = {
        HOSTILE: scenario_from_text(SHORT, folder=SCENARIOS),
        "heavy": scenario_from_text(SHORT + "change: {rover.mass: 900 g}", folder=SCENARIOS),
    }
    found = compare(cases, grounds=3)
    found.write(folder)
    return found


def _tuning(folder: Path) -> Any:
    found = tune(study_from_text(TUNE, TuneFile, SCENARIOS, "tune.yaml"))
    write_tuned(found, folder)
    return found


def _sizing(folder: Path) -> Any:
    scenario = load_scenario(SCENARIOS / "slab_edge.yaml")
    scenario = scenario.model_copy(
        update={"name": HOSTILE, "rover": scenario.rover.model_copy(update={"name": HOSTILE})}
    )
    found = size(scenario, slope=0.2)
    write_sizing(found, folder)
    return found


def _sweep(folder: Path) -> Any:
    return sweep(setup(study_from_text(SWEEP, SweepFile, SCENARIOS / "studies", "sweep.yaml")), folder=folder)


def _fit(folder: Path) -> Any:
    rover = load_scenario(SCENARIOS / "slab_edge.yaml").model_copy(update={"name": HOSTILE})
    speeds = [40.0, 80.0, 120.0, 160.0, 200.0, 240.0]
    volts = [0.068, 0.136, 0.2, 0.27, 0.335, 0.405]
    log = Log(HOSTILE, "back_emf", {"speed": np.array(speeds), "voltage": np.array(volts)})
    found = fit(rover, [log], bootstrap=20)
    write_fit(found, folder)
    return found


MAKERS: dict[str, Callable[[Path], Any]] = {
    "comparison": _comparison, "tuning": _tuning, "sizing": _sizing, "sweep": _sweep, "fit": _fit,
}  # fmt: skip


def made(kind: str, home: Path) -> tuple[Path, Any]:
    """Make the folder of a kind of study, with one picture in it; return it and what was found."""
    folder = home / kind
    folder.mkdir(parents=True)
    found = MAKERS[kind](folder)
    Image.linear_gradient("L").save(folder / PICTURE[kind])
    return folder, found
