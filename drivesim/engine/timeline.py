"""What happens at irregular times, as SimPy processes: the drive script here, the others in modules of their own.

Time is in whole ticks of the kernel.  What is due at a tick happens before the kernel's step from that tick;
what is due at the run's last tick or later does not happen any more.  What is due at one tick happens in the order
faults, script, link, supervisors, recovery, as far as their times were known from the start; what waits for a
watched limit comes after them.  The processes: ``link``, ``faults``, ``supervisors``, ``recovery``.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import astuple, dataclass, field
from typing import Any

import numpy as np
import simpy

from drivesim.engine import faults, supervisors
from drivesim.engine.energy import stored_energy
from drivesim.engine.link import Link
from drivesim.engine.model import Model
from drivesim.engine.power import Power
from drivesim.engine.recovery import Try, recover
from drivesim.engine.watches import Watches
from drivesim.engine.wheel_build import NEVER
from drivesim.scenario.rover import Rover
from drivesim.scenario.scenario import Command

Process = Generator[simpy.Event, Any, None]

ASKED, ANSWERED = 1, 2  # ``recovery_asked`` of the body: set by the kernel, and taken note of here


@dataclass(frozen=True)
class Event:
    """One line of the run's log: time [s], kind, why, and what follows; wheel is "" where it concerns the rover.

    ``ends`` is the earlier event that this one ends, if any.  Kinds: command, link, recovery, fault, unchanged (an
    event that changes nothing), reset (lockout), trip, heat (first cut-back), end; and condition and stuck, found
    from the traces after the run.
    """

    time: float
    kind: str
    cause: str
    effect: str = ""
    wheel: str = ""
    ends: Event | None = None

    @property
    def text(self) -> str:
        """Cause and effect in one line."""
        return f"{self.cause}: {self.effect}" if self.effect else self.cause


@dataclass
class Timeline:
    """The SimPy environment of one run and what its processes share.

    Make it before the kernel takes its arguments: it gives the model its watches.  ``wanted`` is what the script
    asks for, ``obeyed`` what the wheels last heard of it, ``tries`` what the recovery's tries have come to.
    """

    model: Model
    env: simpy.Environment = field(default_factory=simpy.Environment)
    events: list[Event] = field(default_factory=list)
    tries: list[Try] = field(default_factory=list)
    wanted: Command | None = None
    recovering: bool = False
    obeyed: Command | None = None
    speeds: np.ndarray = field(init=False)  # of the wheels, that ``obeyed`` asks for [rad/s]
    factor: float = 1.0  # by which an unsteady stick is off
    deaf: np.ndarray = field(init=False)  # wheels whose controllers are booting
    centre: np.ndarray = field(init=False)  # of gravity, in the frame's axes [m]

    def __post_init__(self) -> None:
        self.stuck = self.env.event()
        self.watches = Watches(self.model, self.env)
        self.power = Power(self.model)
        self.deaf = np.zeros(len(self.model.names), dtype=bool)
        self.centre = np.array(self.model.scenario.rover.centre_of_gravity)
        self._ramp_ends = np.zeros(len(self.model.names), dtype=np.int64)
        faults.start(self)
        self.env.process(self._script())
        self.link = Link(self)
        supervisors.start(self)
        if self.model.scenario.recovery is not None:
            self.env.process(recover(self, self.model.scenario.recovery))

    @property
    def now(self) -> float:
        """The present time [s]."""
        return float(self.env.now * self.model.step)

    def ticks(self, seconds: float) -> int:
        """Return ``seconds`` in whole ticks."""
        return round(seconds / self.model.step)

    def run_due(self, tick: int) -> None:
        """Let everything that is due up to ``tick`` happen, with the clock standing at ``tick``."""
        if tick > self.env.now:
            self.env.run(until=tick)
        while self.env.peek() <= tick:
            self.env.step()

    def attend(self) -> None:
        """Tell the processes what the kernel returned for: limits crossed, the rover stuck."""
        self.watches.attend()
        body = self.model.bodies[0]
        if body["recovery_asked"] == ASKED:
            body["recovery_asked"] = ANSWERED
            self.stuck.succeed()
            self.stuck = self.env.event()

    def note(
        self, kind: str, cause: str, effect: str = "", wheel: str = "", ends: Event | None = None
    ) -> Event:
        """Add an event at the present time."""
        self.events.append(Event(self.now, kind, cause, effect, wheel, ends))
        return self.events[-1]

    def change(self, act: Callable[[], None]) -> None:
        """Do what alters the energy held in the model, and count the difference as added from outside."""
        before = sum(astuple(stored_energy(self.model)))
        act()
        self.model.bodies["added_energy"] += sum(astuple(stored_energy(self.model))) - before

    def send(self, command: Command, cause: str) -> None:
        """Let the driver send ``command`` over the radio link."""
        self.link.send(command, cause)

    def obey(self, command: Command, cause: str, factor: float) -> None:
        """Let the wheels take up a command that has arrived."""
        self.obeyed, self.factor = command, factor
        self.speeds = wheel_targets(command, self.model.scenario.rover)
        self.aim(command.ramp)
        self.note("command", cause, describe(command))

    def aim(self, ramp: float, wheels: np.ndarray | slice = slice(None)) -> None:
        """Send the wheels from where their commands stand to what they shall obey, over ``ramp`` [s]."""
        states, targets = self.model.states, self._targets()
        rates = np.abs(targets - states["command"]) / ramp if ramp > 0 else np.full(targets.size, NEVER)
        states["command_target"][wheels] = targets[wheels]
        states["command_rate"][wheels] = rates[wheels]
        self._ramp_ends[wheels] = self.env.now + self.ticks(ramp)

    def sway(self, factor: float) -> None:
        """Let the stick be off by another ``factor``: at once, or within the ramp that still lasts."""
        self.factor = factor
        states = self.model.states
        states["command_target"] = self._targets()
        states["command_rate"][self._ramp_ends <= self.env.now] = NEVER

    def restart(self, wheels: np.ndarray) -> None:
        """Give the command obeyed now once more to ``wheels`` (a mask), whose controllers start afresh."""
        self.deaf[wheels] = False
        self.aim(self.obeyed.ramp if self.obeyed is not None else 0.0, wheels)

    def switch_on(self, wheel: int, reason: object) -> bool:
        """Take away why a wheel's driver is off; tell whether it is on by that, from zero to the command again."""
        on = self.power.on(wheel, reason)
        if on:
            self.restart(np.arange(len(self.model.names)) == wheel)
        return on

    def _targets(self) -> np.ndarray:
        """Return the wheel speeds [rad/s] to obey: none in a silence, none where a controller is booting."""
        if self.obeyed is None or self.link.silent:
            return np.zeros(len(self.model.names))
        return np.where(self.deaf, 0.0, self.factor * self.speeds)

    def _script(self) -> Process:
        for command in self.model.scenario.commands:
            yield self.env.timeout(self.ticks(command.at) - self.env.now)
            self.wanted = command
            if not self.recovering:
                self.send(command, "drive script")


def wheel_targets(command: Command, rover: Rover) -> np.ndarray:
    """Return the wheel speeds [rad/s] of a command: from body speed and turn rate, or left and right as given.

    Each wheel's own speed is that of its place on a rover turning about its frame's centre, without side slip.
    Whoever works them out knows the rover as built: the radius is that of a whole tyre.
    """
    left_of_centre = np.array([(rover.place(name).at or (0.0, 0.0))[1] for name in rover.wheel_names])
    if command.left is not None:
        assert command.right is not None
        return np.where(left_of_centre > 0, command.left, command.right)
    forward, turn = command.forward or 0.0, command.turn or 0.0
    result: np.ndarray = (forward - turn * left_of_centre) / rover.wheel.radius
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
