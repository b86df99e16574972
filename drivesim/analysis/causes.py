"""What went before: brown-outs, faults, cut-backs, silences in words, and what may help; imports engine, episodes."""

from __future__ import annotations

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
}


def resets(recording: Recording) -> list[Event]:
    """Return the events at which the wheel controllers reset."""
    return [event for event in recording.events if event.kind == "reset" and "reset" in event.effect]


def off_share(traces: xr.Dataset) -> float:
    """Return the share of time during which the wheels had no power, mean over the driven wheels."""
    powered = traces["powered"].max("time")
    driven = traces["powered"].isel(wheel=(powered.values > 0).nonzero()[0])
    return 1.0 - float(driven.mean()) if driven.sizes["wheel"] else 1.0


def brown_out(recording: Recording, traces: xr.Dataset) -> str:
    """Return how often the bus fell too low and what it cost, or nothing."""
    found = resets(recording)
    lockout = recording.scenario.rover.wheel.driver.lockout
    if not found or lockout is None:
        return ""
    times = "once" if len(found) == 1 else f"{len(found)} times"
    current = float(traces["battery_current"].values.max())
    resistance = float(recording.model.params["battery_resistance"][0])
    why = f" ({current:.2g} A from a pack of {resistance:.2g} ohm and more)"
    if current * resistance < SAG_TELLS * lockout.below:
        why = ""
    return (
        f"the bus fell below {lockout.below:g} V {times}{why} and the wheel controllers were off "
        f"{off_share(traces):.0%} of the time"
    )


def before(recording: Recording, time: float) -> str:
    """Return what had gone wrong by ``time`` [s] and was not mended: faults, cut-backs, trips, a silent link."""
    words = []
    for kind in ("fault", "trip", "link"):
        latest: dict[str, Event] = {}
        for event in recording.events:
            if event.kind == kind and event.time <= time:
                latest["link" if kind == "link" else event.wheel or event.effect.split()[0].strip(":")] = (
                    event
                )
        words += [f"{e.effect} at {e.time:.1f} s" for e in latest.values() if not _mended(e)]
    cut = dict.fromkeys(e.wheel for e in recording.events if e.kind == "heat" and e.time <= time)
    if cut:
        words.append(f"voltage cut back for heat at {', '.join(cut)}")
    return f" (after: {'; '.join(words)})" if words else ""


def _mended(event: Event) -> bool:
    return (
        any(word in event.effect for word in ("again", "back to", "obey", "on again"))
        or "later" in event.cause
    )


def advice(recording: Recording, why: Reason | None) -> str:
    """Return what may help against what held the rover, or nothing."""
    if len(resets(recording)) > 1:
        return HELP["brown_out"]
    if why is None:
        return ""
    cut = any(e.kind in ("heat", "trip") and e.wheel == why.wheel for e in recording.events)
    return HELP["heat" if cut and why.limit in ("voltage", "off") else why.limit]
