"""What the driver's script asks for, and how far the rover came along it; imports engine and numpy.

It is the script alone: what link, fail-safe, resets or a driver's tries at recovery make of it is left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drivesim.engine.simulate import Recording
from drivesim.engine.timeline import wheel_targets


@dataclass(frozen=True)
class Told:
    """What was asked for and what came of it, in each row.

    ``speeds`` (rows, wheels) [rad/s]: of the wheels, by the script.  ``forward`` (rows,) [m/s]: their mean tread
    speed without its sign.  ``progress`` (rows,) [m/s]: the hubs' mean speed along what the script asks for, or last
    asked for: what a rover rolls on after it was told to stop counts too.  ``interval`` [s] from row to row.
    """

    speeds: np.ndarray
    forward: np.ndarray
    progress: np.ndarray
    interval: float

    @property
    def way(self) -> float:
        """The way [m] that the script adds up to."""
        return float(self.forward.sum() * self.interval)

    @property
    def came(self) -> float:
        """The hubs' mean way [m] along what the script asks for: also counts turning on the spot."""
        return float(self.progress.sum() * self.interval)

    @property
    def share(self) -> float:
        """How much of the way asked for the rover came."""
        return self.came / self.way


def distance(speed: np.ndarray, interval: float) -> float:
    """Return how far rows of ``speed`` [m/s] along the rover's own axis lead [m] (backing off counts backwards)."""
    return float(speed.sum() * interval)


def told(recording: Recording) -> Told:
    """Return what the script of a run asks for, row by row."""
    speeds = told_speeds(recording)
    radius = recording.scenario.rover.wheel.radius
    sign = _last_sign(speeds)
    progress = (sign * recording.wheels["hub_speed"]).mean(axis=1)
    return Told(speeds, np.abs(speeds).mean(axis=1) * radius, progress, recording.interval)


def told_speeds(recording: Recording) -> np.ndarray:
    """Return the wheel speeds [rad/s] that the script asks for in the middle of each row, shape (rows, wheels)."""
    time, commands = recording.time, recording.scenario.commands
    speeds = np.zeros((time.size, len(recording.model.names)))
    start = np.zeros(len(recording.model.names))
    ends = [*(command.at for command in commands[1:]), np.inf]
    for command, end in zip(commands, ends, strict=True):
        target = wheel_targets(command, recording.scenario.rover)
        first, last = np.searchsorted(time, (command.at, end))
        done = _ramped(time[first:last] - command.at, command.ramp)
        speeds[first:last] = start + done[:, None] * (target - start)
        start = start + _ramped(np.array(end - command.at), command.ramp) * (target - start)
    return speeds


def asked_since(recording: Recording, start: float) -> bool:
    """Tell whether the script asks the rover to drive at any time from ``start`` [s] on."""
    return bool(told_speeds(recording)[recording.time >= start].any())


def _ramped(since: np.ndarray, ramp: float) -> np.ndarray:
    """Return how much of a ramp is done ``since`` its begin [s]."""
    return np.minimum(1.0, since / ramp) if ramp > 0 else np.ones_like(since)


def _last_sign(speeds: np.ndarray) -> np.ndarray:
    """Return the sign of each speed, and where that is zero the last one before it."""
    rows = np.arange(speeds.shape[0])[:, None]
    last = np.maximum.accumulate(np.where(speeds != 0, rows, 0), axis=0)
    signs: np.ndarray = np.sign(np.take_along_axis(speeds, last, axis=0))
    return signs
