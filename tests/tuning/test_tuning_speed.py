"""How long a tuning takes: ``-m benchmark``."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from drivesim import load_scenario, tune

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.mark.benchmark
def test_two_gains_on_eight_grounds_of_ten_seconds_take_less_than_a_minute_on_two_cores():
    scenario = load_scenario(SCENARIOS / "rubble_speed_loop.yaml")
    tune(scenario.model_copy(update={"duration": 0.5}), jobs=2)  # compiled code and grounds
    started = time.perf_counter()
    tuned = tune(scenario, jobs=2)
    wall = time.perf_counter() - started
    print(
        f"\n{wall:.1f} s for {tuned.summary['runs']['all']} runs, {wall / tuned.summary['runs']['all']:.3f} s a run"
    )
    assert wall < 60
