"""The radio link: messages that get lost, late or unsteady, and the stop after a silence."""

from __future__ import annotations

import math

import numpy as np
import pytest
import simpy
from engine_rovers import IN_THE_AIR, held_up, ideal, same_bytes

from drivesim.engine.simulate import Recording, run_model

DT = 1e-3
EVERY = 0.02  # s between messages
AIR = IN_THE_AIR | {"step": f"{DT} s", "record_every": f"{DT} s"}


def drive(changes) -> Recording:
    """Run a rover that hangs in the air."""
    return run_model(held_up(ideal(AIR | changes)))


def both(at: float, speed: float, ramp: float = 0.0) -> dict[str, str]:
    """Return a command for both sides."""
    return {"at": f"{at!r} s", "left": f"{speed!r} rad/s", "right": f"{speed!r} rad/s", "ramp": f"{ramp!r} s"}


def times(recording: Recording, kind: str) -> np.ndarray:
    """Return the times [s] of all events of a kind."""
    return np.array([event.time for event in recording.events if event.kind == kind])


#: the link breaks at 0.305 s for 0.4 s; the wheels stop after 0.1 s without a message
BROKEN = {
    "link": {"latency": "7 ms", "every": "20 ms", "fail_safe": "0.1 s"},
    "events": [{"at": "0.305 s", "kind": "link_lost", "lasts": "0.4 s"}],
    "duration": "1 s",
}


def test_a_silence_stops_the_wheels_and_the_next_message_ends_it():
    """Last message sent 0.300 s, heard 0.307 s; stop at 0.407 s.  Next one through sent 0.720 s, heard 0.727 s."""
    recording = drive(BROKEN | {"commands": [both(0.0, 3.0, 0.05)]})
    told = [(event.time, event.text) for event in recording.events if event.kind == "link"]
    assert told == [
        (pytest.approx(0.407), "no message for 0.1 s: all wheels stop"),
        (pytest.approx(0.727), "a message after 0.42 s of silence: the wheels obey again"),
    ]
    speed = recording.wheels["commanded_speed"][:, 0]
    assert (speed[57:407] == 3.0).all()
    assert (speed[407:727] == 0.0).all()
    assert speed[727:777] == pytest.approx(3.0 * np.arange(1, 51) / 50)  # up its ramp again
    faults = [(e.time, e.text) for e in recording.events if e.kind == "fault"]
    assert faults == [
        (pytest.approx(0.305), "at 0.305 s, as scripted: radio link lost for 0.4 s"),
        (pytest.approx(0.705), "0.4 s later, as scripted: radio link back"),
    ]


def test_a_command_sent_into_a_broken_link_comes_with_the_first_repeat_that_gets_through():
    """It is sent at 0.51 s and every 20 ms from then on: 0.710 s is the first after the break ends at 0.705 s."""
    recording = drive(BROKEN | {"commands": [both(0.0, 3.0), both(0.51, -2.0)]})
    assert times(recording, "command") == pytest.approx([0.007, 0.717])
    assert times(recording, "link") == pytest.approx([0.407, 0.717])
    assert (recording.wheels["commanded_speed"][717:, 0] == -2.0).all()


def test_a_break_shorter_than_the_fail_safe_goes_unnoticed():
    """Heard at 0.307 s and again, sent 0.400 s, at 0.407 s: exactly the patience of 0.1 s."""
    changes = {"events": [{"at": "0.305 s", "kind": "link_lost", "lasts": "0.09 s"}]}
    recording = drive(BROKEN | changes | {"commands": [both(0.0, 3.0)]})
    assert times(recording, "link").size == 0


def test_a_steady_link_with_a_fail_safe_changes_nothing():
    changes = {"commands": [both(0.0, 3.0), both(0.213, 5.0, 0.1)], "duration": "0.5 s"}
    plain = drive(changes | {"link": {"latency": "7 ms"}})
    guarded = drive(changes | {"link": {"latency": "7 ms", "fail_safe": "0.05 s"}})
    assert same_bytes(plain, guarded)
    assert [e.text for e in plain.events] == [e.text for e in guarded.events]


