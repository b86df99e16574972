"""What happens at irregular times, as SimPy processes: the drive script, the radio link, the recovering driver.

Time is in whole ticks of the kernel.  What is due at a tick happens before the kernel's step from that tick;
what is due at the run's last tick or later does not happen any more.  Faults, supply supervisors and cut-backs
belong here too, each as one more process.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import simpy

from drivesim.engine.build import NEVER
from drivesim.engine.model import Model
from drivesim.scenario.scenario import Command

Process = Generator[simpy.Event, Any, None]


@dataclass(frozen=True)
class Event:
    """One line of the run's log: time [s], kind, and a few words; wheel is "" where it concerns the whole rover."""

    time: float
    kind: str
    text: str
    wheel: str = ""


@dataclass
class Timeline:
    """The SimPy environment of one run and what its processes share."""

    model: Model
    env: simpy.Environment = field(default_factory=simpy.Environment)
    events: list[Event] = field(default_factory=list)
    wanted: Command | None = None
    recovering: bool = False

    def __post_init__(self) -> None:
        self.stuck = self.env.event()
        self.env.process(self._script())
        if self.model.scenario.recovery is not None:
            self.env.process(self._recover())

    def ticks(self, seconds: float) -> int:
        """Return ``seconds`` in whole ticks."""
        return round(seconds / self.model.step)

    def run_due(self, tick: int) -> None:
        """Let everything that is due up to ``tick`` happen, with the clock standing at ``tick``."""
        if tick > self.env.now:
            self.env.run(until=tick)
        while self.env.peek() <= tick:
            self.env.step()

    def report_stuck(self) -> None:
        """Tell the processes that the kernel found the rover stuck."""
        self.stuck.succeed()
        self.stuck = self.env.event()

    def note(self, kind: str, text: str) -> None:
        """Add an event at the present time."""
        self.events.append(Event(self.env.now * self.model.step, kind, text))

    def _script(self) -> Process:
        for command in self.model.scenario.commands:
            yield self.env.timeout(self.ticks(command.at) - self.env.now)
            self.wanted = command
            if not self.recovering:
                self._send(command)

    def _send(self, command: Command) -> None:
        self.env.process(self._deliver(lambda: self._apply(command)))

    def _deliver(self, act: Callable[[], None]) -> Process:
        """Carry a message over the radio link."""
        yield self.env.timeout(self.ticks(self.model.scenario.link.latency))
        act()

    def _apply(self, command: Command) -> None:
        states = self.model.states
        targets = wheel_targets(command, self.model)
        ramp = command.ramp
        states["command_target"] = targets
        states["command_rate"] = np.abs(targets - states["command"]) / ramp if ramp > 0 else NEVER
        self.note("command", describe(command))

    def _recover(self) -> Process:
        """Back off and try again, as often as the recovery allows."""
        recovery = self.model.scenario.recovery
        assert recovery is not None
        for attempt in range(1, recovery.tries + 1):
            yield self.stuck
            wanted = self.wanted
            assert wanted is not None  # without a command nothing counts as stuck
            self.recovering = True
            backwards = -recovery.speed if (wanted.forward or wanted.left or 0.0) >= 0 else recovery.speed
            self.note("recovery", f"try {attempt} of {recovery.tries}: back off for {recovery.back_off:g} s")
            self._send(Command.model_construct(at=0.0, forward=backwards))
            yield self.env.timeout(self.ticks(recovery.back_off))
            self.recovering = False
            assert self.wanted is not None
            self._send(self.wanted)
            body = self.model.bodies[0]
            body["stuck_for"] = body["crept"] = 0.0
            body["recovery_asked"] = 0
        yield self.stuck
        self.note("recovery", "given up")


def wheel_targets(command: Command, model: Model) -> np.ndarray:
    """Return the wheel speeds [rad/s] of a command: from body speed and turn rate, or left and right as given.

    Each wheel's own speed is that of its place on a rover turning about its frame's centre, without side slip.
    """
    rover = model.scenario.rover
    left_of_centre = np.array([(rover.place(name).at or (0.0, 0.0))[1] for name in model.names])
    if command.left is not None:
        assert command.right is not None
        return np.where(left_of_centre > 0, command.left, command.right)
    forward, turn = command.forward or 0.0, command.turn or 0.0
    result: np.ndarray = (forward - turn * left_of_centre) / model.wheels["radius"]
    return result


def describe(command: Command) -> str:
    """Return a command in a few words."""
    if command.left is not None:
        words = f"left {command.left:.3g} rad/s, right {command.right:.3g} rad/s"
    else:
        parts = [f"{command.forward:.3g} m/s forward"] if command.forward is not None else []
        parts += [f"turn {command.turn:.3g} rad/s"] if command.turn is not None else []
        words = ", ".join(parts)
    return words + (f" over {command.ramp:g} s" if command.ramp > 0 else "")
