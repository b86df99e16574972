"""Cautions that belong with a result, each with its reason and figure; imports engine, physics and dataset."""

from __future__ import annotations

import numpy as np
import xarray as xr

from drivesim.analysis.dataset import forced_wheels
from drivesim.drive.controller import SPEED_LOOP
from drivesim.engine.simulate import Recording
from drivesim.physics import heat
from drivesim.scenario.ground import Roughness

UNEXPLAINED = 0.1  # of the mechanical energy; a sound run stays far below
NEGLIGIBLE = 5e-3  # J
MECHANICAL = ("bearing", "rolling", "tyre_slip", "contact_damping", "height", "motion")
SAMPLE_TOLERANCE = 0.02  # a sample time may be off by this share without a word
TOUCH_LIMIT = 60.0  # degC, hot to touch (common practice, no source)
BURNT = 1000.0  # degC; beyond it a figure says nothing
SINK = 0.2  # of the radius, under the weight alone
SERIES_CHARGER = (
    "{n} cells in series: a charger for a single cell must never be used on them, and they need a balanced charge; "
    "follow the cell maker's data"
)
ALWAYS = (
    "A simulation supports but does not replace the makers' data, local rules and a bench test with a "
    "current-limited supply and the wheels off the ground; keep fingers and cables clear of the wheels."
)


def cautions(recording: Recording, traces: xr.Dataset, counted: dict[str, float]) -> list[str]:
    """Return the cautions that apply to this run, in order of danger; the general one always comes last.

    ``counted`` is the run's energy ledger [J].
    """
    return [
        *_numbers(recording, counted), *_battery(recording, traces), *_heat(recording, traces), *_drive(recording),
        *_model(recording), ALWAYS,
    ]  # fmt: skip


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


def _battery(recording: Recording, traces: xr.Dataset) -> list[str]:
    battery, out = recording.scenario.rover.battery, []
    current = float(traces["battery_current"].values.max(initial=0.0))
    rated = battery.discharge_rating * battery.capacity * battery.cells_in_parallel
    if current > rated:
        out.append(
            f"Lithium cells: {current:.2g} A drawn, the rating allows {rated:.2g} A; they can swell or burn."
        )
    lowest = float(traces["bus_voltage"].values.min(initial=np.inf)) / battery.cells_in_series
    if lowest < battery.cut_off:
        out.append(
            f"Lithium cells: down to {lowest:.2f} V a cell under load, below the cut-off of {battery.cut_off:g} V."
        )
    if battery.cells_in_series > 1:
        out.append("Lithium cells: " + SERIES_CHARGER.format(n=battery.cells_in_series) + ".")
    return out


def _heat(recording: Recording, traces: xr.Dataset) -> list[str]:
    winding, driver = recording.scenario.rover.wheel.winding, recording.scenario.rover.wheel.driver
    peaks = traces["winding_temperature"].max("time")
    wheel = str(peaks["wheel"].values[int(peaks.values.argmax())])
    peak = float(peaks.max())
    out = []
    settles = _settled(recording, traces)
    settled = float(settles.max())
    if peak > winding.limit:
        out.append(f"Hot board: {wheel} reached {peak:.0f} degC, its limit is {winding.limit:.0f} degC.")
    elif settled > winding.limit:
        hot = str(traces["wheel"].values[int(settles.argmax())])
        where = f"settle near {settled:.0f} degC" if settled < BURNT else "burn: its heat feeds itself"
        out.append(
            f"Hot board: going on like the last half of the run, {hot} would {where} (winding limit "
            f"{winding.limit:.0f} degC), though it reached only {peak:.0f} degC in {recording.end_time:.0f} s."
        )
    if peak > TOUCH_LIMIT:
        out.append(f"Hot to touch: {wheel} reached {peak:.0f} degC (over {TOUCH_LIMIT:.0f} degC).")
    current = float(np.hypot(traces["current_d"].values, traces["current_q"].values).max(initial=0.0))
    if driver.current_rating is not None and current > driver.current_rating:
        out.append(
            f"Wheel controllers: {current:.2g} A peak phase current, rated {driver.current_rating:g} A."
        )
    return out


def _settled(recording: Recording, traces: xr.Dataset) -> np.ndarray:
    """Return where each winding would settle [degC] under the mean loss of the run's last half.

    A forced field keeps its voltage, so that its loss falls as the copper warms; a loop that has to give a torque
    keeps its current, so that its loss grows.
    """
    winding, ambient = recording.scenario.rover.wheel.winding, recording.scenario.ambient
    late = traces.isel(time=slice(traces.sizes["time"] // 2, None)).mean("time")
    warm = 1 + winding.temperature_coefficient * (late["winding_temperature"].values - 20)
    settled = []
    for loss, factor, forced in zip(late["copper_loss"].values, warm, forced_wheels(recording), strict=True):
        R_th, alpha = winding.thermal_resistance, winding.temperature_coefficient
        if alpha == 0:
            settled.append(ambient + loss * R_th)
        elif forced:
            settled.append(heat.final_temperature_at_voltage(loss * factor, R_th, ambient, alpha))
        else:
            settled.append(heat.final_temperature(np.sqrt(loss / factor), 1.0, R_th, ambient, alpha))
    return np.array(settled)


def _drive(recording: Recording) -> list[str]:
    wheels, out = recording.model.wheels, []
    for name, taken in zip(recording.model.names, wheels["sample_time"], strict=True):
        given = recording.scenario.drive.for_wheel(name).sample_time
        if abs(taken / given - 1) > SAMPLE_TOLERANCE:
            out.append(
                f"Numbers: {name} samples every {given * 1e3:.4g} ms but was simulated with {taken * 1e3:.4g} ms, "
                "whole steps; give a 'step' that divides its sample time."
            )
            break
    if np.any((wheels["strategy"] == SPEED_LOOP) & (wheels["sensors"] == 1) & (wheels["braking"] == 1)):
        out.append(
            "Speed loop with braking on a single Hall sensor: the sensor cannot see the direction, so a wheel pushed "
            "backwards may be driven further backwards."
        )
    return out


def _model(recording: Recording) -> list[str]:
    rover, out = recording.scenario.rover, []
    sink = (
        rover.mass * recording.scenario.gravity / len(rover.wheel_names) / rover.wheel.tyre.radial_stiffness
    )
    if sink > SINK * rover.wheel.radius:
        out.append(
            f"The model is for tyres pressed in a little: here the weight alone presses them in by {sink * 1e3:.2g} mm "
            f"of {rover.wheel.radius * 1e3:.3g} mm radius; check radial_stiffness."
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
    if recording.ending == "collapsed":
        return [
            "The model ends where the supply collapses; resets and restarts of controllers are not in it yet."
        ]
    return []
