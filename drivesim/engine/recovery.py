"""The driver of a stuck rover: what he tries in turn, and what each try has come to; imports the scenario's models."""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass
from math import cos, sin, tau
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import simpy

from drivesim.physics.body import roll_pitch_yaw
from drivesim.scenario.scenario import Command, Recovery

if TYPE_CHECKING:
    from drivesim.engine.timeline import Timeline

Process = Generator[simpy.Event, Any, None]
JUDGED_AFTER = (
    2.0  # of stuck_for: how long after a try its success is measured, and how long full throttle lasts
)


class Try(NamedTuple):
    """One try that was judged: when it began [s], its method, whether the rover was freed, how far it came [m]."""

    time: float
    method: str
    freed: bool
    progress: float


def recover(timeline: Timeline, recovery: Recovery) -> Process:
    """Try the methods in turn whenever the rover is found stuck, as often as the recovery allows."""
    stuck = f"stuck for {recovery.stuck_for:g} s"
    again = timeline.stuck
    for attempt in range(1, recovery.tries + 1):
        yield again
        assert timeline.wanted is not None  # without a command nothing counts as stuck
        method = recovery.method[(attempt - 1) % len(recovery.method)]
        act, words = METHODS[method]
        name = f"try {attempt} of {recovery.tries}"
        timeline.note("recovery", stuck, f"{name}: {words(recovery)}")
        start, wanted = Place.of(timeline), timeline.wanted
        began, timeline.recovering = timeline.now, True
        yield from act(timeline, recovery, f"recovery, {name}")
        timeline.recovering = False
        timeline.send(timeline.wanted, f"recovery, after {name}")
        body = timeline.model.bodies[0]
        body["stuck_for"] = body["crept"] = 0.0
        body["recovery_asked"] = 0
        again = timeline.stuck
        yield again | timeline.env.timeout(timeline.ticks(JUDGED_AFTER * recovery.stuck_for))
        came = start.progress(timeline, wanted)
        freed = came >= recovery.success
        timeline.tries.append(Try(began, method, freed, came))
        timeline.note("recovery", name, f"{'freed' if freed else 'still stuck'}: came {came:.2f} m")
    yield again
    timeline.note(
        "recovery", f"stuck after {recovery.tries} {'try' if recovery.tries == 1 else 'tries'}", "given up"
    )


def back_off(timeline: Timeline, recovery: Recovery, cause: str) -> Process:
    """Drive the other way for a while."""
    timeline.send(_straight(-_way(timeline) * recovery.speed), cause)
    yield timeline.env.timeout(timeline.ticks(recovery.back_off))


def rock(timeline: Timeline, recovery: Recovery, cause: str) -> Process:
    """Drive back and forth, half a period each."""
    half = recovery.rock_period / 2
    for _ in range(recovery.rocks):
        for way in (-_way(timeline), _way(timeline)):
            timeline.send(_straight(way * recovery.speed), cause)
            yield timeline.env.timeout(timeline.ticks(half))


def full_throttle(timeline: Timeline, recovery: Recovery, cause: str) -> Process:
    """Ask for much more than before, the same way."""
    assert timeline.wanted is not None
    fields = ("forward", "turn", "left", "right")
    more = {name: getattr(timeline.wanted, name) for name in fields}
    more = {name: recovery.throttle * value for name, value in more.items() if value is not None}
    timeline.send(Command.model_construct(at=0.0, **more), cause)
    yield timeline.env.timeout(timeline.ticks(JUDGED_AFTER * recovery.stuck_for))


#: what each method does and how it is told
METHODS: dict[str, tuple[Callable[[Timeline, Recovery, str], Process], Callable[[Recovery], str]]] = {
    "back_off": (back_off, lambda recovery: f"back off for {recovery.back_off:g} s"),
    "rock": (rock, lambda recovery: f"rock {recovery.rocks} times"),
    "full_throttle": (full_throttle, lambda recovery: f"{recovery.throttle:g} times the command"),
}


def _way(timeline: Timeline) -> float:
    """Return 1 where the script drives forwards, −1 where backwards."""
    wanted = timeline.wanted
    assert wanted is not None
    return 1.0 if (wanted.forward or wanted.left or 0.0) >= 0 else -1.0


def _straight(speed: float) -> Command:
    return Command.model_construct(at=0.0, forward=speed)


@dataclass(frozen=True)
class Place:
    """Where the rover stood and which way it looked when it was found stuck [m, rad]."""

    x: float
    y: float
    yaw: float

    @classmethod
    def of(cls, timeline: Timeline) -> Place:
        """Return the rover's present place."""
        body = timeline.model.bodies[0]
        *_, yaw = roll_pitch_yaw(body["q0"], body["q1"], body["q2"], body["q3"])
        turned = yaw - body["yaw"]  # since the last recorded row
        return cls(
            float(body["x"]), float(body["y"]), float(body["yaw"] + turned - tau * round(turned / tau))
        )

    def progress(self, timeline: Timeline, wanted: Command) -> float:
        """Return how far the rover has come from here as ``wanted`` asked [m].

        Along the heading it had; for a turn on the spot, the way of the wheels around the frame's centre.
        """
        here = Place.of(timeline)
        forward = wanted.forward or ((wanted.left or 0.0) + (wanted.right or 0.0))
        if forward != 0:
            along = (here.x - self.x) * cos(self.yaw) + (here.y - self.y) * sin(self.yaw)
            return along if forward > 0 else -along
        turn = wanted.turn or ((wanted.right or 0.0) - (wanted.left or 0.0))
        around = (here.yaw - self.yaw) * float(np.abs(timeline.model.wheels["y"]).mean())
        return around if turn >= 0 else -around
