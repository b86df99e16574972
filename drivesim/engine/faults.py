"""Faults and other events that the scenario injects: what each kind changes in the records, and how it is undone.

To add a kind: a model in ``drivesim.scenario.events`` and a function here, listed in ``STARTS``.  It gets the
timeline and the event, changes the records in place, and returns what it did in words with figures ("": nothing),
and the function that undoes it and says so (None: nothing does).  Imports the scenario's models and the records.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from typing import TYPE_CHECKING, Any

import numpy as np
import simpy

from drivesim.engine.records import OPEN, SHORTED
from drivesim.engine.watches import Watch, hold
from drivesim.physics.body import rotation
from drivesim.scenario import events as scripted

if TYPE_CHECKING:
    from drivesim.engine.timeline import Timeline

Undo = Callable[[], str]
Started = tuple[str, Undo | None]

UNCHANGED = "nothing changes: it was so already"
LOOSE = 1e6  # times its resistance: a battery whose connector has come off


def start(timeline: Timeline) -> None:
    """Start a process for each event of the scenario."""
    for event in timeline.model.scenario.events:
        watch = None if event.when is None else timeline.watches.add_condition(event.when)
        timeline.env.process(_happen(timeline, event, watch))


def _happen(
    timeline: Timeline, event: scripted.Event, watch: Watch | None
) -> Generator[simpy.Event, Any, None]:
    """Wait for the event's time or condition, let it happen, and undo it where it does not last."""
    if event.when is None:
        assert event.at is not None
        yield timeline.env.timeout(timeline.ticks(event.at))
        cause = f"at {event.at:g} s, as scripted"
    else:
        assert watch is not None
        yield from hold(timeline.env, watch, event.when, timeline.ticks(event.when.hold))
        cause = event.when.text
    wheel = getattr(event, "wheel", "")
    effect, undo = STARTS[event.kind](timeline, event)
    begun = timeline.note("fault" if effect else "unchanged", cause, effect or UNCHANGED, wheel)
    lasts = getattr(event, "lasts", None)
    if undo is None or lasts is None:
        return
    yield timeline.env.timeout(timeline.ticks(lasts))
    timeline.note("fault", f"{lasts:g} s later, as scripted", undo(), wheel, begun)


def driver_dies(timeline: Timeline, event: scripted.DriverDies) -> Started:
    """A wheel's driver is dead: its phases are open, or short-circuited and brake."""
    wheel, reason = timeline.model.names.index(event.wheel), object()
    timeline.power.off(wheel, reason, SHORTED if event.phases == "shorted" else OPEN)

    def undo() -> str:
        on = timeline.switch_on(wheel, reason)
        return f"{event.wheel}: driver works again" + ("" if on else ", but stays off")

    return f"{event.wheel}: driver dead, phases {event.phases}", undo


def sensor_sticks(timeline: Timeline, event: scripted.SensorSticks) -> Started:
    """A wheel's sensor gives no edges any more."""
    state = timeline.model.states[timeline.model.names.index(event.wheel)]
    state["sensor_stuck"] += 1

    def undo() -> str:
        state["sensor_stuck"] -= 1
        return f"{event.wheel}: sensor works again"

    return f"{event.wheel}: sensor stuck, no more edges", undo


def edges_lost(timeline: Timeline, event: scripted.EdgesLost) -> Started:
    """A share of the sensor edges that a wheel still sees is missed."""
    record = timeline.model.wheels[timeline.model.names.index(event.wheel)]
    before = float(record["missed_edges"])
    more = (1.0 - before) * event.share
    record["missed_edges"] += more
    words = f"{event.wheel}: missed edges {100 * before:.3g} → {100 * record['missed_edges']:.3g} %"

    def undo() -> str:
        record["missed_edges"] = max(0.0, record["missed_edges"] - more)
        return f"{event.wheel}: missed edges back to {100 * record['missed_edges']:.3g} %"

    return words, undo


def bearing_seizes(timeline: Timeline, event: scripted.BearingSeizes) -> Started:
    """A wheel's bearing has ``drag`` more dry drag."""
    record = timeline.model.wheels[timeline.model.names.index(event.wheel)]
    before = float(record["bearing_dry"])
    record["bearing_dry"] += event.drag
    words = f"{event.wheel}: bearing drag {1e3 * before:.3g} → {1e3 * record['bearing_dry']:.3g} mN·m"

    def undo() -> str:
        record["bearing_dry"] = max(0.0, record["bearing_dry"] - event.drag)
        return f"{event.wheel}: bearing drag back to {1e3 * record['bearing_dry']:.3g} mN·m"

    return words, undo


