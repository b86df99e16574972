"""What flows and what gets warm where the rover drives, climbs, turns and stands stalled; imports answers, travel."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import pandas as pd

from drivesim.sizing.answers import Rover
from drivesim.sizing.ask import Ask
from drivesim.sizing.bus import Bus
from drivesim.sizing.loads import Loads
from drivesim.sizing.machine import settled, time_to_limit
from drivesim.sizing.statics import turn_margin
from drivesim.sizing.travel import steady


class Case(NamedTuple):
    """One situation: its words, the bus, what keeps the rover from it (empty: nothing), at what rim speed [m/s]."""

    name: str
    words: str
    bus: Bus
    limit: str
    speed: float


def loading_table(rover: Rover, ask: Ask) -> pd.DataFrame:
    """Return currents of phases and pack, bus and heat of each situation, and which ratings they pass.

    ``settles`` [degC]: where the hottest winding ends that goes on like this; ``limit_after`` [s]: how long until it is
    at its limit, from the air's temperature.
    """
    return pd.DataFrame([_row(rover, case) for case in _cases(rover, ask)])


def _cases(rover: Rover, ask: Ask) -> list[Case]:
    cold, stand = rover.cold, rover.standing.loads
    found = []

    def drive(name: str, words: str, loads: Loads | None, slope: float = 0.0, pull: float = 0.0) -> None:
        flow = steady(cold, loads, ask.speed, slope, pull)
        found.append(Case(name, words, flow.bus, flow.name, ask.speed))

    drive("level", f"level at {ask.speed:g} m/s", stand())
    if ask.slope is not None:
        drive(
            "slope", f"up {math.degrees(ask.slope):.3g} deg at {ask.speed:g} m/s", stand(ask.slope), ask.slope
        )
    if ask.tow is not None:
        drive("tow", f"pulling {ask.tow:g} N at {ask.speed:g} m/s", stand(0.0, ask.tow), 0.0, ask.tow)
    crawl = rover.crawl(ask)
    margin, torque = turn_margin(cold, stand(), crawl)
    if margin.value >= 1 and math.isfinite(torque):
        used = [torque if w.driven else 0.0 for w in rover.design.wheels]
        found.append(Case("turn", "turning on the spot", cold.bus(crawl, used), "", crawl))
    held = "all wheels at pull-out" if rover.design.forced else "all wheels stalled"
    found.append(Case("stalled", held, cold.bus(crawl), "", crawl))
    return found


def _row(rover: Rover, case: Case) -> dict[str, Any]:
    d, bus = rover.design, case.bus
    limit = "battery" if bus.collapsed else case.limit
    hottest, soonest = d.ambient, math.inf
    for w, cap in zip(d.wheels, bus.wheels, strict=True):
        if w.driven:
            torque = math.inf if case.name == "stalled" else cap.torque
            hottest = max(hottest, settled(w, torque, bus.voltage, case.speed, d.ambient))
            soonest = min(soonest, time_to_limit(w, torque, bus.voltage, case.speed, d.ambient))
    phase = max(bus.currents, default=0.0)
    over = list(dict.fromkeys(
        name for w, current in zip(d.wheels, bus.currents, strict=True) for name, most in w.ratings if current > most
    ))  # fmt: skip
    packs = (("cell rating", d.pack.rating), ("connector rating", d.pack.connector))
    over += [name for name, most in packs if bus.current > most]
    if hottest > min((w.hottest for w in d.driven), default=math.inf):
        over.append("heat")
    return {
        "case": case.name, "words": case.words, "possible": not limit, "limit": limit,
        "bus_V": math.nan if bus.collapsed else bus.voltage,
        "pack_current_A": bus.current, "phase_current_A": phase, "torque_Nm": max(c.torque for c in bus.wheels),
        "settles_degC": hottest, "limit_after_s": soonest, "over": ", ".join(over),
    }  # fmt: skip
