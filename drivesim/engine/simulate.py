"""Runs a scenario: kernel and timeline in turn; returns the recording, with no metric in it."""

from __future__ import annotations

import platform
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version

import numpy as np

from drivesim._compile import source_stamp
from drivesim.engine import records
from drivesim.engine.build import build
from drivesim.engine.energy import Stored, stored_energy
from drivesim.engine.kernel import advance
from drivesim.engine.model import Model
from drivesim.engine.recovery import Try
from drivesim.engine.timeline import Event, Timeline
from drivesim.scenario.scenario import Scenario

REPORT_EVERY = 0.5  # simulated seconds between progress reports

GOES_ON = (records.RUNNING, records.STUCK, records.WATCHED)
ENDINGS = {
    records.RUNNING: ("finished", "the time was up"),
    records.OVERTURNED: ("overturned", "the rover tipped over"),
    records.COLLAPSED: ("collapsed", "the battery could not give the power asked of it"),
    records.LEFT_GROUND: ("left_ground", "a wheel came to the end of the ground"),
    records.NOT_FINITE: ("not_finite", "the numbers ran away"),
}


@dataclass
class Recording:
    """What one run left: rows of interval means, events, tries of the recovery, how it ended, energy counted.

    ``time`` (rows,) [s] is the middle of each row's interval; ``body`` (rows,) and ``wheels`` (rows, wheels) are
    structured arrays with the fields of ``drivesim.engine.channels``.
    """

    scenario: Scenario
    model: Model
    time: np.ndarray
    body: np.ndarray
    wheels: np.ndarray
    events: list[Event]
    tries: list[Try]
    ending: str
    end_time: float
    stored_before: Stored
    stored_after: Stored
    wall_time: float
    versions: dict[str, str]

    @property
    def interval(self) -> float:
        """The time from row to row [s]."""
        return float(self.model.params["record_ticks"][0] * self.model.step)


def simulate(
    scenario: Scenario, *, step: float | None = None, progress: Callable[[float], None] | None = None
) -> Recording:
    """Run ``scenario`` to its end, or to what stops it.

    ``step`` [s] overrides the time step; ``progress`` is called with the simulated time [s] now and then.
    """
    model = build(scenario, step)
    return run_model(model, progress)


def run_model(model: Model, progress: Callable[[float], None] | None = None) -> Recording:
    """Run a built model (its state records are advanced in place)."""
    scenario = model.scenario
    end = max(1, round(scenario.duration / model.step))
    stored_before = stored_energy(model)
    timeline = Timeline(model)  # also sets what the kernel watches
    arguments, body_log, wheel_log = model.kernel_arguments(
        max(1, end // int(model.params["record_ticks"][0]))
    )
    report = end if progress is None else max(1, round(REPORT_EVERY / model.step))
    started = time.perf_counter()
    body = model.bodies[0]
    status = records.RUNNING
    while body["tick"] < end and status in GOES_ON:
        tick = int(body["tick"])
        timeline.run_due(tick)
        until = int(min(timeline.env.peek(), end, tick + report))
        status = advance(*(*arguments, until))
        if status in (records.STUCK, records.WATCHED):
            timeline.run_due(int(body["tick"]))
            timeline.attend()
        if progress is not None:
            progress(body["tick"] * model.step)
    wall = time.perf_counter() - started
    ending, words = ENDINGS[records.RUNNING if status in GOES_ON else status]
    end_time = float(body["tick"] * model.step)
    timeline.events.append(Event(end_time, "end", words, ending))
    filled = int(body["rows"])
    interval = float(model.params["record_ticks"][0] * model.step)
    return Recording(
        scenario, model, (np.arange(filled) + 0.5) * interval, body_log[:filled], wheel_log[:filled],
        timeline.events, timeline.tries, ending, end_time, stored_before, stored_energy(model), wall, versions(),
    )  # fmt: skip


def versions() -> dict[str, str]:
    """Return what made the result: our version and sources, and the libraries that compute."""
    return dict(_versions())


@cache
def _versions() -> dict[str, str]:
    return {
        "drivesim": version("drivesim"),
        "sources": source_stamp(),
        "python": platform.python_version(),
        **{name: version(name) for name in ("numpy", "numba", "scipy", "simpy")},
    }
