"""What may help against what held the rover, within what a builder can change; imports causes, episodes, scenario."""

from __future__ import annotations

from collections.abc import Sequence

from drivesim.analysis.causes import (
    at_the_end,
    failed_wheels,
    loose_resets,
    loose_times,
    past,
    resets,
    silences,
)
from drivesim.analysis.episodes import Reason, Stuck
from drivesim.engine.simulate import Recording
from drivesim.physics import supply
from drivesim.scenario.scenario import Scenario

LOW = 0.3  # state of charge up to which a fuller pack is worth a word
DEEP = 1e-3  # m of sinkage from which soil takes torque worth a word
WEAK = 0.15  # of its open-circuit voltage; a pack that sags by more is worth a word


def advice(recording: Recording, why: Reason | None, episodes: Sequence[Stuck], came: float) -> str:
    """Return what may help, or nothing; not what the scenario has already.

    ``why`` it was held, ``episodes`` of being stuck, ``came`` [m] the way along what was asked.  What of a wheel had
    failed when the rover was stopped comes first, where it is the wheels that need help.
    """
    longest = max(episodes, key=lambda e: e.length, default=None)
    until = recording.end_time if longest is None else longest.start
    limit = _limit(recording, why, 0.0 if longest is None else longest.length, came)
    if not limit:
        return ""
    of_wheels = limit == "heat" or (why is not None and limit == why.limit)
    failed = failed_wheels(recording, until) if of_wheels else []
    first = f"first mend what failed at {', '.join(failed)}; then " if failed else ""
    if limit in ("voltage", "current", "drive") and why is not None and _sunk(recording, why.wheel):
        first += f"{_soil(recording.scenario)}, since the soil takes the torque; or "
    return first + HELP[limit](recording.scenario) + (_pack(recording) if limit == "voltage" else "")


def _sunk(recording: Recording, wheel: str) -> bool:
    """Tell whether a wheel has pressed into soil as deep as takes torque."""
    return float(recording.wheels["sinkage"][:, recording.model.names.index(wheel)].max()) > DEEP


def _limit(recording: Recording, why: Reason | None, stuck: float, came: float) -> str:
    """Return what to help against; ``stuck`` [s] is the longest time of being stuck."""
    ending, stopped, loose = recording.ending, at_the_end(recording), len(loose_resets(recording))
    if ending == "not_finite":
        return ""
    if ending == "overturned":
        return "tipping"
    dark = "brown-out" in stopped or len(resets(recording)) > 1
    if (ending == "collapsed" and loose_times(recording)) or (dark and 2 * loose > len(resets(recording))):
        return "connection"
    if ending == "collapsed" or dark:
        return "brown_out"
    if "fail-safe" in stopped and stuck < max(end - start for start, end in silences(recording)):
        return "link"
    tripped = {e.wheel for e, _ in past(recording, recording.end_time) if e.kind == "trip"}
    if ending == "left_ground" and came < 0:
        return "heat" if tripped else "holding"
    if why is None:
        return ""
    if why.limit != "off":
        return why.limit
    return "heat" if why.wheel in tripped else "connection" if loose else "off"


def _voltage(scenario: Scenario) -> str:
    fuller = "a fuller pack, " if scenario.rover.battery.state_of_charge <= LOW else ""
    return (
        f"more torque for the voltage there is: {fuller}a winding of less resistance, less weight, a smaller wheel, or "
        "one more cell if board and driver bear the heat"
    )


def _pack(recording: Recording) -> str:
    """Return words for a pack whose voltage sags much under the load."""
    table, body = recording.model.table, recording.model.bodies[0]
    rest = float(supply.open_circuit(body["state_of_charge"], table[0], table[1]))
    sag = 1.0 - float(body["lowest_bus"]) / rest
    return f"; and a stronger or warmer pack: the bus sagged by {sag:.0%}" if sag > WEAK else ""


def _friction(scenario: Scenario) -> str:
    frame = scenario.rover.frame
    twists = frame is not None and frame.torsion_stiffness is not None
    return "more grip or more load on the wheel that spun: another tyre" + (
        ", a softer frame" if twists else ", a frame that lets all wheels carry"
    )


def _soil(scenario: Scenario) -> str:
    lugs = "higher lugs" if scenario.rover.wheel.tyre.lug_height > 0 else "lugs"
    return f"wider tyres or {lugs}, and less weight"


def _drive(scenario: Scenario) -> str:
    drive = scenario.drive
    sensor = drive.all_wheels.sensor
    finer = sensor.kind != "ideal" and sensor.sensors == 1
    kind = drive.coordination.kind
    how = ["gains", *(["a finer sensor"] if finer else [])]
    how += ["finer numbers"] if drive.all_wheels.arithmetic is not None else []
    how.append("coordination" if kind == "independent" else f"another coordination than {kind}")
    return f"{', '.join(how[:-1])} or {how[-1]} that let it give more: it did not reach its limits"


def _brown_out(scenario: Scenario) -> str:
    limit = "" if scenario.rover.wheel.driver.current_limit is not None else "a current limit, "
    return f"a stronger or fuller pack, {limit}a gentler ramp, or fewer wheels pushing at once"


HELP = {
    "voltage": _voltage,
    "current": lambda _: "a higher current limit, if winding, driver and cells bear it",
    "friction": _friction,
    "soil": _soil,
    "pull_out": lambda _: (
        "more amplitude if the bus has it, a lower speed, less weight, or a drive that follows the rotor"
    ),
    "commutation": lambda _: (
        "a truer rotor angle: sensors that work, sensors and magnets in their places; or torque to spare"
    ),
    "drive": _drive,
    "off": lambda _: "whatever took its power: see the events",
    "holding": lambda _: (
        "a drive that holds at standstill (braking, hold_at_standstill), or a start on the level"
    ),
    "link": lambda _: "a better radio link; the fail-safe did what it is for",
    "brown_out": _brown_out,
    "connection": lambda _: (
        "a battery connector that holds, or more bus capacitance to ride through a bounce"
    ),
    "heat": lambda _: "more copper, a larger or thicker housing, or a lighter load",
    "tipping": lambda _: "a lower centre of gravity, or wheels farther apart",
}
