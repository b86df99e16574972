"""What the simulator says the whole rover shows on the scenario's ground; imports the engine and the logs."""

from __future__ import annotations

import numpy as np

from drivesim.engine.simulate import simulate
from drivesim.errors import DrivesimError
from drivesim.fitting.logs import Array, Log
from drivesim.scenario import Scenario
from drivesim.scenario.scenario import Command

SETTLES = 1e-9  # of a command; smaller changes from row to row are none


def refuse_clock(scenario: Scenario, log: Log) -> None:
    """Raise DrivesimError where a rover's log is by another clock than the scenario's."""
    if log.kind != "rover":
        return
    first = float(log.table["time"][0])
    if not 0 <= first < scenario.duration:
        raise DrivesimError(
            f"{log.path or log.name}:{log.line(0)}: column time: found {first:.10g} s in the first row, allowed: 0 s "
            f"to the scenario's {scenario.duration:g} s;"
            " 0 is when the scenario begins, so take off what the clock showed"
        )


def driven(scenario: Scenario, log: Log) -> dict[str, Array]:
    """Return each measured channel at the log's times, from a run of the scenario with the log's own commands."""
    recording = simulate(scenario_of(scenario, log))
    if recording.time.size < 2:
        raise DrivesimError(
            f"{log.path or log.name}: the simulated rover's run ended at {recording.end_time:.3g} s,"
            " before the log's time"
        )
    names = scenario.rover.wheel_names
    out = {}
    for channel in log.channels:
        name, _, wheel = channel.partition(" ")
        values = recording.wheels[name][:, names.index(wheel)] if wheel else recording.body[name]
        out[channel] = np.interp(log.table["time"], recording.time, values)
    return out


def scenario_of(scenario: Scenario, log: Log) -> Scenario:
    """Return the scenario, long enough for the log and with the log's commands where it has its own."""
    last = float(log.table["time"][-1])
    update: dict[str, object] = {"duration": last + 2 * scenario.recording_interval}
    if "forward" in log.table or "turn" in log.table:
        update["commands"] = commands(log)
    return scenario.model_copy(update=update)


def commands(log: Log) -> tuple[Command, ...]:
    """Return the body speed and turn rate that a log says were asked for, where they change."""
    none = np.zeros(log.rows)
    asked = np.stack([log.table.get("forward", none), log.table.get("turn", none)], axis=1)
    new = np.abs(np.diff(asked, axis=0)).max(axis=1) > SETTLES
    return tuple(
        Command.model_construct(
            at=max(0.0, float(log.table["time"][i])), forward=float(asked[i, 0]), turn=float(asked[i, 1]),
            left=None, right=None, ramp=0.0,
        )
        for i in (0, *(np.flatnonzero(new) + 1))
    )  # fmt: skip
