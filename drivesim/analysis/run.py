"""``simulate`` and its result ``Run``; the entry that programs and the command line use alike."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import xarray as xr

from drivesim.analysis.conditions import CONDITIONS, condition_cause
from drivesim.analysis.dataset import traces as make_traces
from drivesim.analysis.episodes import stuck_episodes
from drivesim.analysis.summary import summarise
from drivesim.analysis.verdict import held
from drivesim.engine.ground_build import GroundArrays
from drivesim.engine.simulate import simulate as record
from drivesim.engine.timeline import Event
from drivesim.errors import DrivesimError
from drivesim.scenario.scenario import Scenario

RECORD = "give a longer 'duration', or a 'record_every' shorter than that"
#: what to do where a run ends before its first row, by how it ended
TOO_SHORT = {
    "left_ground": "start farther from the end of the ground, or give it more 'length', 'behind' or 'width'",
    "overturned": "start on gentler ground, or lower the 'centre_of_gravity'",
    "collapsed": "give the battery more 'state_of_charge' or less 'cell_resistance', or the driver a 'lockout'",
    "not_finite": "give a shorter 'step'",
}


@dataclass(frozen=True)
class Run:
    """The result of one run.

    ``traces``: dataset with dims time [s] and wheel, units in attrs.  ``summary``: plain numbers and texts, among
    them the verdict, the energy ledger and the cautions.  ``events``: what happened when.  ``ground``: the heights
    and friction driven on.
    """

    scenario: Scenario
    traces: xr.Dataset
    summary: dict[str, Any]
    events: list[Event]
    ground: GroundArrays

    @property
    def verdict(self) -> str:
        """In a few words: did it move, and if not, when, where, which wheel and why."""
        return str(self.summary["verdict"])


def simulate(
    scenario: Scenario, *, step: float | None = None, progress: Callable[[float], None] | None = None
) -> Run:
    """Run ``scenario`` and work out what it means.

    ``step`` [s] overrides the time step.  ``progress`` is called with the simulated time [s] now and then.
    Raises ScenarioError where the ground cannot be built or the step not be used, DrivesimError where the run is
    too short to record anything.
    """
    recording = record(scenario, step=step, progress=progress)
    if recording.time.size == 0:
        raise DrivesimError(
            f"the run ended at {recording.end_time:g} s, before anything was recorded: "
            f"{recording.ending.replace('_', ' ')}; {TOO_SHORT.get(recording.ending, RECORD)}"
        )
    traces = make_traces(recording)
    summary = summarise(recording, traces)
    found = [*condition_events(traces), *stuck_events(traces, recording.model.ground)]
    events = sorted([*recording.events, *found], key=lambda event: event.time)
    return Run(scenario, traces, summary, events, recording.model.ground)


def condition_events(traces: xr.Dataset) -> list[Event]:
    """Return an event for each change of a wheel's condition, with its reason while it lasts."""
    time = traces["time"].values
    events = []
    for wheel in traces["wheel"].values:
        own = traces.sel(wheel=wheel)
        codes = own["condition"].values
        limits = {name: own[name].values for name in ("powered", "voltage_limited", "current_limited")}
        changes = (codes[1:] != codes[:-1]).nonzero()[0] + 1
        for i, j in pairwise([*changes, codes.size]):
            cause = condition_cause(int(codes[i]), {name: float(v[i:j].mean()) for name, v in limits.items()})
            events.append(Event(float(time[i]), "condition", cause, CONDITIONS[codes[i]], str(wheel)))
    return events


def stuck_events(traces: xr.Dataset, ground: GroundArrays) -> list[Event]:
    """Return an event for each time of being stuck, from when the rover stopped coming forward."""
    events = []
    for one in stuck_episodes(traces):
        why = held(one, traces, ground)
        effect = f"stuck at x = {one.x:z.2f} m until {one.end:.1f} s"
        events.append(Event(one.start, "stuck", why.words, effect, why.wheel))
    return events
