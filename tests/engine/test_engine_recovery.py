"""The driver of a stuck rover: when he tries, what he does, and whether it helped."""

from __future__ import annotations

import numpy as np
import pytest
from engine_rovers import FOREVER, WHEELS, each_wheel, ideal

from drivesim.engine.build import build
from drivesim.engine.simulate import run_model, simulate

DT = 1e-3


def recovered(recording) -> list[tuple[float, str]]:
    """Return time and text of what the driver did and found."""
    return [(event.time, event.text) for event in recording.events if event.kind == "recovery"]


#: a rover that cannot move: its wheels are blocked
BLOCKED = each_wheel("extra_drag", (f"{FOREVER} N*m",) * 4) | {
    "step": f"{DT} s",
    "record_every": f"{DT} s",
    "rover.wheel.tyre.slip_stiffness": "4 N",
    "commands": [{"at": "0 s", "forward": "0.2 m/s"}],
    "recovery": {"stuck_for": "0.5 s", "back_off": "0.2 s", "speed": "0.1 m/s", "tries": 2},
    "duration": "2.5 s",
}


def test_the_driver_backs_off_as_often_as_allowed_and_then_gives_up():
    """Stuck after 0.5 s, back for 0.2 s, twice; stuck a third time he leaves it."""
    recording = simulate(ideal(BLOCKED))
    times, texts = zip(*recovered(recording), strict=True)
    assert list(texts) == [
        "stuck for 0.5 s: try 1 of 2: back off for 0.2 s",
        "try 1 of 2: still stuck: came 0.00 m",
        "stuck for 0.5 s: try 2 of 2: back off for 0.2 s",
        "try 2 of 2: still stuck: came 0.00 m",
        "stuck after 2 tries: given up",
    ]
    assert times == pytest.approx([0.5, 1.2, 1.2, 1.9, 1.9], abs=3.5 * DT)
    speed = recording.wheels["commanded_speed"][:, 0]
    first = round(times[0] / DT)
    assert np.array_equal(speed[:first], np.full(first, 4.0))
    assert np.array_equal(speed[first : first + 200], np.full(200, -2.0))
    assert np.array_equal(speed[first + 200 : first + 690], np.full(490, 4.0))
    assert (speed < 0).sum() == 400
    assert recording.ending == "finished"
    assert [(t.method, t.freed) for t in recording.tries] == [("back_off", False)] * 2


def test_rocking_goes_back_and_forth_half_a_period_each():
    rocking = {"method": "rock", "rocks": 3, "rock_period": "0.1 s", "stuck_for": "0.5 s", "tries": 1}
    recording = simulate(ideal(BLOCKED | {"recovery": rocking | {"speed": "0.1 m/s"}}))
    speed = recording.wheels["commanded_speed"][:, 0]
    began = round(recovered(recording)[0][0] / DT)
    assert np.array_equal(speed[began : began + 300], np.tile(np.repeat([-2.0, 2.0], 50), 3))
    assert (speed[began + 300 :] == 4.0).all()
    told = [e.text for e in recording.events if e.kind == "command"]
    assert told[1] == "recovery, try 1 of 1: -0.1 m/s forward"
    assert told[-1] == "recovery, after try 1 of 1: 0.2 m/s forward"


def test_full_throttle_asks_for_more_for_twice_the_patience():
    throttle = {"method": "full_throttle", "throttle": 3, "stuck_for": "0.5 s", "tries": 1}
    recording = simulate(ideal(BLOCKED | {"recovery": throttle}))
    speed = recording.wheels["commanded_speed"][:, 0]
    began = round(recovered(recording)[0][0] / DT)
    assert speed[began : began + 1000] == pytest.approx(12.0)
    assert (speed[began + 1000 :] == 4.0).all()


#: motors so strong that a free rover has its speed within a few hundredths of a second
STRONG = {
    "step": f"{DT} s",
    "rover.wheel.motor.flux_linkage": "20 mWb",
    "drive.voltage_per_speed": "0.14 V*s/rad",
    "commands": [{"at": "0 s", "forward": "0.2 m/s"}],
}


