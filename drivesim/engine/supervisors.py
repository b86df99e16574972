"""Supervisors of supply and temperature on the rover: lockout, trip, cut-back; imports watches, models, units.

Each is a process that gets the timeline.
"""

from __future__ import annotations

from collections.abc import Generator
from typing import TYPE_CHECKING, Any

import numpy as np
import simpy

from drivesim.engine.watches import ROVER, Watch
from drivesim.scenario.protection import CutBack, Lockout, Trip
from drivesim.units import rounded_down

if TYPE_CHECKING:
    from drivesim.engine.timeline import Timeline

Process = Generator[simpy.Event, Any, None]
LOCKOUT, TRIP = "lockout", "trip"  # why a driver is off


def start(timeline: Timeline) -> None:
    """Start the supervisors that the rover's drivers have."""
    model, driver = timeline.model, timeline.model.scenario.rover.wheel.driver
    if driver.lockout is not None:
        timeline.env.process(_lock_out(timeline, driver.lockout, timeline.watches.add(ROVER, "bus_voltage")))
    for wheel in np.flatnonzero(model.wheels["driven"]):
        if driver.trip is not None:
            watch = timeline.watches.add(int(wheel), "temperature")
            timeline.env.process(_trip(timeline, driver.trip, int(wheel), watch))
        if driver.cut_back is not None:
            watch = timeline.watches.add(int(wheel), "temperature")
            timeline.env.process(_note_cut_back(timeline, driver.cut_back, int(wheel), watch))


def _lock_out(timeline: Timeline, lockout: Lockout, bus: Watch) -> Process:
    """Reset all wheel controllers when the bus falls too low; let them boot once it has come back.

    The other electronics hang on the same bus and draw nothing either until then.
    """
    everyone = range(len(timeline.model.names))
    params = timeline.model.params
    electronics = float(params["electronics"][0])
    while True:
        yield bus.below(lockout.below)
        volts = rounded_down(bus.value, 0.01)
        cause = f"bus fell to {volts:.2f} V, below the lockout of {lockout.below:g} V"
        reset = timeline.note("reset", cause, "all wheel controllers reset")
        timeline.deaf[:] = True
        for wheel in everyone:
            timeline.power.off(wheel, LOCKOUT)
            timeline.power.forget(wheel)
        while True:
            params["electronics"] = 0.0
            yield bus.above(lockout.above)
            params["electronics"] = electronics
            fallen = bus.below(lockout.below)
            yield fallen | timeline.env.timeout(timeline.ticks(lockout.boot))
            if not fallen.triggered:
                break
        for wheel in everyone:
            timeline.power.on(wheel, LOCKOUT)
        timeline.restart(np.ones(len(timeline.model.names), dtype=bool))
        cause = f"bus above {lockout.above:g} V for {lockout.boot:g} s"
        timeline.note("reset", cause, "controllers boot again, command from zero", ends=reset)


def _trip(timeline: Timeline, trip: Trip, wheel: int, winding: Watch) -> Process:
    """Switch a wheel's driver off while its winding is too hot."""
    name = timeline.model.names[wheel]
    while True:
        yield winding.above(trip.above)
        cause = f"{name} winding at {winding.value:.4g} degC, above the trip of {trip.above:g} degC"
        effect = "driver off" if trip.resume is not None else "driver off for good"
        tripped = timeline.note(TRIP, cause, effect, name)
        timeline.power.off(wheel, TRIP)
        if trip.resume is None:
            return
        yield winding.below(trip.resume)
        on = timeline.switch_on(wheel, TRIP)
        cause = f"{name} winding at {winding.value:.4g} degC, below {trip.resume:g} degC"
        timeline.note(TRIP, cause, "driver on again" if on else "driver stays off", name, tripped)


def _note_cut_back(timeline: Timeline, cut_back: CutBack, wheel: int, winding: Watch) -> Process:
    """Note when a wheel's controller begins to hold back for the first time."""
    name = timeline.model.names[wheel]
    yield winding.above(cut_back.start)
    cause = f"{name} winding above {cut_back.start:g} degC"
    timeline.note("heat", cause, f"allowed voltage cut back, to nothing at {cut_back.end:g} degC", name)
