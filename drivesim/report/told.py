"""What happened in a run, as a bounded table and as places to jump to; imports analysis."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from drivesim.analysis.conditions import CONDITIONS, GRIPPING
from drivesim.analysis.run import Run
from drivesim.engine.timeline import Event
from drivesim.plots.style import condition_look, wheel_word

MOST = 300  # rows of the table
QUIET = ("command", "condition", "end")  # kinds that are left out first


@dataclass(frozen=True)
class Told:
    """The events shown and how many there are in all."""

    rows: list[Event]
    count: int


def told(run: Run, most: int = MOST) -> Told:
    """Return at most ``most`` events in the order of their times: faults and the like first, then the rest."""
    loud = [event for event in run.events if event.kind not in QUIET]
    gripping = CONDITIONS[GRIPPING]
    other = [event for event in run.events if event.kind in QUIET and event.effect != gripping]
    rest = [event for event in run.events if event.kind in QUIET and event.effect == gripping]
    kept = [*loud, *other, *rest][:most]
    return Told(sorted(kept, key=lambda event: event.time), len(run.events))


def jumps(run: Run) -> list[dict[str, Any]]:
    """Return where one would look first: the first time in each condition but gripping, and of each kind of event."""
    time, codes = run.traces["time"].values, run.traces["condition"].values
    found = []
    for code in range(len(CONDITIONS)):
        rows, wheels = np.nonzero(codes == code)
        if code != GRIPPING and rows.size:
            wheel = wheel_word(run.traces["wheel"].values[wheels[0]])
            found.append((float(time[rows[0]]), f"first {_noun(code)} ({wheel})"))
    for kind in dict.fromkeys(event.kind for event in run.events if event.kind not in QUIET):
        event = next(event for event in run.events if event.kind == kind)
        found.append((event.time, f"first {kind}"))
    found.append((float(time[-1]), "the end"))
    return [{"time": moment, "words": words} for moment, words in sorted(found)]


def _noun(code: int) -> str:
    return {"slips": "slip", "in the air": "wheel in the air", "stalled": "stall", "out of step": "pole slip",
            "dragged": "dragging"}[condition_look(code).label]  # fmt: skip
