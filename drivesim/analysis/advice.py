"""What may help against what held the rover, within what a builder can change; imports causes, episodes, scenario."""

from __future__ import annotations

from drivesim.analysis.causes import at_the_end, dark_times, loose_times, resets, unmended
from drivesim.analysis.episodes import Reason
from drivesim.engine.simulate import Recording
from drivesim.scenario.scenario import Scenario

LOW = 0.3  # state of charge below which a fuller pack is worth a word


def advice(recording: Recording, why: Reason | None, until: float) -> str:
    """Return what may help, or nothing; not what the scenario has already.

    What of a wheel had failed by ``until`` [s], when the rover was stopped, comes first.
    """
    limit = _limit(recording, why)
    if not limit:
        return ""
    failed = [e for e in unmended(recording, until) if e.kind == "fault" and e.wheel]
    first = (
        f"first mend what failed at {', '.join(dict.fromkeys(e.wheel for e in failed))}; then "
        if failed
        else ""
    )
    return first + HELP[limit](recording.scenario)


def _limit(recording: Recording, why: Reason | None) -> str:
    if recording.ending == "overturned":
        return "tipping"
    stopped = at_the_end(recording)
    if (recording.ending == "collapsed" or dark_times(recording)) and loose_times(recording):
        return "connection"
    if recording.ending == "collapsed" or len(resets(recording)) > 1 or "brown-out" in stopped:
        return "brown_out"
    if "fail-safe" in stopped:
        return "link"
    if why is None:
        return ""
    cut = any(e.kind in ("heat", "trip") and e.wheel == why.wheel for e in recording.events)
    return "heat" if cut and why.limit in ("voltage", "off") else why.limit


def _voltage(scenario: Scenario) -> str:
    fuller = "a fuller pack, " if scenario.rover.battery.state_of_charge < LOW else ""
    return (
        f"more torque for the voltage there is: {fuller}a winding of less resistance, less weight, a smaller wheel, or "
        "one more cell if board and driver bear the heat"
    )


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
    "pull_out": lambda _: "more amplitude, a lower speed, or a drive that follows the rotor",
    "commutation": lambda _: (
        "a truer rotor angle: sensors that work, sensors and magnets in their places; or torque to spare"
    ),
    "drive": _drive,
    "off": lambda _: "whatever took its power: see the events",
    "link": lambda _: "a better radio link; the fail-safe did what it is for",
    "brown_out": _brown_out,
    "connection": lambda _: (
        "a battery connector that holds, or more bus capacitance to ride through a bounce"
    ),
    "heat": lambda _: "more copper, a larger or thicker housing, or a lighter load",
    "tipping": lambda _: "a lower centre of gravity, or wheels farther apart",
}