def test_a_command_waits_as_long_as_its_messages_get_lost():
    """With loss p, k repeats are needed with probability (1 − p)·p^k (geometric); chi-square with 5 classes."""
    p, commands, apart = 0.4, 1000, 0.3
    changes = {
        "link": {"loss": p, "every": f"{EVERY} s"},
        "commands": [both(i * apart, 1.0 + i % 2) for i in range(commands)],
        "duration": f"{commands * apart!r} s",
        "record_every": "0.1 s",
    }
    recording = drive(changes)
    came = times(recording, "command")
    late = np.rint((came - apart * np.arange(commands)) / EVERY).astype(int)
    assert came - apart * np.arange(commands) == pytest.approx(late * EVERY, abs=1e-9)
    counts = np.bincount(np.minimum(late, 4), minlength=5)
    expected = commands * np.array([*((1 - p) * p ** np.arange(4)), p**4])
    assert ((counts - expected) ** 2 / expected).sum() < 18.5  # passed by chance in 99.9 % of cases


def test_silences_come_as_often_and_last_as_long_as_lost_messages_make_them():
    """A gap of 60 ms or more needs two or more losses in a row: n·(1 − p)·p² silences.

    Each lasts from 50 ms after one message to the next: 10 ms, and 20 ms more with probability p, again and again.
    """
    p, duration = 0.3, 400.0
    changes = {
        "link": {"loss": p, "every": f"{EVERY} s", "fail_safe": "50 ms"},
        "commands": [both(0.0, 1.0)],
        "duration": f"{duration!r} s",
        "record_every": "0.1 s",
    }
    told = [e for e in drive(changes).events if e.kind == "link"]
    starts = np.array([e.time for e in told if e.effect == "all wheels stop"])
    ends = np.array([e.time for e in told if e.effect == "the wheels obey again"])
    expected = duration / EVERY * (1 - p) * p**2
    assert abs(starts.size - expected) < 4 * math.sqrt(expected)
    lengths = ends[: starts.size] - starts[: ends.size]
    mean, spread = 0.01 + EVERY * p / (1 - p), EVERY * math.sqrt(p) / (1 - p)
    assert abs(lengths.mean() - mean) < 4 * spread / math.sqrt(lengths.size)


def test_jitter_is_even_and_no_message_overtakes_another():
    latency, jitter, apart, commands = 0.03, 0.05, 0.02, 1000
    link = {"latency": f"{latency} s", "jitter": f"{jitter} s"}
    changes = {
        "link": link | {"every": "1 s"},
        "commands": [both(i * 0.1, 1.0 + i % 2) for i in range(commands)],
        "duration": f"{commands * 0.1!r} s",
        "record_every": "0.1 s",
    }
    late = times(drive(changes), "command") - 0.1 * np.arange(commands)
    assert late.min() >= latency - 1e-9
    assert late.max() <= latency + jitter + 1e-9
    assert late.mean() == pytest.approx(latency + jitter / 2, abs=4 * jitter / math.sqrt(12 * commands))
    quick = [both(i * apart, float(i + 1)) for i in range(commands)]
    recording = drive(changes | {"link": link, "commands": quick, "duration": f"{commands * apart!r} s"})
    told = [e.effect for e in recording.events if e.kind == "command"]
    assert len(told) > commands - 5  # all but the last few, still on their way
    assert told == [f"left {i + 1:.3g} rad/s, right {i + 1:.3g} rad/s" for i in range(len(told))]


def test_an_unsteady_stick_moves_the_command_around_its_value():
    """Independent normal values of 10 % of 4 rad/s, a new one every 0.1 s, the same for all wheels."""
    changes = {
        "link": {"command_noise": 0.1},
        "commands": [both(0.0, 4.0)],
        "duration": "80 s",
        "record_every": "0.1 s",
    }
    recording = drive(changes)
    speed = recording.wheels["commanded_speed"]
    assert np.array_equal(speed, np.repeat(speed[:, :1], 4, axis=1))
    off = speed[:, 0] / 4.0 - 1.0
    n = off.size
    assert abs(off.mean()) < 4 * 0.1 / math.sqrt(n)
    assert off.std() == pytest.approx(0.1, rel=4 / math.sqrt(2 * n))
    assert abs(np.corrcoef(off[1:], off[:-1])[0, 1]) < 4 / math.sqrt(n)
    assert times(recording, "command").size == 1