def seized(*spans: tuple[float, float]) -> dict[str, list[dict[str, str]]]:
    """Return the events that hold all wheels in these spans of time [s]."""
    event = {"kind": "bearing_seizes", "drag": f"{FOREVER} N*m"}
    return {
        "events": [
            event | {"wheel": wheel, "at": f"{start!r} s", "lasts": f"{end - start!r} s"}
            for start, end in spans
            for wheel in WHEELS
        ]
    }


def test_methods_take_turns_and_each_try_is_judged():
    """Held until 2.9 s: the first try cannot help, and while the second is judged the rover gets free."""
    changes = {
        "recovery": {"method": ["back_off", "rock"], "stuck_for": "0.5 s", "back_off": "0.2 s", "tries": 5},
        "duration": "6 s",
    }
    recording = simulate(ideal(STRONG | seized((0.0, 2.9)) | changes))
    first, second = recording.tries
    assert (first.method, first.freed) == ("back_off", False)
    assert first.time == pytest.approx(0.5, abs=5 * DT)
    assert (second.method, second.freed) == ("rock", True)
    # rocking from 1.2 to 2.8 s; then judged for 1 s, of which 0.9 s at 0.2 m/s
    assert second.progress == pytest.approx(0.18, abs=0.01)
    time, text = recovered(recording)[-1]
    assert text == f"try 2 of 5: freed: came {second.progress:.2f} m"
    assert time == pytest.approx(3.8, abs=0.01)


def test_ground_lost_by_backing_off_does_not_count_as_progress():
    """Held from 1 s on, it backs off from 1.5 to 2.5 s, free from 2 s; it comes back and is held where it was."""
    changes = {
        "recovery": {"stuck_for": "0.5 s", "back_off": "1 s", "speed": "0.2 m/s", "tries": 1},
        "duration": "5 s",
    }
    recording = simulate(ideal(STRONG | seized((1.0, 2.0), (2.95, 9.0)) | changes))
    (only,) = recording.tries
    x = recording.body["x"]
    assert x[300] - x[250] > 0.08
    assert not only.freed
    assert only.progress == pytest.approx(x[300] - x[200], abs=2e-3)


@pytest.mark.parametrize("way", [1, -1])
def test_progress_of_a_turn_is_the_way_of_the_wheels_around_the_centre(way):
    """Held until 0.8 s, then turning on the spot with the wheels 80 mm beside the centre."""
    changes = {
        "commands": [{"at": "0 s", "turn": f"{4 * way} rad/s"}],
        "recovery": {"stuck_for": "0.5 s", "back_off": "0.2 s", "tries": 1},
        "duration": "2 s",
    }
    recording = simulate(ideal(STRONG | seized((0.0, 0.8)) | changes))
    (only,) = recording.tries
    judged = np.searchsorted(recording.time, recovered(recording)[-1][0])
    turned = way * recording.body["yaw"][judged]
    assert turned > 0.3
    assert only.progress == pytest.approx(0.08 * turned, rel=0.03)


@pytest.mark.parametrize(("share", "stuck"), [(0.045, True), (0.055, False)])
def test_stuck_means_less_than_a_twentieth_of_the_command(share, stuck):
    """The rover rolls on at a steady speed below or above that."""
    changes = {
        "commands": [{"at": "0 s", "left": "10 rad/s", "right": "10 rad/s"}],
        "drive.voltage_per_speed": f"{share * 0.014!r} V*s/rad",
        "recovery": {"stuck_for": "1 s", "back_off": "0.2 s", "speed": "0.1 m/s", "tries": 1},
        "duration": "4 s",
    }
    model = build(ideal(changes))
    model.bodies["vx"], model.states["spin"] = share * 0.5, share * 10.0
    texts = [event for event in run_model(model).events if event.cause.startswith("stuck")]
    told = [event.time for event in texts]
    assert told == ([pytest.approx(1.0, abs=2e-3), pytest.approx(2.2, abs=5e-3)] if stuck else [])


def test_the_script_waits_while_the_driver_backs_off():
    changes = {"commands": [{"at": "0 s", "forward": "0.2 m/s"}, {"at": "0.6 s", "forward": "0.3 m/s"}]}
    recording = simulate(ideal(BLOCKED | changes))
    tried = next(event.time for event in recording.events if event.kind == "recovery")
    speed = recording.wheels["commanded_speed"][:, 0]
    back = round(tried / DT) + 200
    assert (speed[back - 200 : back] < 0).all()
    assert speed[back] == pytest.approx(6.0)
