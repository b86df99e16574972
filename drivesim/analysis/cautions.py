"""Cautions that belong with a result, each with its reason and figure: the list, numbers, drive and model.

Supply and heat have modules of their own.  Imports engine, physics and dataset.
"""

from __future__ import annotations

import numpy as np
import xarray as xr

from drivesim.analysis.caution_heat import heat_cautions
from drivesim.analysis.caution_supply import supply_cautions
from drivesim.drive.controller import IDEAL_ANGLE, SPEED_LOOP
from drivesim.drive.coordination import DROOP
from drivesim.engine.simulate import Recording
from drivesim.scenario.ground import Roughness

UNEXPLAINED = 0.1  # of the mechanical energy; a sound run stays far below
NEGLIGIBLE = 5e-3  # J
MECHANICAL = ("bearing", "rolling", "tyre_slip", "contact_damping", "height", "motion")
SINK = 0.2  # of the radius, under the weight alone
SUNK = 0.25  # of the radius: deeper in soil the wheel formulas are a guess (common practice, no source)
FAST_SLIP = 1.0  # m/s of slip, beyond which friction laws are not known (common practice, no source)
TWISTED = 0.1  # of the radius: more twist is outside the frame's linear spring (common practice, no source)
SOIL = (
    "Soil: Bekker's wheel formulas were made for wheels over 0.5 m across, and here each wheel meets fresh ground and "
    "does not dig itself in; take the result for a ranking of designs, not for a promise."
)
ALWAYS = (
    "A simulation supports but does not replace the makers' data, local rules and a bench test with a "
    "current-limited supply and the wheels off the ground; keep fingers and cables clear of the wheels."
)


def cautions(recording: Recording, traces: xr.Dataset, counted: dict[str, float]) -> list[str]:
    """Return the cautions that apply to this run, in order of danger; the general one always comes last.

    ``counted`` is the run's energy ledger [J].
    """
    found = [
        *_numbers(recording, counted), *supply_cautions(recording, traces), *heat_cautions(recording, traces),
        *_drive(recording), *_model(recording, traces), ALWAYS,
    ]  # fmt: skip
    return list(dict.fromkeys(found))


def _numbers(recording: Recording, counted: dict[str, float]) -> list[str]:
    moved = sum(abs(counted[part]) for part in MECHANICAL)
    lost = abs(counted["remainder"])
    if lost <= max(UNEXPLAINED * moved, NEGLIGIBLE):
        return []
    return [
        f"Numbers: {lost:.2g} J against {moved:.2g} J of mechanical energy are not accounted for; do not rely on this "
        f"run.  Hard hits against edges as high as the wheel do this; otherwise try a step shorter than "
        f"{recording.model.step * 1e6:.0f} us."
    ]


def _drive(recording: Recording) -> list[str]:
    wheels, params, names = recording.model.wheels, recording.model.params[0], recording.model.names
    out = []
    for name, ticks in zip(names, wheels["sample_ticks"], strict=True):
        if ticks < 1:
            out.append(
                f"Numbers: {name} samples every {ticks * recording.model.step * 1e3:.3g} ms, more often than the step "
                f"of {recording.model.step * 1e3:.3g} ms; give a 'step' no longer than its sample time."
            )
            break
    single = (wheels["sensors"] == 1) & (wheels["driven"] == 1)
    if np.any((wheels["strategy"] == SPEED_LOOP) & single & (wheels["braking"] == 1)):
        out.append(
            "Speed loop with braking on a single Hall sensor: the sensor cannot see the direction, so a wheel pushed "
            "backwards may be driven further backwards."
        )
    if np.any(single & (wheels["commutation"] != IDEAL_ANGLE)):
        out.append(
            "A single Hall sensor tells the rotor's angle to half a turn only: from some rest angles such a wheel "
            "gives no torque or turns the wrong way; a real controller needs a start-up ramp for that."
        )
    if params["coordination"] == DROOP:
        path = wheels["resistance"] + wheels["on_resistance"]
        loops = params["coordination_gain"] * wheels["kp"] / path
        i = int(loops.argmax())
        if loops[i] >= 1:
            out.append(
                f"Droop of {params['coordination_gain']:.3g} rad/s/A with a gain of {wheels['kp'][i]:.3g} V*s/rad on "
                f"{path[i]:.3g} ohm swings by itself (their product over the resistance is {loops[i]:.2g}, it must "
                "stay below 1)."
            )
    return out


def _model(recording: Recording, traces: xr.Dataset) -> list[str]:
    rover, out = recording.scenario.rover, []
    radius = rover.wheel.radius
    load = rover.mass * recording.scenario.gravity / len(rover.wheel_names)
    sink = load / rover.wheel.tyre.radial_stiffness
    if sink > SINK * radius:
        out.append(
            f"The model is for tyres pressed in a little: here the weight alone presses them in by {sink * 1e3:.2g} mm "
            f"of {radius * 1e3:.3g} mm radius; check radial_stiffness."
        )
    deepest = float(traces["sinkage"].values.max(initial=0.0))
    if deepest > 0:
        out.append(SOIL)
    if 0 < deepest < sink:
        out.append(
            f"Firm soil: the wheels sink {deepest * 1e3:.2g} mm at most, less than the tyres give "
            f"({sink * 1e3:.2g} mm), and the soil law finds too little grip.  Use hard ground with a "
            "'surface' such as firm_soil."
        )
    if deepest > SUNK * radius:
        out.append(
            f"Sunk {deepest * 1e3:.2g} mm, more than {SUNK:.0%} of the wheel's radius: outside what the soil formulas "
            "are made for."
        )
    slip = float(np.abs(traces["slip_speed"].where(traces["normal_load"] > 0.05 * load).fillna(0.0)).max())
    if slip > FAST_SLIP:
        out.append(f"A loaded wheel slipped at {slip:.2g} m/s, faster than the friction law is known for.")
    twist = float(np.abs(traces["twist"].values).max(initial=0.0))
    if twist > TWISTED * radius:
        out.append(
            f"The frame twisted by {twist * 1e3:.2g} mm at each wheel, beyond what its linear spring stands for."
        )
    if any(isinstance(feature, Roughness) for feature in recording.scenario.ground.features):
        out.append(
            f"One random ground of many (seed {recording.scenario.seed}): other seeds may give another verdict; try "
            "several before you decide."
        )
    return out + _ending(recording)


def _ending(recording: Recording) -> list[str]:
    if recording.ending == "overturned":
        return ["The model ends where the rover tips over; nothing after that is simulated."]
    if recording.ending == "collapsed" and recording.scenario.rover.wheel.driver.lockout is None:
        return [
            "The model ends where the supply collapses; give the driver a 'lockout' to see its resets and restarts."
        ]
    return []
