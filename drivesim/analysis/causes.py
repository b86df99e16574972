"""What went before: brown-outs, faults, cut-backs, silences in words; imports engine."""

from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np
import xarray as xr

from drivesim.engine.simulate import Recording
from drivesim.engine.timeline import Event

NAMED = 3  # faults at most
BRIEF = 0.1  # s; a shorter fault is told with its duration
SAG_TELLS = 0.1  # of the lockout: a pack that sags by less is not why the bus fell


def resets(recording: Recording) -> list[Event]:
    """Return the events at which the wheel controllers reset."""
    return [event for event in recording.events if event.kind == "reset" and "reset" in event.effect]


def dark_times(recording: Recording) -> list[tuple[float, float]]:
    """Return from when to when [s] the lockout held the wheel controllers off, booting included."""
    times, since = [], None
    for event in recording.events:
        if event.kind == "reset" and since is None:
            since = event.time
        elif event.kind == "reset" and since is not None:
            times.append((since, event.time))
            since = None
    return times if since is None else [*times, (since, recording.end_time)]


def off_share(recording: Recording) -> float:
    """Return the share of the run during which the lockout held the wheel controllers off."""
    return sum(end - start for start, end in dark_times(recording)) / recording.end_time


def loose_times(recording: Recording) -> list[tuple[float, float]]:
    """Return from when to when [s] the battery was disconnected, so that the bus says nothing about the cells."""
    events = [e for e in recording.events if e.kind == "fault" and e.effect.startswith("battery ")]
    off = [e.time for e in events if not _mends(e)]
    on = [e.time for e in events if _mends(e)] + [recording.end_time] * len(off)
    return list(zip(off, on, strict=False))


def brown_out(recording: Recording, traces: xr.Dataset) -> str:
    """Return how often the bus fell too low and what it cost, or nothing."""
    found = resets(recording)
    lockout = recording.scenario.rover.wheel.driver.lockout
    if not found or lockout is None:
        return ""
    loose = "with the battery disconnected " if loose_times(recording) else ""
    return (
        f"{loose}the bus fell below {lockout.below:g} V {times(len(found))}; the wheel controllers were off "
        f"{off_share(recording):.0%} of the time{_sagging(recording, traces, lockout.below)}"
    )


def times(count: int) -> str:
    """Return a count in words."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _sagging(recording: Recording, traces: xr.Dataset, below: float) -> str:
    """Return what the pack gave at most and through which resistance, where that is why the bus fell."""
    if loose_times(recording):
        return ""
    row = int(traces["battery_current"].values.argmax())
    current = float(traces["battery_current"].values[row])
    table = recording.model.table
    inner = np.interp(float(traces["state_of_charge"].values[row]), table[0], table[1])
    sag = float(inner) - float(traces["bus_voltage"].values[row])
    if sag < SAG_TELLS * below:
        return ""
    return f"; the pack gave {current:.2g} A through {sag / current:.2g} ohm"


class Past(NamedTuple):
    """A fault, trip or silence that began, and when it ended [s]; None where it did not by then."""

    event: Event
    end: float | None


def past(recording: Recording, until: float) -> list[Past]:
    """Return the faults, trips and silences of the link that began by ``until`` [s], in their order."""
    found: list[Past] = []
    for event in recording.events:
        if event.kind not in ("fault", "trip", "link") or event.time > until:
            continue
        if not _mends(event):
            found.append(Past(event, None))
            continue
        same = [i for i, (e, end) in enumerate(found) if end is None and _about(e) == _about(event)]
        if same:
            found[same[0]] = Past(found[same[0]].event, event.time)
    return found


def unmended(recording: Recording, until: float) -> list[Event]:
    """Return the faults, trips and silences of the link up to ``until`` [s] that still held then."""
    return [event for event, end in past(recording, until) if end is None]


def silences(recording: Recording) -> list[tuple[float, float]]:
    """Return from when to when [s] the fail-safe kept the rover stopped."""
    end = recording.end_time
    return [
        (p.event.time, end if p.end is None else p.end)
        for p in past(recording, end)
        if p.event.kind == "link"
    ]


def _about(event: Event) -> tuple[str, str, str]:
    """Return what a fault concerns, alike for its begin and its end: kind, wheel, and the part by its first word."""
    part = event.effect.removeprefix(f"{event.wheel}: ").split()[0]
    return event.kind, event.wheel, part if event.kind == "fault" else ""


def _mends(event: Event) -> bool:
    """Tell whether an event is the end of a fault, a trip or a silence."""
    if event.kind == "fault":
        return event.cause.endswith("later, as scripted")
    if event.kind == "trip":
        return not event.effect.startswith("driver off")
    return event.effect.startswith("the wheels obey")


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
    dark = dark_times(recording)
    if dark and dark[-1][1] == recording.end_time:
        return "stopped by a brown-out"
    silent = silences(recording)
    if silent and silent[-1][1] == recording.end_time:
        return f"stopped by the fail-safe of its radio link from {silent[-1][0]:.1f} s on"
    return ""
