"""The summary of a run: the numbers that others script against; imports the rest of analysis."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from drivesim.analysis.advice import advice
from drivesim.analysis.causes import dark_times, off_share, resets
from drivesim.analysis.cautions import cautions
from drivesim.analysis.conditions import CONDITIONS, STALLED
from drivesim.analysis.episodes import stuck_episodes
from drivesim.analysis.ledger import ledger
from drivesim.analysis.measures import measures
from drivesim.analysis.plain import finite
from drivesim.analysis.told import told
from drivesim.analysis.verdict import verdict, what_held
from drivesim.engine.simulate import Recording
from drivesim.physics import supply


def fighting(traces: xr.Dataset, found: dict[str, float]) -> dict[str, float]:
    """Return mean and peak circulating force [N], mean circulating power [W] and its share of the drive power."""
    return {
        "force_mean_N": found["circulating_force"],
        "force_peak_N": float(traces["circulating_force"].max()),
        "power_mean_W": found["circulating_power"],
        "share_of_drive_power": found["fighting_share"],
    }


def wheel_summary(traces: xr.Dataset, wheel: str, *, housed: bool = True) -> dict[str, Any]:
    """Return one wheel's shares of time in each condition, pole slips, peak temperatures, first stall and means.

    ``housed``: has it a housing?  ``commutation_factor``: mean of the rows' cos(angle_error), by which a
    self-commutated wheel's torque is less than with a perfect angle; 1 for a forced field.
    """
    part = traces.sel(wheel=wheel)
    codes = part["condition"].values
    stalls = part["time"].values[codes == STALLED]
    return {
        **{name: float((codes == code).mean()) for code, name in enumerate(CONDITIONS)},
        "pole_slips": round(float(part["pole_slips"].values[-1])),
        "peak_temperature_degC": float(part["winding_temperature"].max()),
        "peak_housing_temperature_degC": float(part["housing_temperature"].max()) if housed else None,
        "first_stall_s": float(stalls[0]) if stalls.size else None,
        "mean_torque_Nm": float(part["motor_torque"].mean()),
        "peak_current_A": float(((part["current_d"] ** 2 + part["current_q"] ** 2) ** 0.5).max()),
        "mean_load_N": float(part["normal_load"].mean()),
        "current_limited": float(part["current_limited"].mean()),
        "off": 1.0 - float(part["powered"].mean()),
        "commutation_factor": float(np.cos(part["angle_error"]).mean()),
        "deepest_sinkage_m": float(part["sinkage"].max()),
    }


def events_by_kind(recording: Recording) -> dict[str, int]:
    """Return how many events of each kind there were, faults and the like only."""
    kinds = [event.kind for event in recording.events if event.kind not in ("command", "end")]
    return {kind: kinds.count(kind) for kind in sorted(set(kinds))}


def recovery_summary(recording: Recording) -> dict[str, Any] | None:
    """Return how many tries of the driver freed the rover, in all and by method; None without a recovery."""
    if recording.scenario.recovery is None:
        return None
    methods = {}
    for method in dict.fromkeys(recording.scenario.recovery.method):
        freed = [done.freed for done in recording.tries if done.method == method]
        methods[method] = {"tries": len(freed), "freed": sum(freed)}
    tries = recording.tries
    return {"tries": len(tries), "freed": sum(done.freed for done in tries), "methods": methods}


def supply_summary(recording: Recording, traces: xr.Dataset) -> dict[str, Any]:
    """Return resets, the share of time they cost, the pack's endurance, and what the bus capacitance rides through.

    ``endurance_h``: the charge that was left at the start over the run's mean current.  ``ride_through_s``: from the
    mean bus voltage down to the lockout (or half of it) at the mean power.
    """
    battery, lockout = recording.scenario.rover.battery, recording.scenario.rover.wheel.driver.lockout
    current, volts = float(traces["battery_current"].mean()), float(traces["bus_voltage"].mean())
    power = float((traces["battery_current"] * traces["bus_voltage"]).mean())
    charge = battery.capacity * battery.cells_in_parallel * battery.state_of_charge
    down_to = volts / 2 if lockout is None else lockout.below
    return {
        "resets": len(resets(recording)),
        "off_s": sum(end - start for start, end in dark_times(recording)),
        "off_share": off_share(recording),
        "endurance_h": charge / current if current > 0 else None,
        "ride_through_s": float(supply.ride_through_time(battery.bus_capacitance, volts, down_to, power))
        if power > 0
        else None,
    }


def summarise(recording: Recording, traces: xr.Dataset) -> dict[str, Any]:
    """Return the summary of a run as plain numbers and texts, ready for JSON.

    ``distance_m``: along the rover's own axis.  ``commanded_m``: what the driver's script adds up to, whatever link,
    fail-safe, resets and tries at recovery made of it; ``progress_m``: the hubs' mean way along it, turning included;
    the energy per metre is of that way.
    ``stuck_at_m``: places on the ground.  ``lowest_bus_voltage_V``: of all steps.  ``figures``: those of
    ``drivesim.analysis.measures``, by the names that bars and studies use.
    """
    episodes = stuck_episodes(traces)
    counted, found = ledger(recording), measures(recording)
    script = told(recording)
    end, housed = recording.end_time, recording.scenario.rover.wheel.winding.housing is not None
    summary = {
        "name": recording.scenario.name,
        "question": recording.scenario.question,
        "verdict": verdict(recording, traces, script, episodes),
        "may_help": advice(recording, what_held(recording, traces, script, episodes), episodes, script.came),
        "ending": recording.ending,
        "duration_s": end,
        "distance_m": found["distance"],
        "progress_m": found["progress"],
        "commanded_m": found["commanded"],
        "turned_rad": found["turned"],
        "stuck_s": found["stuck"],
        "stuck_at_m": [round(e.x, 4) for e in episodes],
        "overturned": recording.ending == "overturned",
        "energy_drawn_J": found["energy"],
        "energy_per_metre_J": finite(found["energy_per_metre"]),
        "ledger": counted,
        "fighting": fighting(traces, found),
        "wheels": {
            str(name): wheel_summary(traces, str(name), housed=housed) for name in traces["wheel"].values
        },
        "figures": finite(found),
        "events": events_by_kind(recording),
        "recovery": recovery_summary(recording),
        "supply": supply_summary(recording, traces),
        "lowest_bus_voltage_V": found["lowest_bus_voltage"],
        "peak_battery_current_A": found["peak_battery_current"],
        "cautions": cautions(recording, traces, counted),
        "step_s": recording.model.step,
        "step_reason": recording.model.step_reason,
        "real_time_factor": end / recording.wall_time if recording.wall_time > 0 else None,
        "seed": recording.scenario.seed,
        "versions": recording.versions,
    }
    return finite(summary) if recording.ending == "not_finite" else summary
