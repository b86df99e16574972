"""What a command means to a wheel: stop is stop, back is back, and only the place in the frame counts."""

from pathlib import Path

import numpy as np
import pytest
from engine_rovers import each_wheel, ideal

from drivesim import ScenarioError, scenario_from_text, simulate
from drivesim.engine.build import build
from drivesim.engine.simulate import run_model
from drivesim.engine.timeline import wheel_targets

SCENARIOS = Path(__file__).parents[2] / "scenarios"
EDGE = """
name: against an edge too high
rover: rovers/crawler.yaml
drive: drives/speed_loop.yaml
ground: {length: 1 m, width: 0.8 m, features: [{kind: step, at: 0.2 m, height: 30 mm}]}
commands: [{at: 0.1 s, forward: 0.15 m/s}, {at: 4 s, forward: %s m/s}]
duration: 5 s
"""


def test_told_to_stop_a_stalled_wheel_lets_go():
    """Common practice, no source: a wound-up loop must not hold full voltage after the command is zero."""
    run = simulate(scenario_from_text(EDGE % "0", SCENARIOS))
    before = run.traces["phase_voltage"].sel(time=slice(3.5, 3.9))
    after = run.traces["phase_voltage"].sel(time=slice(4.5, 5.0))
    assert float(before.mean()) > 3
    assert float(after.max()) < 0.2


def test_told_to_go_back_a_stalled_rover_backs_off():
    run = simulate(scenario_from_text(EDGE % "-0.15", SCENARIOS))
    assert float(run.traces["x"][-1]) < float(run.traces["x"].sel(time=3.9, method="nearest")) - 0.03


@pytest.mark.parametrize("offset", [0.0, 15.0, -15.0])
def test_commands_do_not_depend_on_the_centre_of_gravity(offset):
    scenario = ideal({"rover.centre_of_gravity": ["3 mm", f"{offset} mm", "5 mm"]})
    command = scenario.commands[0].model_copy(update={"forward": 0.1, "turn": 1.0})
    wanted = [(0.1 - 1.0 * y) / 0.05 for y in (0.08, -0.08, 0.08, -0.08)]
    assert wheel_targets(command, scenario.rover) == pytest.approx(wanted)


def test_a_wheel_without_a_motor_slips_no_poles():
    scenario = ideal(
        each_wheel("driven", (True, False, True, True))
        | {
            "drive": {"strategy": "locked_frequency", "base_amplitude": "2 V"},
            "commands": [{"at": "0 s", "forward": "0.1 m/s", "ramp": "0.5 s"}],
        }
    )
    assert run_model(build(scenario)).wheels["pole_slips"][-1, 1] == 0


def test_a_large_bus_capacitor_carries_over_an_overload_that_the_cells_alone_could_not():
    """The stored charge gives the power for a while: C·V²/2 of 50 mF is seconds of half a watt."""
    changes = {
        "cell_resistance": "20 ohm",
        "bus_capacitance": "50 mF",
        "electronics": "0.9 W",
        "cells_in_series": 2,
    }
    text = "base: bench_start.yaml\nduration: 0.4 s\nchange:\n" + "".join(
        f"  rover.battery.{key}: {value}\n" for key, value in changes.items()
    )
    run = simulate(scenario_from_text(text, SCENARIOS))
    assert run.summary["ending"] == "finished"
    assert np.all(np.diff(run.traces["bus_voltage"].values) < 0)


@pytest.mark.parametrize("step", [0.0, -1e-4, float("nan"), float("inf"), 0.01])
def test_a_step_that_no_run_could_use_is_refused(step):
    with pytest.raises(ScenarioError, match=r"step: found .*, allowed: more than 0 and at most"):
        build(ideal(), step)


def test_damping_of_a_narrow_light_body_shortens_the_step():
    """Roll damping c·y²/I is faster than any spring here; without it the rover would shake itself loose."""
    changes = {
        "rover.box": "[180 mm, 40 mm, 30 mm]", "rover.track": "200 mm",
        "rover.wheel.tyre.radial_damping": "60 N*s/m",
    }  # fmt: skip
    text = "base: bench_start.yaml\nduration: 4 s\nchange:\n" + "".join(
        f"  {k}: {v}\n" for k, v in changes.items()
    )
    scenario = scenario_from_text(text, SCENARIOS)
    ours, fine = simulate(scenario), simulate(scenario, step=2e-5)
    assert ours.summary["distance_m"] == pytest.approx(fine.summary["distance_m"], rel=0.01)
    assert "roll damping" in ours.summary["step_reason"]
