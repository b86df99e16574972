"""Limits that the kernel watches for the timeline: what may be watched, and waiting for it; imports records, Model."""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

import numpy as np
import simpy

from drivesim.engine import records
from drivesim.engine.model import Model
from drivesim.scenario.conditions import Condition

#: quantity of a condition → field of a wheel's state, and of the body's
WHEEL_FIELDS = {
    "temperature": "temperature",
    "housing_temperature": "housing_temperature",
    "speed": "spin",
    "current": "current",
    "load": "normal_load",
}
ROVER_FIELDS = {
    "x": "x",
    "y": "y",
    "speed": "speed",
    "bus_voltage": "bus_voltage",
    "battery_current": "battery_current",
    "state_of_charge": "state_of_charge",
    "stuck": "stuck_for",
}
ROVER = -1  # in place of a wheel's number


class Watch:
    """One field of one state record; waits for it to be above or below a limit, one wait at a time."""

    def __init__(self, model: Model, env: simpy.Environment, index: int) -> None:
        self._model, self._env, self._index = model, env, index
        self._crossed = env.event()

    @property
    def value(self) -> float:
        """What the watched field holds now."""
        record = self._model.watches[self._index]
        states = self._model.bodies if record["wheel"] == ROVER else self._model.states
        wheel = 0 if record["wheel"] == ROVER else int(record["wheel"])
        names = states.dtype.names
        assert names is not None
        return float(states[names[record["field"]]][wheel])

    def above(self, threshold: float) -> simpy.Event:
        """Return the event of the value being above ``threshold`` after a step; an earlier wait is forgotten."""
        return self._arm(1.0, threshold)

    def below(self, threshold: float) -> simpy.Event:
        """Return the event of the value being below ``threshold`` after a step; an earlier wait is forgotten."""
        return self._arm(-1.0, threshold)

    def _arm(self, sign: float, threshold: float) -> simpy.Event:
        record = self._model.watches[self._index]
        record["sign"], record["threshold"] = sign, threshold
        record["armed"], record["fired"] = 1, 0
        self._crossed = self._env.event()
        return self._crossed

    def attend(self) -> None:
        """Let the wait end where the kernel has marked it."""
        record = self._model.watches[self._index]
        if record["fired"] == 1:
            record["fired"] = 0
            self._crossed.succeed()


class Watches:
    """All watches of a run.  Each one costs the kernel a little at every step while it is armed.

    ``add`` before the kernel takes its arguments: it keeps the array that it was given.
    """

    def __init__(self, model: Model, env: simpy.Environment) -> None:
        self._model, self._env = model, env
        self._all: list[Watch] = []
        model.watches = np.zeros(0, records.WATCH)

    def add(self, wheel: int, field: str) -> Watch:
        """Return a new watch of ``field`` in the state of ``wheel``, or of the body where that is ROVER."""
        record = np.zeros(1, records.WATCH)
        names = (records.BODY_STATE if wheel == ROVER else records.WHEEL_STATE).names
        assert names is not None
        record["wheel"], record["field"] = wheel, names.index(field)
        self._model.watches = np.concatenate([self._model.watches, record])
        self._all.append(Watch(self._model, self._env, len(self._all)))
        return self._all[-1]

    def add_condition(self, condition: Condition) -> Watch:
        """Return a new watch of what ``condition`` is about."""
        if condition.wheel is None:
            return self.add(ROVER, ROVER_FIELDS[condition.quantity])
        return self.add(self._model.names.index(condition.wheel), WHEEL_FIELDS[condition.quantity])

    def attend(self) -> None:
        """Let all waits end whose limits the kernel has found crossed."""
        for watch in self._all:
            watch.attend()


def hold(
    env: simpy.Environment, watch: Watch, condition: Condition, ticks: int
) -> Generator[simpy.Event, Any, None]:
    """Wait until ``condition`` has been true for ``ticks`` on end (0: until it is true)."""
    there, back = (watch.above, watch.below) if condition.above else (watch.below, watch.above)
    while True:
        yield there(condition.threshold)
        if ticks == 0:
            return
        over = back(condition.threshold)
        yield over | env.timeout(ticks)
        if not over.triggered:
            return
