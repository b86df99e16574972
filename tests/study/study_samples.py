"""Short scenarios for studies: a flat floor with one bump, a second or two."""

from pathlib import Path

from drivesim import scenario_from_text
from drivesim.scenario import Scenario

ROOT = Path(__file__).parents[2]

TEXT = """
base: scenarios/bench_start.yaml
name: short
ground: {name: rough floor, length: 0.8 m, width: 0.6 m, features: [{kind: roughness, rms: 1.5 mm,
  correlation_length: 40 mm, start: 0.05 m}]}
commands: [{at: 0.1 s, forward: 0.15 m/s, ramp: 0.2 s}]
duration: 1.5 s
"""


def short(**changes: str) -> Scenario:
    """Return a short scenario on rough ground; ``changes``: dotted paths (with __ for points) and values."""
    lines = "".join(f"  {path.replace('__', '.')}: {value}\n" for path, value in changes.items())
    return scenario_from_text(TEXT + (f"change:\n{lines}" if lines else ""), ROOT)
