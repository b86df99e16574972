"""Small studies for the tests of sweeps: half a second on a rough floor."""

from __future__ import annotations

from pathlib import Path

from drivesim.scenario.study import study_from_text
from drivesim.scenario.sweep_file import SweepFile
from drivesim.study.sweep_setup import Setup, setup

SCENARIOS = Path(__file__).parents[2] / "scenarios"
SCENARIO = """\
scenario:
  base: BASE
  ground: {name: floor, length: 0.8 m, width: 0.6 m, features: [{kind: roughness, rms: 1.5 mm,
    correlation_length: 40 mm, start: 0.05 m}]}
  duration: 0.5 s
"""
GRID = """\
name: small
axes:
  rover.mass: {from: 500 g, to: 900 g, count: 3}
  rover.wheel.tyre.friction: [0.5, 0.9]
grounds: 2
success: distance > 5 mm
"""


def study_text(rest: str = GRID, base: str = "rubble_speed_loop.yaml") -> str:
    """Return a study whose scenario is found from any folder."""
    return SCENARIO.replace("BASE", str(SCENARIOS / base)) + rest


def made(rest: str = GRID, base: str = "rubble_speed_loop.yaml") -> Setup:
    """Return a study read in, as if it lay in the folder of scenarios."""
    return setup(study_from_text(study_text(rest, base), SweepFile, SCENARIOS, "s.yaml"))


def written(folder: Path, rest: str = GRID, name: str = "study.yaml") -> Path:
    """Write a study into ``folder``."""
    path = folder / name
    path.write_text(study_text(rest), encoding="utf-8")
    return path


def results_in(folder: Path) -> dict[str, bytes]:
    """Return all that a sweep wrote but for the runs as they came."""
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir()) if not p.name.startswith("runs-")}
