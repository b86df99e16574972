"""Cautions about hot boards, magnets, adhesive, surfaces and currents over a rating; imports engine, physics."""

from __future__ import annotations

import numpy as np
import xarray as xr
from scipy.optimize import brentq

from drivesim.analysis.dataset import forced_wheels
from drivesim.analysis.heat_limits import told_limits
from drivesim.drive.controller import FIXED_VOLTAGE
from drivesim.engine.simulate import Recording
from drivesim.engine.winding_build import finished_thickness
from drivesim.physics import heat, motor, winding

TITLES = {
    "winding": "Hot board",
    "adhesive": "Hot adhesive",
    "magnet": "Hot magnets",
    "touch": "Hot to touch",
}
BURNT = 1000.0  # degC; beyond it a figure says nothing
TRACE_RISE = 30.0  # K, for the guide value of a conductor's current


def heat_cautions(recording: Recording, traces: xr.Dataset) -> list[str]:
    """Return the cautions about temperatures and about what makes them."""
    return [
        *_limits(recording, traces),
        *_guards(recording),
        *_currents(recording, traces),
    ]


def _limits(recording: Recording, traces: xr.Dataset) -> list[str]:
    """Tell what is too hot, or would become so when the run goes on like its last half.

    A surface that would get hot to touch is not told where it is the board that is told already.
    """
    wheels, out, told = traces["wheel"].values, [], set()
    board, kept = settled(recording, traces)
    for title, name, channel, ends, limit in _parts(recording, board):
        peaks = traces[channel].max("time").values
        hot, peak, later = int(peaks.argmax()), float(peaks.max()), int(np.lexsort((kept, ends))[-1])
        if peak > limit:
            out.append(f"{title}: {wheels[hot]} reached {peak:.0f} degC, its limit is {limit:.0f} degC.")
        elif ends[later] > limit and not (name == "touch" and channel in told):
            end = f"settle near {ends[later]:.0f} degC"
            if ends[later] >= BURNT:
                end = "burn: its heat feeds itself"
            elif kept[later] > board[later]:
                end = f"lose torque as its copper warms and {end}, held by its voltage"
            out.append(
                f"{title}: going on like the last half of the run, {wheels[later]} would {end} ({name} limit "
                f"{limit:.0f} degC), though it reached only {peak:.0f} degC in {recording.end_time:.0f} s."
            )
        else:
            continue
        told.add(channel)
    return out


def _parts(recording: Recording, board: np.ndarray) -> list[tuple[str, str, str, np.ndarray, float]]:
    """Return what has a limit: title, name, channel, where each wheel's would settle [degC], and the limit [degC].

    ``board``: where each wheel's winding would.
    """
    w, ambient = recording.scenario.rover.wheel.winding, recording.scenario.ambient
    surface = board
    if w.housing is not None:
        surface = np.array([
            heat.housing_temperature(T, ambient, wheel["thermal_resistance"], wheel["housing_resistance"])
            for T, wheel in zip(board, recording.model.wheels, strict=True)
        ])  # fmt: skip
    ends = {False: board, True: surface}
    channels = {False: "winding_temperature", True: "housing_temperature"}
    return [
        (TITLES[name], name, channels[of_housing], ends[of_housing], limit)
        for name, of_housing, limit in told_limits(w)
    ]


def _path(recording: Recording) -> np.ndarray:
    """Return each wheel's thermal resistance from winding to ambient [K/W]."""
    wheels = recording.model.wheels
    housing = np.where(np.isfinite(wheels["housing_resistance"]), wheels["housing_resistance"], 0.0)
    result: np.ndarray = wheels["thermal_resistance"] + housing
    return result


