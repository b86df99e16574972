"""Everything switched on at once: the books stay balanced, and the same seed gives the same bytes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from engine_rovers import WHEELS, each_wheel, ideal, same_bytes

from drivesim import load_scenario
from drivesim.analysis.ledger import ledger
from drivesim.engine import channels
from drivesim.engine.build import build
from drivesim.engine.simulate import simulate
from drivesim.scenario import scenario

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


def test_the_memory_bound_knows_how_much_is_recorded():
    assert len(channels.WHEEL_CHANNELS) == scenario.RECORDED_OF_A_WHEEL
    assert len(channels.BODY_CHANNELS) == scenario.RECORDED_OF_THE_BODY


def test_undriven_wheels_have_no_power_and_no_say():
    """Their channel says so, and the host that shares a current does not count them."""
    changes = each_wheel("driven", (True, True, False, False)) | {
        "rover.wheels.rear_left.extra_drag": "1 N*m",
        "drive": {
            "strategy": "speed_loop", "proportional": "0.1 V*s/rad", "integral": "1 V/rad", "sensor": {"kind": "ideal"},
            "coordination": {
                "kind": "equal_current", "proportional": "0.5 A*s/rad", "integral": "2 A/rad", "most": "20 A",
            },
        },
        "commands": [{"at": "0 s", "forward": "0.2 m/s", "ramp": "0.3 s"}],
        "rover.wheel.tyre.friction": 0.5, "duration": "3 s",
    }  # fmt: skip
    recording = simulate(ideal(changes))
    assert recording.wheels["powered"][-1].tolist() == [1, 1, 0, 0]
    assert recording.wheels["wheel_speed"][-50:, :2].mean() == pytest.approx(4.0, rel=0.02)


def test_a_pack_without_voltage_resets_and_gives_no_nan():
    changes = {
        "rover.battery.open_circuit": [[0, "4 V"], [0.9, "8 V"], [1, "9 V"]],
        "rover.battery.cell_resistance": "0.1 ohm",
        "rover.battery.state_of_charge": 0.9,
        "rover.wheel.driver.lockout": {"below": "5 V", "above": "6 V"},
        "events": [{"at": "0.3 s", "kind": "cell_sags", "voltage_drop": "8.5 V", "lasts": "0.5 s"}],
        "rover.battery.electronics": "0.5 W",
        "duration": "2 s",
    }
    recording = simulate(ideal(changes))
    assert recording.ending == "finished"
    assert recording.body["bus_voltage"].min() == pytest.approx(0, abs=0.2)
    assert [event.kind for event in recording.events if event.kind == "reset"] == ["reset"] * 2
