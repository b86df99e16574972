"""Which events a page tells, and where it offers to jump."""

from dataclasses import replace

import numpy as np
from report_runs import EDGE, made

from drivesim.analysis.conditions import CONDITIONS
from drivesim.engine.timeline import Event
from drivesim.report.told import MOST, jumps, told


def test_a_flood_of_events_is_bounded_and_what_matters_is_kept():
    run = made(EDGE)
    flood = [Event(0.001 * i, "condition", "under load", "gripping", "front_left") for i in range(5000)]
    slips = [Event(0.001 * i, "condition", "slip", "slipping", "front_left") for i in range(40)]
    faults = [Event(4.0 + i, "fault", f"fault {i}", "wheel off") for i in range(3)]
    found = told(replace(run, events=[*flood, *slips, *faults]))
    assert found.count == 5043
    assert len(found.rows) == MOST
    assert [event for event in found.rows if event.kind == "fault"] == faults
    assert sum(event.effect == "slipping" for event in found.rows) == 40
    times = [event.time for event in found.rows]
    assert times == sorted(times)


def test_jumps_go_to_the_first_moment_of_each_condition_and_kind():
    run = made(EDGE)
    found = {jump["words"]: jump["time"] for jump in jumps(run)}
    time, codes = run.traces["time"].values, run.traces["condition"].values
    stalled = codes == CONDITIONS.index("stalled")
    assert stalled.any()  # the run must hold what the test is about
    word = next(words for words in found if words.startswith("first stall"))
    assert found[word] == time[np.flatnonzero(stalled.any(axis=1))[0]]
    assert found["first stuck"] == next(event.time for event in run.events if event.kind == "stuck")
    assert found["the end"] == time[-1]
    assert list(found.values()) == sorted(found.values())
