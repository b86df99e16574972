"""Everything switched on at once: the books stay balanced, and the same seed gives the same bytes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from engine_rovers import WHEELS, ideal, same_bytes

from drivesim import load_scenario
from drivesim.analysis.ledger import ledger
from drivesim.engine.build import build
from drivesim.engine.simulate import simulate

SHELF = Path(__file__).parents[1] / "benchmarks"


@pytest.mark.parametrize("name", ["everything", "everything_on_soil"])
def test_everything_on_at_once_keeps_its_books_and_repeats_itself(name):
    scenario = load_scenario(SHELF / f"{name}.yaml")
    first, second = simulate(scenario), simulate(scenario)
    counted = ledger(first)
    assert abs(counted["remainder_fraction"]) < 1e-3
    assert counted["drawn"] > 10
    assert same_bytes(first, second)
    assert first.events == second.events
    assert {"fault", "command"} <= {event.kind for event in first.events}


def test_rotors_start_where_the_seed_says():
    angles = [build(ideal({"start.rotors": "random", "seed": seed})).states["angle"] for seed in (1, 1, 2)]
    assert np.array_equal(angles[0], angles[1])
    assert np.abs(angles[0] - angles[2]).min() > 1e-3
    assert len(set(angles[0])) == len(WHEELS)