def tyre_off(timeline: Timeline, event: scripted.TyreOff) -> Started:
    """A wheel loses its tyre and rolls on its rim: less radius, the rim's own friction, no lugs and no bite.

    The ground's surface is where the hub of a whole wheel rides, so the small wheel's hub rides lower by what is
    missing (``hub_lower``).  A wheel that is as small already stays as it is.  The rim is as stiff as the tyre was and
    mass and inertia stay: nothing is known of them.
    """
    wheel = timeline.model.names.index(event.wheel)
    p, w = timeline.model.wheels[wheel], timeline.model.states[wheel]
    before = float(p["radius"])
    if event.radius >= before:  # it has lost its tyre already
        return "", None

    def lose() -> None:
        p["hub_lower"] += before - event.radius
        p["radius"] = event.radius
        p["friction"] = p["sliding_friction"] = event.friction
        p["bite"] = p["lug_height"] = 0.0
        w["ux"] = w["uy"] = w["u_rate_x"] = w["u_rate_y"] = 0.0

    timeline.change(lose)
    radii = f"radius {1e3 * before:.4g} → {1e3 * event.radius:.4g} mm"
    return f"{event.wheel}: tyre off, {radii}, friction {event.friction:.3g}", None


def cell_sags(timeline: Timeline, event: scripted.CellSags) -> Started:
    """A cell goes bad: the pack has more resistance and less voltage."""
    P = timeline.model.params[0]
    before = float(P["battery_resistance"])
    P["battery_resistance"] *= event.resistance_factor
    P["voltage_drop"] += event.voltage_drop
    words = f"battery: resistance {1e3 * before:.3g} → {1e3 * P['battery_resistance']:.3g} mΩ"

    def undo() -> str:
        P["battery_resistance"] /= event.resistance_factor
        P["voltage_drop"] -= event.voltage_drop
        return f"battery: resistance back to {1e3 * P['battery_resistance']:.3g} mΩ"

    return words + (f", {event.voltage_drop:.3g} V lower" if event.voltage_drop else ""), undo


def battery_loose(timeline: Timeline, event: scripted.BatteryLoose) -> Started:
    """The battery's connector comes off: as good as no current flows, the bus lives on its capacitance."""
    P = timeline.model.params[0]
    P["battery_resistance"] *= LOOSE

    def undo() -> str:
        P["battery_resistance"] /= LOOSE
        return "battery connected again"

    return f"battery disconnected for {event.lasts:g} s", undo


def link_lost(timeline: Timeline, event: scripted.LinkLost) -> Started:
    """No message gets through."""
    timeline.link.lose(timeline.ticks(event.lasts))
    return f"radio link lost for {event.lasts:g} s", lambda: "radio link back"


def payload(timeline: Timeline, event: scripted.Payload) -> Started:
    """A mass is laid on the rover, at rest on it: mass, inertia and centre of gravity change.

    The axes stay those of the frame: products of inertia are left out.  The tread's damping stays as it was.
    """
    model = timeline.model
    P, b = model.params[0], model.bodies[0]
    mass, whole = float(P["mass"]), float(P["mass"]) + event.mass
    arm = np.array(event.place) - timeline.centre
    shift = arm * event.mass / whole
    roll = float(P["inertia_x"])

    def load() -> None:
        rot = np.array(rotation(b["q0"], b["q1"], b["q2"], b["q3"])).reshape(3, 3)
        spin = np.array([b["wx"], b["wy"], b["wz"]])
        for axis, moved, faster in zip("xyz", rot @ shift, rot @ np.cross(spin, shift), strict=True):
            b[axis] += moved
            b[f"v{axis}"] += faster
        for axis, moved in zip("xyz", shift, strict=True):
            model.wheels[axis] -= moved
        reduced = event.mass * mass / whole
        squares = reduced * arm**2
        for axis, own in zip("xyz", squares, strict=True):
            P[f"inertia_{axis}"] += squares.sum() - own
        P["mass"] = whole
        stiffer = P["inertia_x"] / roll  # both ends of the frame turn with their share of it
        P["frame_mass"] *= stiffer
        P["frame_damping"] *= np.sqrt(stiffer)
        timeline.centre = timeline.centre + shift

    timeline.change(load)
    to = ", ".join(f"{1e3 * c:.3g}" for c in timeline.centre)
    words = f"payload of {1e3 * event.mass:.4g} g: mass {1e3 * mass:.4g} → {1e3 * whole:.4g} g"
    return f"{words}, centre of gravity at ({to}) mm", None


STARTS: dict[str, Callable[[Timeline, Any], Started]] = {
    "driver_dies": driver_dies,
    "sensor_sticks": sensor_sticks,
    "edges_lost": edges_lost,
    "bearing_seizes": bearing_seizes,
    "tyre_off": tyre_off,
    "cell_sags": cell_sags,
    "battery_loose": battery_loose,
    "link_lost": link_lost,
    "payload": payload,
}
