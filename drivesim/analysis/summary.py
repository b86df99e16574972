"""The summary of a run: the numbers that others script against; imports the rest of analysis."""

from __future__ import annotations

from typing import Any

import xarray as xr

from drivesim.analysis.cautions import cautions
from drivesim.analysis.conditions import CONDITIONS, STALLED
from drivesim.analysis.episodes import stuck_episodes
from drivesim.analysis.ledger import ledger
from drivesim.analysis.verdict import distance, progress_distance, verdict
from drivesim.engine.simulate import Recording


def fighting(traces: xr.Dataset) -> dict[str, float]:
    """Return mean and peak circulating force [N], mean circulating power [W] and its share of the drive power."""
    power, drive = float(traces["circulating_power"].mean()), float(traces["drive_power"].mean())
    return {
        "force_mean_N": float(traces["circulating_force"].mean()),
        "force_peak_N": float(traces["circulating_force"].max()),
        "power_mean_W": power,
        "share_of_drive_power": power / drive if drive > 0 else 0.0,
    }


def wheel_summary(traces: xr.Dataset, wheel: str) -> dict[str, Any]:
    """Return one wheel's shares of time in each condition, pole slips, peak temperature and first stall."""
    part = traces.sel(wheel=wheel)
    codes = part["condition"].values
    stalls = part["time"].values[codes == STALLED]
    return {
        **{name: float((codes == code).mean()) for code, name in enumerate(CONDITIONS)},
        "pole_slips": round(float(part["pole_slips"].values[-1])),
        "peak_temperature_degC": float(part["winding_temperature"].max()),
        "first_stall_s": float(stalls[0]) if stalls.size else None,
        "mean_torque_Nm": float(part["motor_torque"].mean()),
        "peak_current_A": float(((part["current_d"] ** 2 + part["current_q"] ** 2) ** 0.5).max()),
        "mean_load_N": float(part["normal_load"].mean()),
    }


def summarise(recording: Recording, traces: xr.Dataset) -> dict[str, Any]:
    """Return the summary of a run as plain numbers and texts, ready for JSON."""
    episodes = stuck_episodes(traces)
    counted = ledger(recording)
    came = distance(traces)
    end = recording.end_time
    return {
        "name": recording.scenario.name,
        "question": recording.scenario.question,
        "verdict": verdict(recording, traces),
        "ending": recording.ending,
        "duration_s": end,
        "distance_m": came,
        "progress_m": progress_distance(traces),
        "turned_rad": float(traces["yaw"].values[-1] - traces["yaw"].values[0]),
        "stuck_s": sum(e.end - e.start for e in episodes),
        "stuck_at_m": [round(e.x, 4) for e in episodes],
        "overturned": recording.ending == "overturned",
        "energy_drawn_J": counted["drawn"],
        "energy_per_metre_J": counted["drawn"] / came if came > 0.01 else None,
        "ledger": counted,
        "fighting": fighting(traces),
        "wheels": {str(name): wheel_summary(traces, str(name)) for name in traces["wheel"].values},
        "lowest_bus_voltage_V": float(traces["bus_voltage"].min()),
        "peak_battery_current_A": float(traces["battery_current"].max()),
        "cautions": cautions(recording, traces, counted),
        "step_s": recording.model.step,
        "step_reason": recording.model.step_reason,
        "real_time_factor": end / recording.wall_time if recording.wall_time > 0 else None,
        "seed": recording.scenario.seed,
        "versions": recording.versions,
    }
