"""From a recording to the labelled dataset of traces; imports engine and physics."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from drivesim.analysis.conditions import CONDITIONS, wheel_conditions
from drivesim.drive.controller import FORCED
from drivesim.engine.channels import BODY_CHANNELS, WHEEL_CHANNELS
from drivesim.engine.simulate import Recording
from drivesim.physics.motor import pull_out_torque
from drivesim.physics.winding import resistance_at


def forced_wheels(recording: Recording) -> np.ndarray:
    """Return which wheels have a field that turns at a frequency of its own, shape (wheels,)."""
    return np.isin(recording.model.wheels["strategy"], FORCED)


def conditions_of(recording: Recording) -> np.ndarray:
    """Return the condition code of each wheel in each row, shape (rows, wheels)."""
    model = recording.model
    even_load = float(model.params["mass"][0] * model.params["gravity"][0]) / len(model.names)
    return wheel_conditions(recording.wheels, recording.interval, even_load, forced_wheels(recording))


def traces(recording: Recording) -> xr.Dataset:
    """Return all recorded channels with dims time [s] and wheel, units in attrs, plus two derived ones.

    ``condition``: code of what each wheel was doing (attrs give the words).  ``pull_out_torque`` [N·m]: what a
    forced wheel could give at most at that voltage, speed and temperature (NaN for other wheels).
    """
    model, wheels = recording.model, recording.wheels
    codes = conditions_of(recording)
    variables: dict[str, tuple[tuple[str, ...], np.ndarray, dict[str, Any]]] = {}
    for channels, dims, rows in (
        (WHEEL_CHANNELS, ("time", "wheel"), wheels),
        (BODY_CHANNELS, ("time",), recording.body),
    ):
        for c in channels:
            variables[c.name] = (dims, rows[c.name], {"units": c.unit, "long_name": c.meaning})
    variables["condition"] = (
        ("time", "wheel"), codes,
        {"long_name": "what the wheel was doing", "flag_values": np.arange(len(CONDITIONS), dtype=np.int8),
         "flag_meanings": " ".join(CONDITIONS)},
    )  # fmt: skip
    variables["pull_out_torque"] = (
        ("time", "wheel"), _pull_out(recording), {"units": "N*m", "long_name": "pull-out torque (forced drives)"}
    )  # fmt: skip
    attrs = {"title": recording.scenario.name, "recording_interval_s": recording.interval}
    cut_back = recording.scenario.rover.wheel.driver.cut_back
    if cut_back is not None:
        attrs["cut_back_start_degC"] = cut_back.start
    return xr.Dataset(
        variables,
        coords={"time": ("time", recording.time, {"units": "s"}), "wheel": list(model.names)},
        attrs=attrs,
    )


def _pull_out(recording: Recording) -> np.ndarray:
    result = np.full(recording.wheels.shape, np.nan)
    each = np.vectorize(pull_out_torque, otypes=[float])
    warm = np.vectorize(resistance_at, otypes=[float])
    for j in np.flatnonzero(forced_wheels(recording)):
        p, rows = recording.model.wheels[j], recording.wheels[:, j]
        R = warm(p["resistance"], p["given_at"], rows["winding_temperature"], p["coefficient"])
        speed = p["pole_pairs"] * np.abs(rows["wheel_speed"])
        result[:, j] = each(
            rows["phase_voltage"],
            R + p["on_resistance"],
            p["inductance"],
            p["flux_linkage"],
            p["pole_pairs"],
            speed,
        )
    return result
