"""All logs as one problem: readings side by side, and the model's values for a set of parameters.

Imports the models of the tests, parameters and the solver's data.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from drivesim.errors import DrivesimError
from drivesim.fitting.bench import WHEEL_TESTS, wheel_numbers, wheel_of
from drivesim.fitting.cells import pulsed
from drivesim.fitting.driven import driven
from drivesim.fitting.logs import Array, Log
from drivesim.fitting.parameters import BATTERY, BEARING, INERTIA, WINDING, Parameter
from drivesim.fitting.places import MOTOR, changed
from drivesim.fitting.solve import Data, Search
from drivesim.fitting.sure import used
from drivesim.scenario import Scenario

LEAST_NOISE = 1e-7  # of a channel's size: no reading has more digits than that
REMEMBERED = 64  # results kept for each log
#: beginnings of the paths of all numbers that a test can depend on
_DRAG = (BEARING, "rover.wheels.", "rover.frame.", "rover.wheelbase", "rover.track")
_COPPER = (MOTOR, f"{WINDING}.temperature_coefficient", "rover.wheels.")
_DRIVEN = (*_DRAG, *_COPPER, "rover.wheel.driver.on_resistance")
TOUCHED = {
    "no_load": _DRIVEN, "loaded": _DRIVEN, "pull_out": _DRIVEN, "back_emf": (MOTOR, "rover.wheels."),
    "locked_rotor": (*_COPPER, "rover.wheel.driver.on_resistance"), "spin_down": (*_DRAG, INERTIA),
    "warm_up": (*_COPPER, WINDING), "cell_pulse": (BATTERY,),
}  # fmt: skip


class Joint:
    """The readings of all logs in one row, log by log and channel by channel, and the model beside them."""

    def __init__(self, scenario: Scenario, logs: Sequence[Log], parameters: Sequence[Parameter]) -> None:
        self.scenario, self.logs, self.parameters = scenario, tuple(logs), tuple(parameters)
        rows = {(i, name): used(log, name) for i, log in enumerate(self.logs) for name in log.channels}
        #: the channels with a reading that counts, and the rows of those readings
        self.channels = [(self.logs[i], name) for (i, name), mask in rows.items() if mask.any()]
        self.rows = [np.flatnonzero(mask) for mask in rows.values() if mask.any()]
        self._rows = {key: mask for key, mask in rows.items() if mask.any()}
        self.simulated = any(log.kind == "rover" for log in self.logs)
        self._shared = [p for p in self.parameters if not p.log]
        self._memory: list[dict[tuple[float, ...], Array]] = [{} for _ in self.logs]
        self.tick: Callable[[], None] = lambda: None

    def data(self) -> Data:
        """Return the readings as the solver wants them."""
        if not self.channels:
            raise DrivesimError(
                "found no reading that says anything: all are of wheels at rest or without current"
            )
        measured = [log.table[name][rows] for (log, name), rows in zip(self.channels, self.rows, strict=True)]
        floor = [
            max(log.resolution.get(name, 0.0), LEAST_NOISE * float(np.sqrt(np.mean(column**2))), 1e-12)
            for (log, name), column in zip(self.channels, measured, strict=True)
        ]
        return Data(
            np.concatenate(measured),
            np.repeat(np.arange(len(measured)), [len(column) for column in measured]),
            np.array(floor),
            np.array([_series(log) for log, _ in self.channels]),
            np.array([log.kind != "rover" for log, _ in self.channels]),
        )

    def search(self) -> Search:
        """Return where the search begins and its limits."""
        columns = (
            [getattr(p, name) for p in self.parameters] for name in ("start", "scale", "lower", "upper")
        )
        start, scale, lower, upper = (np.array(column, float) for column in columns)
        return Search(start, scale, lower, upper, self.simulated)

    def on_progress(self, tick: Callable[[], None]) -> None:
        """Call ``tick`` after each evaluation of the model."""
        self.tick = tick

    def model(self, x: Array) -> Array:
        """Return the model's values for all readings."""
        out = self.predicted(dict(zip([p.path for p in self.parameters], x.tolist(), strict=True)))
        self.tick()
        return out

    def predicted(self, values: Mapping[str, float]) -> Array:
        """Return the model's values with these parameters; those not named are the file's.

        A log whose own parameters are as in an earlier call is not worked out again.
        """
        scenario: Scenario | None = None
        parts = []
        for i, (log, memory) in enumerate(zip(self.logs, self._memory, strict=True)):
            mine = {p.path: values[p.path] for p in self.parameters if p.path in values and speaks_of(log, p)}
            key = tuple(mine.values())
            if key not in memory:
                if scenario is None:
                    scenario = changed(
                        self.scenario, {p.path: values[p.path] for p in self._shared if p.path in values}
                    )
                own = {
                    p.path.partition(": ")[2]: values.get(p.path, p.start)
                    for p in self.parameters
                    if p.log == log.name
                }
                found = predict(scenario, log, own)
                if len(memory) >= REMEMBERED:
                    memory.clear()
                memory[key] = np.concatenate(
                    [found[name][mask] for (k, name), mask in self._rows.items() if k == i] or [np.zeros(0)]
                )
            parts.append(memory[key])
        return np.concatenate(parts)


def speaks_of(log: Log, parameter: Parameter) -> bool:
    """Tell whether a number has any part in what one log shows."""
    if parameter.log:
        return parameter.log == log.name
    return log.kind == "rover" or parameter.path.startswith(TOUCHED[log.kind])


def predict(scenario: Scenario, log: Log, own: Mapping[str, float]) -> Mapping[str, Array]:
    """Return what the model says that one log shows; ``own``: the log's own parameters by their names."""
    if log.kind == "rover":
        return driven(scenario, log)
    if log.kind == "cell_pulse":
        return pulsed(scenario, log, own)
    return WHEEL_TESTS[log.kind](wheel_numbers(scenario, wheel_of(scenario, log)), scenario, log, own)


def _series(log: Log) -> bool:
    return "time" in log.table
