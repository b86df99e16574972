"""What the model says a battery shows under pulses of current; imports physics, engine's table and the logs."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from drivesim.engine.build import battery_table
from drivesim.fitting.logs import Array, Log
from drivesim.physics import supply
from drivesim.scenario import Scenario
from drivesim.scenario.motor import Battery

SECONDS_OF_HOUR = 3600.0


def pulsed(scenario: Scenario, log: Log, own: Mapping[str, float]) -> dict[str, Array]:
    """Return the terminal voltage [V] of the pack, or of one cell of it.

    The current of a row flows until the next one; positive discharges.  The rested voltage at the beginning is the
    log's own; from there the open circuit follows the slope of the file's table as charge is drawn.
    """
    battery = scenario.rover.battery
    single = log.settings.get("across") == "cell"
    series, beside = (1, 1) if single else (battery.cells_in_series, battery.cells_in_parallel)
    time, current = log.table["time"], log.table["current"] / beside
    begun = log.number("state_of_charge", battery.state_of_charge)
    step = np.diff(time)
    drawn = np.concatenate([[0.0], np.cumsum(current[:-1] * step)])  # A·s
    charge = begun - drawn / (SECONDS_OF_HOUR * battery.capacity)
    table = battery_table(battery)
    open_circuit, factor = (np.interp(charge, table[0], column) for column in table[1:])
    diffusion = [0.0]
    for drawing, decay in zip(current, np.exp(-step / battery.diffusion_time), strict=False):
        diffusion.append(supply.diffusion_step(diffusion[-1], drawing, battery.diffusion_resistance, decay))
    cell = own["open_circuit"] + (open_circuit - open_circuit[0]) / battery.cells_in_series
    cell -= np.array(diffusion) + current * battery.cell_resistance * factor
    return {"voltage": series * cell}


def file_voltage(battery: Battery, charge: float) -> float:
    """Return the open-circuit voltage of one cell [V] at a state of charge, by the file's table."""
    table = battery_table(battery)
    return float(supply.open_circuit(charge, table[0], table[1])) / battery.cells_in_series