def settled(recording: Recording, traces: xr.Dataset) -> tuple[np.ndarray, np.ndarray]:
    """Return where each winding would settle [degC] under the mean loss of the run's last half.

    A forced field keeps its voltage, so that its loss falls as the copper warms; a loop that has to give a torque
    keeps its current, so that its loss grows, until there is no voltage for it: then that holds it.  The second array
    is where it would settle if there were.
    A controller that cuts back or trips lets none grow hotter than that.
    """
    w, ambient = recording.scenario.rover.wheel.winding, recording.scenario.ambient
    alpha, ways = w.temperature_coefficient, _path(recording)
    late = traces.isel(time=slice(traces.sizes["time"] // 2, None)).mean("time")
    warm = 1 + alpha * (late["winding_temperature"].values - 20)
    losses = late["copper_loss"].values
    if alpha == 0:
        ends = kept = ambient + losses * ways
    else:
        slack = np.array([
            heat.final_temperature_at_voltage(loss * factor, R_th, ambient, alpha)
            for loss, factor, R_th in zip(losses, warm, ways, strict=True)
        ])  # fmt: skip
        kept = np.array([
            heat.final_temperature(np.sqrt(loss / factor), 1.0, R_th, ambient, alpha)
            for loss, factor, R_th in zip(losses, warm, ways, strict=True)
        ])  # fmt: skip
        kept = np.where(forced_wheels(recording), slack, kept)
        # a wheel dragged against its drive takes more than one at standstill
        ends = np.minimum(kept, np.maximum(slack, _stalled(recording, traces)))
    driver = recording.scenario.rover.wheel.driver
    guards = [driver.cut_back.end] if driver.cut_back is not None else []
    guards += [driver.trip.above] if driver.trip is not None else []
    guard = min(guards, default=np.inf)
    return np.minimum(ends, guard), np.minimum(kept, guard)


def _stalled(recording: Recording, traces: xr.Dataset) -> np.ndarray:
    """Return where each winding settles [degC] that stands for ever at all the voltage of the run's last half.

    That is its root mean square: what the bus gives, or what a drive of fixed voltage sets.
    """
    half = traces.isel(time=slice(traces.sizes["time"] // 2, None))
    square = (half[["bus_voltage", "phase_voltage"]] ** 2).mean("time")
    wheels, ambient = recording.model.wheels, recording.scenario.ambient
    fixed = wheels["strategy"] == FIXED_VOLTAGE
    whole = wheels["modulation"] * float(np.sqrt(square["bus_voltage"]))
    volts = np.where(fixed, np.sqrt(square["phase_voltage"].values), whole)
    return np.array([
        _stalled_at(V, wheel, R_th, ambient) for V, wheel, R_th in zip(volts, wheels, _path(recording), strict=True)
    ])  # fmt: skip


def _stalled_at(V: float, wheel: np.void, R_th: float, ambient: float) -> float:
    """Return where a winding settles [degC] at standstill under a peak phase voltage ``V`` of the driver."""
    on = wheel["on_resistance"]
    if not np.isfinite(V):  # of a run whose numbers are lost
        return float(np.inf)

    def resistance(T: float) -> float:
        return float(winding.resistance_at(wheel["resistance"], wheel["given_at"], T, wheel["coefficient"]))

    def surplus(T: float) -> float:
        loss = motor.copper_loss((V / (resistance(T) + on)) ** 2, resistance(T))
        return float(heat.node_rate(loss, T, ambient, R_th, 1.0))

    cold = resistance(ambient) + on
    above = ambient + 1.0 + R_th * motor.copper_loss((V / cold) ** 2, cold)  # more than it can take up
    return float(brentq(surplus, ambient, above))


def _guards(recording: Recording) -> list[str]:
    cut = [event.wheel for event in recording.events if event.kind == "heat"]
    tripped = [event.wheel for event in recording.events if event.kind == "trip" and "off" in event.effect]
    out = []
    if cut:
        out.append(f"Cut back for heat: {', '.join(dict.fromkeys(cut))} no longer had the full voltage.")
    if tripped:
        trip = recording.scenario.rover.wheel.driver.trip
        stays = trip is None or trip.resume is None
        then = "stays off until it is switched on anew" if stays else "may start again by itself; keep clear"
        out.append(f"Tripped for heat: {', '.join(dict.fromkeys(tripped))}; such a wheel {then}.")
    return out


def _currents(recording: Recording, traces: xr.Dataset) -> list[str]:
    """Tell currents over a rating; those of the traces are what flows in one of them, as it is wound."""
    wheel, motor = recording.scenario.rover.wheel, recording.scenario.rover.wheel.motor
    line = float(np.hypot(traces["current_d"].values, traces["current_q"].values).max(initial=0.0))
    conductor = motor.conductor
    trace = line / (np.sqrt(3.0) if motor.connection == "delta" else 1.0)
    trace /= 1 if conductor is None else conductor.parallel_paths
    out = []
    for title, what, current, rating in (
        ("Wheel controllers", "phase current", line, wheel.driver.current_rating),
        ("Traces", "current in each", trace, wheel.winding.trace_rating),
    ):
        if rating is not None and current > rating:
            out.append(f"{title}: {current:.2g} A peak {what}, rated {rating:g} A.")
    if conductor is not None and wheel.winding.trace_rating is None:
        guide = min(
            winding.trace_current(
                TRACE_RISE, layer.width * finished_thickness(layer, conductor.finish), layer.place == "outer"
            )
            for layer in conductor.layers
        )
        effective = trace / np.sqrt(2.0)
        if effective > guide:
            out.append(
                f"Traces: {effective:.2g} A effective in each; the guide value for {TRACE_RISE:.0f} K in still air is "
                f"{guide:.2g} A (IPC-2221, from memory; a hint, since the traces of a winding warm each other)."
            )
    return out
