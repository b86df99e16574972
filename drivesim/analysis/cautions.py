"""Cautions that belong with a result, each with its reason and figure: the list, numbers, model and events.

Drive, supply and heat have modules of their own.  Imports engine, physics and dataset.
"""

from __future__ import annotations

import numpy as np
import xarray as xr

from drivesim.analysis.caution_drive import drive_cautions
from drivesim.analysis.caution_heat import heat_cautions
from drivesim.analysis.caution_supply import supply_cautions
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
        *drive_cautions(recording), *_model(recording, traces), *_never_happened(recording), ALWAYS,
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


def _never_happened(recording: Recording) -> list[str]:
    """Tell the events of the scenario that the run did not come to: their time or their condition."""
    end = round(recording.end_time / recording.model.step)
    met = {event.cause for event in recording.events if event.kind == "fault"}
    missed = []
    for i, event in enumerate(recording.scenario.events):
        if event.when is not None and event.when.text not in met:
            missed.append(f"events.{i} (when {event.when.text}: {event.kind})")
        elif event.at is not None and round(event.at / recording.model.step) >= end:
            missed.append(f"events.{i} (at {event.at:g} s: {event.kind})")
    if not missed:
        return []
    return [f"Never happened: {', '.join(missed)}; the run ended after {recording.end_time:.3g} s."]