@pytest.mark.parametrize("noise", [0.0, 0.1])
def test_messages_are_not_scheduled_one_by_one(noise, monkeypatch):
    """30,000 messages; what counts is that they change nothing, and 10 movements of the stick a second."""
    steps = []
    step = simpy.Environment.step
    monkeypatch.setattr(simpy.Environment, "step", lambda env: (steps.append(1), step(env)))
    changes = {
        "link": {"loss": 0.1, "every": "2 ms", "fail_safe": "0.2 s", "command_noise": noise},
        "commands": [both(0.0, 1.0)],
        "duration": "60 s",
        "record_every": "0.1 s",
    }
    drive(changes)
    assert len(steps) < (4000 if noise else 1000)


def message_by_message(
    seed: int, link: dict[str, int | float], script: list[int], lost: tuple[int, int], end: int
):
    """Return (tick, what) at the receiver, told by going through all messages one after the other.

    All times in ticks of 1 ms; ``script``: when each command is sent; ``lost``: from when to when the link is off.
    """
    stream = np.random.SeedSequence(seed, spawn_key=(2,))
    draws = iter(np.random.Generator(np.random.PCG64(stream)).random((100_000, 3)))
    happened, heard, silent, obeyed, newest = [], None, False, None, 0
    for number, begun in enumerate(script):
        until = script[number + 1] if number + 1 < len(script) else end
        for sent in range(begun, until + 1, link["every"]):
            loss, late, _ = next(draws)
            if loss < link["loss"] or lost[0] <= sent < lost[1]:
                continue
            newest = max(newest, sent + round(link["latency"] + link["jitter"] * late))
            if heard is not None and newest - heard > link["fail_safe"]:
                happened.append((heard + link["fail_safe"], "silence"))
                silent = True
            if silent:
                happened.append((newest, "message"))
            if obeyed != number:
                happened.append((newest, f"command {number + 1}"))
            heard, silent, obeyed = newest, False, number
    if heard is not None and end - heard > link["fail_safe"]:
        happened.append((heard + link["fail_safe"], "silence"))
    return [(tick, what) for tick, what in happened if tick < end]


@pytest.mark.parametrize("seed", range(12))
def test_looking_ahead_finds_what_going_through_all_messages_finds(seed):
    rng = np.random.default_rng(seed)
    link = {
        "every": int(rng.integers(2, 30)),
        "latency": int(rng.integers(0, 60)),
        "jitter": int(rng.choice([0, 20, 90])),
        "loss": float(rng.choice([0.0, 0.3, 0.8])),
    }
    link["fail_safe"] = link["every"] + int(rng.integers(1, 80))
    end = 20_000
    script = sorted(int(tick) for tick in rng.integers(0, end, 25))
    off = int(rng.integers(0, end))
    lost = (off, off + int(rng.integers(1, 3000)))
    as_written = {name: f"{value * DT!r} s" for name, value in link.items() if name != "loss"}
    changes = {
        "link": as_written | {"loss": link["loss"]},
        "commands": [both(tick * DT, float(i + 1)) for i, tick in enumerate(script)],
        "events": [
            {"at": f"{lost[0] * DT!r} s", "kind": "link_lost", "lasts": f"{(lost[1] - lost[0]) * DT!r} s"}
        ],
        "duration": f"{end * DT!r} s",
        "record_every": "0.1 s",
        "seed": seed,
    }
    words = {"all wheels stop": "silence", "the wheels obey again": "message"}
    found = [
        (round(e.time / DT), words.get(e.effect) or f"command {int(e.effect.split()[1])}")
        for e in drive(changes).events
        if e.kind in ("link", "command")
    ]
    assert found == message_by_message(seed, link, script, lost, end)
    assert len(found) > 10


def test_the_seed_decides_what_is_lost():
    changes = {
        "link": {"loss": 0.5, "fail_safe": "50 ms", "jitter": "30 ms", "command_noise": 0.1},
        "commands": [both(0.0, 1.0), both(1.0, 2.0)],
        "duration": "2 s",
    }
    one, again, other = drive(changes), drive(changes), drive(changes | {"seed": 2})
    assert one.events == again.events
    assert same_bytes(one, again)
    assert [e.time for e in one.events] != [e.time for e in other.events]
