"""What went before: brown-outs, faults, cut-backs, silences in words, and what may help; imports engine, episodes."""

from __future__ import annotations

import numpy as np
import xarray as xr

from drivesim.analysis.episodes import Reason
from drivesim.engine.simulate import Recording
from drivesim.engine.timeline import Event

SAG_TELLS = 0.1  # of the lockout: a pack that sags by less is not why the bus fell

#: what may help against each kind of limit, within what a builder can change
HELP = {
    "voltage": "more torque for the voltage there is: a winding of less resistance, less weight, a smaller wheel, or "
    "one more cell if board and driver bear the heat",
    "current": "a higher current limit, if winding, driver and cells bear it",
    "friction": "more grip or more load on the wheel that spun: another tyre, a frame that lets all wheels carry",
    "soil": "wider tyres or lugs, and less weight",
    "pull_out": "more amplitude, a lower speed, or a drive that follows the rotor",
    "drive": "gains, sensor or coordination that let it give more: it did not reach its limits",
    "off": "whatever took its power: see the events",
    "brown_out": "a stronger or fuller pack, a current limit, a gentler ramp, or fewer wheels pushing at once",
    "heat": "more copper, a larger or thicker housing, or a lighter load",
    "tipping": "a lower centre of gravity, or wheels farther apart",
}


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
    return (
        f"the bus fell below {lockout.below:g} V {times(len(found))}; the wheel controllers were off "
        f"{off_share(recording):.0%} of the time{_sagging(recording, traces, lockout.below)}"
    )


def times(count: int) -> str:
    """Return a count in words."""
    return "once" if count == 1 else f"{count} times"


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


def unmended(recording: Recording, until: float) -> list[Event]:
    """Return the faults, trips and silences of the link up to ``until`` [s] that still held then."""
    held: dict[tuple[str, str, str], list[Event]] = {}
    for event in recording.events:
        if event.kind in ("fault", "trip", "link") and event.time <= until:
            same = held.setdefault(_about(event), [])
            if not _mends(event):
                same.append(event)
            elif same:
                same.pop(0)
    return sorted((event for same in held.values() for event in same), key=lambda event: event.time)


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
    """Return what had gone wrong by ``time`` [s] and still held: faults, cut-backs, trips, a silent link."""
    held = unmended(recording, time)
    words = [f"{e.effect} from {e.time:.1f} s on" for e in held if e.kind == "fault"]
    words += [f"{e.cause}, {e.effect} from {e.time:.1f} s on" for e in held if e.kind == "link"]
    tripped = [e for e in held if e.kind == "trip"]
    if tripped:
        names = ", ".join(e.wheel for e in tripped)
        words.append(f"{names} tripped for heat from {tripped[0].time:.1f} s on")
    cut = dict.fromkeys(e.wheel for e in recording.events if e.kind == "heat" and e.time <= time)
    if cut:
        words.append(f"voltage cut back for heat at {', '.join(cut)}")
    return f" (after: {'; '.join(words)})" if words else ""


def at_the_end(recording: Recording) -> str:
    """Return what kept the rover standing when the time was up though it was told to drive, or nothing."""
    if recording.ending != "finished":
        return ""
    dark = dark_times(recording)
    if dark and dark[-1][1] == recording.end_time:
        return "stopped by a brown-out"
    if any(event.kind == "link" for event in unmended(recording, recording.end_time)):
        return "stopped by the fail-safe of its radio link"
    return ""


def advice(recording: Recording, why: Reason | None) -> str:
    """Return what may help against what held the rover, or nothing."""
    if recording.ending == "overturned":
        return HELP["tipping"]
    dark = len(resets(recording)) > 1 or at_the_end(recording) == "stopped by a brown-out"
    if recording.ending == "collapsed" or (dark and not loose_times(recording)):
        return HELP["brown_out"]
    if why is None:
        return ""
    cut = any(e.kind in ("heat", "trip") and e.wheel == why.wheel for e in recording.events)
    return HELP["heat" if cut and why.limit in ("voltage", "off") else why.limit]
