"""What happens when: commands, latency, ramps, the recovering driver, and the ways a run can end."""

from __future__ import annotations

import math

import numpy as np
import pytest
from engine_rovers import IN_THE_AIR, held_up, ideal, standing_on_a_slope

from drivesim.engine.build import build
from drivesim.engine.simulate import run_model, simulate

DT = 1e-3
ROWS = IN_THE_AIR | {"step": f"{DT} s", "record_every": f"{DT} s", "duration": "0.1 s"}


def commanded(changes) -> np.ndarray:
    """Return the left wheels' command in each step of a run in the air."""
    return run_model(held_up(ideal(ROWS | changes))).wheels["commanded_speed"][:, 0]


def sides(at: float, speed: float, ramp: float = 0.0) -> dict[str, str]:
    """Return a command for both sides."""
    return {"at": f"{at!r} s", "left": f"{speed!r} rad/s", "right": f"{speed!r} rad/s", "ramp": f"{ramp!r} s"}


@pytest.mark.parametrize("latency", [0, 7])
def test_a_command_acts_on_the_step_that_begins_at_its_tick(latency):
    link = {"link.latency": f"{latency * DT!r} s"}
    speed = commanded(link | {"commands": [sides(0.02, 3.0), sides(0.05, -1.0), sides(0.05, 2.0)]})
    expected = np.zeros(100)
    expected[20 + latency :] = 3.0
    expected[50 + latency :] = 2.0  # of two at one tick the later one holds
    assert np.array_equal(speed, expected)


def test_a_body_command_becomes_wheel_speeds():
    """Forward 0.3 m/s and 2 rad/s to the left: (0.3 ∓ 2·0.08)/0.05 rad/s on the left and on the right."""
    command = {"at": "0 s", "forward": "0.3 m/s", "turn": "2 rad/s"}
    recording = run_model(held_up(ideal(ROWS | {"commands": [command]})))
    assert recording.wheels["commanded_speed"][-1] == pytest.approx([2.8, 9.2, 2.8, 9.2])


def test_a_ramp_is_a_straight_line_from_where_the_command_stands():
    speed = commanded({"commands": [sides(0.01, 4.0, 0.04), sides(0.03, -2.0, 0.02)]})
    assert speed[10:30] == pytest.approx(4.0 * np.arange(1, 21) / 40)
    assert speed[30:50] == pytest.approx(2.0 - 4.0 * np.arange(1, 21) / 20)
    assert np.array_equal(speed[50:], np.full(50, -2.0))


def test_what_is_due_at_the_end_does_not_happen():
    scenario = ideal(ROWS | {"commands": [sides(0.099, 1.0), sides(0.1, 2.0), sides(0.3, 3.0)]})
    recording = run_model(held_up(scenario))
    assert [(event.time, event.kind) for event in recording.events] == [(0.099, "command"), (0.1, "end")]
    assert recording.wheels["commanded_speed"][-1, 0] == 1.0
    assert recording.time.size == 100
    assert (recording.ending, recording.end_time) == ("finished", 0.1)


def test_the_ground_ends():
    changes = {
        "ground": {"length": "0.3 m", "behind": "0.3 m", "width": "0.6 m"},
        "commands": [sides(0.0, 20.0)],
        "drive.voltage_per_speed": "0.1 V*s/rad",
        "duration": "5 s",
    }
    recording = simulate(ideal(changes))
    assert recording.ending == "left_ground"
    assert recording.end_time < 2.0
    front = recording.model.contacts["hub_x"].max()
    assert 0.3 < front < 0.301
    assert recording.events[-1].time == recording.end_time
    assert recording.time[-1] < recording.end_time


@pytest.mark.parametrize(
    ("heading", "degrees", "ending"),
    [(0, 57.5, "finished"), (0, 60.5, "overturned"), (90, 51.5, "finished"), (90, 54.5, "overturned")],
)
def test_a_rover_tips_over_where_its_weight_leaves_its_wheels(heading, degrees, ending):
    """Uphill beyond atan(0.1/0.06) = 59.04 deg, sideways beyond atan(0.08/0.06) = 53.13 deg.

    Half the wheelbase and half the track over the height of the weight (Wong; Gillespie, from memory).
    """
    recording = simulate(standing_on_a_slope(degrees, heading))
    assert recording.ending == ending
    angle = "pitch" if heading == 0 else "roll"
    tilt = abs(math.degrees(recording.body[angle][-1]))
    assert tilt > 70 if ending == "overturned" else tilt == pytest.approx(degrees, abs=0.5)


def test_a_weak_cell_collapses():
    """8 V behind 8 ohm gives at most V²/(4·R) = 2 W, and wheels at standstill ask for more."""
    changes = {
        "rover.battery": {
            "capacity": "1 A*h",
            "cell_resistance": "8 ohm",
            "open_circuit": [[0, "8 V"], [1, "8 V"]],
        },
        "drive.voltage_per_speed": "0.1 V*s/rad",
        "commands": [sides(0.2, 10.0, 0.2)],
        "record_every": "1 ms",
    }
    recording = simulate(ideal(changes))
    assert recording.ending == "collapsed"
    assert 0.2 < recording.end_time < 0.4
    power = recording.body["bus_voltage"] * recording.body["battery_current"]
    assert power.max() < 2.0
    assert power.max() > 1.8
    assert recording.body["bus_voltage"].min() > 2.0


def test_an_empty_cell_collapses():
    changes = {"rover.battery.capacity": "1e-4 A*h", "rover.battery.electronics": "100 W"}
    recording = simulate(ideal(changes))
    assert recording.ending == "collapsed"
    assert recording.end_time == pytest.approx(0.36, abs=1e-3)  # 0.36 A·s at 1 A


@pytest.mark.parametrize("where", ["bodies", "states"])
def test_numbers_that_run_away_end_the_run_with_a_word_of_their_own(where):
    model = build(ideal({"duration": "0.1 s"}))
    if where == "bodies":
        model.bodies["wx"] = math.nan
    else:
        model.states["iq"][2] = math.inf
    recording = run_model(model)
    assert recording.ending == "not_finite"
    assert recording.end_time <= 3 * model.step
