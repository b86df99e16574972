"""The plain figures of one run, by name and unit, straight from the recording; imports engine and numpy.

The summary, bars such as "distance > 2 m" and every study of many runs take their figures from here.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from drivesim.analysis.conditions import CONDITIONS
from drivesim.analysis.dataset import conditions_of
from drivesim.analysis.episodes import time_stuck
from drivesim.analysis.ledger import ledger
from drivesim.analysis.told import distance, told
from drivesim.engine.simulate import Recording

SOME_WAY = 0.01  # m; a rover that comes less far has no energy per metre

MORE, LESS, NEITHER = 1, -1, 0


class Measure(NamedTuple):
    """What a figure means: its unit, words for it, and whether more of it is better (1), less (−1), or neither (0)."""

    unit: str
    words: str
    better: int


MEASURES: dict[str, Measure] = {
    "finished": Measure("1", "ran to its end", MORE),
    "moving": Measure("1", "still moving at the end", MORE),
    "duration": Measure("s", "time driven", NEITHER),
    "distance": Measure("m", "distance", MORE),
    "progress": Measure("m", "way along what was commanded", MORE),
    "commanded": Measure("m", "way commanded", NEITHER),
    "progress_share": Measure("1", "share of the way commanded", MORE),
    "turned": Measure("rad", "angle turned", NEITHER),
    "stuck": Measure("s", "time stuck", LESS),
    "energy": Measure("J", "energy drawn", LESS),
    "energy_per_metre": Measure("J/m", "energy per metre", LESS),  # of the way along what was commanded
    "circulating_force": Measure("N", "circulating force", LESS),
    "circulating_power": Measure("W", "circulating power", LESS),
    "fighting_share": Measure("1", "circulating share of the drive power", LESS),
    "drive_power": Measure("W", "drive power", NEITHER),
    "slip_energy": Measure("J", "energy of slip", LESS),
    "copper_energy": Measure("J", "heat in the windings", LESS),
    "tracking": Measure("rad/s", "rms of commanded less true wheel speed", LESS),
    "peak_temperature": Measure("degC", "warmest winding", LESS),
    "lowest_bus_voltage": Measure("V", "lowest bus voltage", MORE),
    "peak_battery_current": Measure("A", "greatest battery current", LESS),
    "voltage_limited": Measure("1", "share of time at full voltage", LESS),
    "pole_slips": Measure("1", "poles slipped", LESS),
}


def measures(recording: Recording) -> dict[str, float]:
    """Return every figure of ``MEASURES``, NaN where the run does not have it.

    ``moving``: 1 where the run came to its end and the rover was not stuck then.
    """
    body, wheels, interval = recording.body, recording.wheels, recording.interval
    counted, script = ledger(recording), told(recording)
    came = distance(body["speed"], interval)
    circulating, drive = float(body["circulating_power"].mean()), float(body["drive_power"].mean())
    finished = recording.ending == "finished"
    driven = recording.model.wheels["driven"] == 1
    error = (wheels["commanded_speed"] - wheels["wheel_speed"])[:, driven]
    return {
        "finished": float(finished),
        "moving": float(finished and body["stuck"][-1] < 0.5),
        "duration": recording.end_time,
        "distance": came,
        "progress": script.came,
        "commanded": script.way,
        "progress_share": script.share if script.way > 0 else math.nan,
        "turned": float(body["yaw"][-1] - body["yaw"][0]),
        "stuck": time_stuck(body["stuck"], recording.time, interval),
        "energy": counted["drawn"],
        "energy_per_metre": counted["drawn"] / script.came if script.came > SOME_WAY else math.nan,
        "circulating_force": float(body["circulating_force"].mean()),
        "circulating_power": circulating,
        "fighting_share": circulating / drive if drive > 0 else 0.0,
        "drive_power": drive,
        "slip_energy": counted["tyre_slip"],
        "copper_energy": counted["copper"],
        "tracking": float(np.sqrt(np.mean(error**2))) if error.size else math.nan,
        "peak_temperature": float(wheels["winding_temperature"].max()),
        "lowest_bus_voltage": float(recording.model.bodies["lowest_bus"][0]),
        "peak_battery_current": float(body["battery_current"].max()),
        "voltage_limited": float(wheels["voltage_limited"].mean()),
        "pole_slips": float(wheels["pole_slips"][-1].sum()),
    }


def condition_shares(recording: Recording) -> dict[str, float]:
    """Return the share of time of each wheel in each condition, named "WHEEL CONDITION"."""
    codes = conditions_of(recording)
    return {
        f"{name} {condition}": float((codes[:, j] == code).mean())
        for j, name in enumerate(recording.model.names)
        for code, condition in enumerate(CONDITIONS)
    }
