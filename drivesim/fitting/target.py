"""What is to be fitted: a scenario's file or a rover's alone; imports scenario."""

from __future__ import annotations

import json
import os

from drivesim.errors import ScenarioError
from drivesim.scenario import Scenario, load_scenario, scenario_from_text
from drivesim.scenario.expected import part_of
from drivesim.scenario.loader import top_keys


def load_target(path: str | os.PathLike[str]) -> tuple[Scenario, bool]:
    """Return the scenario in ``path``, and whether it is a whole one rather than a rover standing on a bench.

    Raises ScenarioError with a line for each mistake.
    """
    name = os.fsdecode(path)
    keys = top_keys(name)
    if "change" in keys and keys <= {"change", "notes"}:
        raise ScenarioError(
            f"{name}:1: file: found part of a scenario (change), as a fit writes it; give a whole scenario or a "
            "rover's file, or add 'base: SCENARIO.yaml'"
        )
    if part_of(keys) != ("rover",):
        return load_scenario(name), True
    return scenario_from_text(bench_text(name), ".", name), False


def bench_text(rover: str) -> str:
    """Return a scenario in which the rover in the file ``rover`` stands on a bench."""
    name = f"{os.path.splitext(os.path.basename(rover))[0]} on the bench"[:100]
    return "\n".join([
        f"name: {json.dumps(name, ensure_ascii=False)}",
        f"rover: {json.dumps(rover, ensure_ascii=False)}",
        "drive: {strategy: fixed_voltage, voltage_per_speed: 20 mV*s/rad}",
        "commands: [{at: 0 s, forward: 0 m/s}]",
        "duration: 1 s",
        "",
    ])  # fmt: skip
