"""Cautions about cells, connectors and brown-outs, each with its figure; imports engine, physics, causes."""

from __future__ import annotations

import numpy as np
import xarray as xr

from drivesim.analysis.causes import loose_times, resets, times
from drivesim.engine.simulate import Recording
from drivesim.physics import supply
from drivesim.units import rounded_down

SERIES_CHARGER = (
    "{n} cells in series: a charger for a single cell must never be used on them, and they need a balanced charge; "
    "follow the cell maker's data."
)


def supply_cautions(recording: Recording, traces: xr.Dataset) -> list[str]:
    """Return the cautions about the battery and what hangs on it."""
    return [*_discharge(recording, traces), *_charging(recording), *_resets(recording), *_restart(recording)]


def _discharge(recording: Recording, traces: xr.Dataset) -> list[str]:
    battery, out = recording.scenario.rover.battery, []
    current = float(traces["battery_current"].values.max(initial=0.0))
    if current > battery.current_rating:
        out.append(
            f"Lithium cells: {current:.2g} A drawn, the rating allows {battery.current_rating:.2g} A "
            f"({battery.discharge_rating:g} C); they can swell or burn."
        )
    lowest = float(cell_side(recording, traces).min(initial=np.inf)) / battery.cells_in_series
    if lowest < battery.cut_off:
        out.append(
            f"Lithium cells: down to {rounded_down(lowest, 0.01):.2f} V a cell under load, below the cut-off of "
            f"{battery.cut_off:g} V."
        )
    if battery.connector_rating is not None and current > battery.connector_rating:
        out.append(
            f"Battery connector: {current:.2g} A, rated {battery.connector_rating:g} A; it heats and may melt."
        )
    return out


def cell_side(recording: Recording, traces: xr.Dataset) -> np.ndarray:
    """Return the rows of the bus voltage [V] in which the battery was connected all the time."""
    time, half = traces["time"].values, traces.attrs["recording_interval_s"] / 2
    connected = np.ones(time.size, dtype=bool)
    for off, on in loose_times(recording):
        connected &= (time + half <= off) | (time - half >= on)
    rows: np.ndarray = traces["bus_voltage"].values[connected]
    return rows


def _charging(recording: Recording) -> list[str]:
    battery = recording.scenario.rover.battery
    cells, made_for = battery.cells_in_series, battery.charger_cells
    if made_for is not None and made_for != cells:
        return [
            f"Lithium cells: the charger is made for {made_for} in series, the pack has {cells}: never connect them; "
            "fire hazard.  Use a balancing charger for the pack, by the cell maker's data."
        ]
    return ["Lithium cells: " + SERIES_CHARGER.format(n=cells)] if cells > 1 and made_for is None else []


def _resets(recording: Recording) -> list[str]:
    count = len(resets(recording))
    if not count:
        return []
    return [
        f"Brown-out: the wheel controllers reset {times(count)}; a real one may come back with other settings, or hold "
        "a wheel's last state; keep clear until it is switched off."
    ]


def _restart(recording: Recording) -> list[str]:
    """Tell a lockout that the pack at rest cannot lift, by its charge at the end of the run."""
    lockout, model = recording.scenario.rover.wheel.driver.lockout, recording.model
    if lockout is None:
        return []
    charge = float(model.bodies["state_of_charge"][0])
    rest = float(
        supply.open_circuit(charge, model.table[0], model.table[1]) - model.params["voltage_drop"][0]
    )
    pack = f"the pack at rest gives {rest:.2f} V at {charge:.0%} charge"
    if rest <= lockout.below:
        return [
            f"Lockout: the wheel controllers cannot run: they stop below {lockout.below:g} V, and {pack}."
        ]
    if rest <= lockout.above:
        return [
            f"Lockout: once reset, the wheel controllers never boot again: that needs more than {lockout.above:g} V, "
            f"and {pack}."
        ]
    return []
