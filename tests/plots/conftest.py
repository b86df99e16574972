"""Short runs that the tests of the pictures share, each made once."""

from pathlib import Path

import pytest

from drivesim.analysis.run import Run, simulate
from drivesim.scenario import scenario_from_text

SCENARIOS = Path(__file__).parents[2] / "scenarios"

#: two kinds of drive on rough ground with a slippery patch: many conditions, and a forced field to look at
ROUGH = """
base: rubble_locked.yaml
change:
  name: rubble, three forced wheels and one of fixed voltage
  duration: 3 s
  commands: [{at: 0.1 s, forward: 0.3 m/s, ramp: 0.2 s}]
  drive.overrides: {rear_right: {strategy: fixed_voltage, voltage_per_speed: 0.1 V*s/rad}}
  ground.patches: [{x: [0.1 m, 0.3 m], y: [0 m, 0.3 m], factor: 0.3, label: the film}]
"""

SPOT = """
base: turn_on_the_spot.yaml
change:
  duration: 3 s
  ground.friction_factor: 0.3
"""


def made(text: str) -> Run:
    return simulate(scenario_from_text(text, folder=SCENARIOS))


@pytest.fixture(scope="session")
def rough() -> Run:
    return made(ROUGH)


@pytest.fixture(scope="session")
def spot() -> Run:
    return made(SPOT)


@pytest.fixture(scope="session")
def failing() -> Run:
    """Faults and their ends close together, and a lost tyre."""
    return made("{base: faults.yaml}")


@pytest.fixture(scope="session")
def hot() -> Run:
    """Levels of temperature close together, and wheels cut back."""
    return made("{base: hot_board.yaml}")
