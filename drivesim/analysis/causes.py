"""What went before: brown-outs, faults, cut-backs, silences in words; imports engine, physics, told."""

from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np
import xarray as xr

from drivesim.analysis.told import asked_since
from drivesim.engine.simulate import Recording
from drivesim.engine.timeline import Event
from drivesim.physics import supply

NAMED = 3  # faults at most
BRIEF = 0.1  # s; a shorter fault is told with its duration
SAG_TELLS = 0.1  # of the lockout: a pack that sags by less is not why the bus fell


def resets(recording: Recording) -> list[Event]:
    """Return the events at which the wheel controllers reset."""
    return [event for event in recording.events if event.kind == "reset" and event.ends is None]


def dark_times(recording: Recording) -> list[tuple[float, float]]:
    """Return from when to when [s] the lockout held the wheel controllers off, booting included."""
    return _spans(
        recording, [one for one in past(recording, recording.end_time) if one.event.kind == "reset"]
    )


def off_share(recording: Recording) -> float:
    """Return the share of the run during which the lockout held the wheel controllers off."""
    return sum(end - start for start, end in dark_times(recording)) / recording.end_time


def loose_times(recording: Recording) -> list[tuple[float, float]]:
    """Return from when to when [s] the battery was disconnected, so that the bus says nothing about the cells."""
    faults = [one for one in past(recording, recording.end_time) if one.event.kind == "fault"]
    return _spans(recording, [one for one in faults if one.event.effect.startswith("battery disconnected")])


def loose_resets(recording: Recording) -> list[Event]:
    """Return the resets that came while the battery was disconnected."""
    loose = loose_times(recording)
    return [e for e in resets(recording) if any(start <= e.time <= end for start, end in loose)]


def brown_out(recording: Recording, traces: xr.Dataset) -> str:
    """Return how often the bus fell too low and what it cost, or nothing."""
    found, loose = len(resets(recording)), len(loose_resets(recording))
    lockout = recording.scenario.rover.wheel.driver.lockout
    if not found or lockout is None:
        return ""
    cause = f"the bus fell below {lockout.below:g} V {times(found)}"
    if loose == found:
        cause = f"with the battery disconnected {cause}"
    elif loose:
        cause += f", {times(loose)} with the battery disconnected"
    sagging = "" if loose else _sagging(recording, traces, lockout.below)
    return f"{cause}; the wheel controllers were off {off_share(recording):.0%} of the time{sagging}"


def times(count: int) -> str:
    """Return a count in words."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _sagging(recording: Recording, traces: xr.Dataset, below: float) -> str:
    """Return what the pack gave at most and through which resistance, where that is why the bus fell."""
    row = int(traces["battery_current"].values.argmax())
    current = float(traces["battery_current"].values[row])
    table = recording.model.table
    charge = float(traces["state_of_charge"].values[row])
    sag = float(supply.open_circuit(charge, table[0], table[1])) - float(traces["bus_voltage"].values[row])
    if sag < SAG_TELLS * below:
        return ""
    return f"; the pack gave {current:.2g} A through {sag / current:.2g} ohm"


class Past(NamedTuple):
    """What began, and when it ended [s]; None where it did not by then."""

    event: Event
    end: float | None


def past(recording: Recording, until: float) -> list[Past]:
    """Return the faults, trips, resets and silences of the link that began by ``until`` [s], in their order."""
    events = [e for e in recording.events if e.kind in ("fault", "trip", "reset", "link") and e.time <= until]
    ended = {id(e.ends): e.time for e in events if e.ends is not None}
    return [Past(e, ended.get(id(e))) for e in events if e.ends is None]


def _spans(recording: Recording, had: list[Past]) -> list[tuple[float, float]]:
    """Return from when to when [s] each of these held, at most to the end of the run."""
    return [(e.time, recording.end_time if end is None else end) for e, end in had]


def failed_wheels(recording: Recording, until: float) -> list[str]:
    """Return the wheels with a fault that had begun by ``until`` [s] and still held then."""
    held = [e for e, end in past(recording, until) if end is None and e.kind == "fault" and e.wheel]
    return list(dict.fromkeys(e.wheel for e in held))


def silences(recording: Recording) -> list[tuple[float, float]]:
    """Return from when to when [s] the fail-safe kept the rover stopped."""
    return _spans(recording, [one for one in past(recording, recording.end_time) if one.event.kind == "link"])


def before(recording: Recording, time: float) -> str:
    """Return what had gone wrong by ``time`` [s], ended or not: faults, trips, cut-backs.

    Of more than ``NAMED`` faults, those that still held are named first, then those that lasted longest.
    """
    had = past(recording, time)
    faults = [one for one in had if one.event.kind == "fault"]
    worst = sorted(faults, key=lambda one: -(np.inf if one.end is None else one.end - one.event.time))[:NAMED]
    words = [_past_words(one) for one in faults if one in worst]
    if len(faults) > NAMED:
        words.append(f"{len(faults) - NAMED} more")
    tripped = [one.event for one in had if one.event.kind == "trip" and one.end is None]
    if tripped:
        names = ", ".join(e.wheel for e in tripped)
        words.append(f"{names} tripped for heat from {tripped[0].time:.1f} s on")
    cut = [e for e in recording.events if e.kind == "heat" and e.time <= time]
    if cut:
        names = ", ".join(dict.fromkeys(e.wheel for e in cut))
        words.append(f"voltage cut back for heat at {names} from {cut[0].time:.1f} s on")
    return f" (after: {'; '.join(words)})" if words else ""


def _past_words(one: Past) -> str:
    """Return a fault in words: what and when, with how long where it was brief."""
    what, start = re.sub(r" for [\d.e-]+ s$", "", one.event.effect), one.event.time
    what = re.sub(r", (centre of gravity|no more edges).*", "", what)
    if one.end is None:
        return f"{what} from {start:.1f} s on"
    if one.end - start < BRIEF:
        return f"{what} for {(one.end - start) * 1e3:.3g} ms at {start:.1f} s"
    return f"{what} from {start:.1f} s to {one.end:.1f} s"


def at_the_end(recording: Recording) -> str:
    """Return what kept the rover standing when the time was up though it was told to drive, or nothing."""
    if recording.ending != "finished":
        return ""
    dark, silent = dark_times(recording)[-1:], silences(recording)[-1:]
    for what, spans in (("a brown-out", dark), ("the fail-safe of its radio link", silent)):
        for start, end in spans:
            if end == recording.end_time and asked_since(recording, start):
                return f"stopped by {what} from {start:.1f} s on"
    return ""
