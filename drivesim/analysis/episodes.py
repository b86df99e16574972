"""When and where the rover was stuck, and which wheel held it and why; imports conditions."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import xarray as xr

from drivesim.analysis.conditions import AIRBORNE, CONDITIONS, OUT_OF_STEP, SLIPPING, STALLED
from drivesim.engine.build import STUCK_AFTER
from drivesim.engine.ground_build import GroundArrays

WINDOW = 1.0  # s at the end of a run in which a reason is looked for
WALL = 0.25  # part of the ground's normal against the way told from which it counts as an obstacle
ASTRAY = 0.9  # mean cos(angle error); turning, exact sectors give 3/π = 0.95
MOSTLY = 0.5  # share of the window from which a wheel counts as doing something


@dataclass(frozen=True)
class Stuck:
    """One time of being stuck: from, to [s], where the rover stood [m]."""

    start: float
    end: float
    x: float

    @property
    def length(self) -> float:
        """How long it lasted [s]."""
        return self.end - self.start


def stuck_episodes(traces: xr.Dataset) -> list[Stuck]:
    """Return the times of being stuck; each counts from when the rover stopped coming forward."""
    interval = traces.attrs["recording_interval_s"]
    x = traces["x"].values
    return [
        Stuck(start, end, float(x[row]))
        for start, end, row in _stretches(traces["stuck"].values, traces["time"].values, interval)
    ]


def time_stuck(stuck: np.ndarray, time: np.ndarray, interval: float) -> float:
    """Return for how long the rover was stuck in all [s]; rows as ``stuck_episodes`` has them."""
    return sum(end - start for start, end, _ in _stretches(stuck, time, interval))


def _stretches(stuck: np.ndarray, time: np.ndarray, interval: float) -> list[tuple[float, float, int]]:
    """Return from when to when [s] the rover was stuck each time, and the first row of it."""
    edges = np.diff(np.concatenate([[0], (stuck > 0.5).astype(int), [0]]))
    firsts, lasts = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1
    half = interval / 2
    return [
        (max(0.0, float(time[i]) - half - STUCK_AFTER), float(time[j]) + half, int(i))
        for i, j in zip(firsts, lasts, strict=True)
    ]


def wheel_state(traces: xr.Dataset, wheel: str, start: float, end: float) -> dict[str, float]:
    """Return what ``wheel`` did from ``start`` to ``end`` [s]: shares of each condition, and means in channels' units.

    Where rows are farther apart than that, the nearest one before the end of the run tells.  ``rise``: how much the
    ground leans against the way the wheel is told to go; ``foremost_x`` [m]: the farthest it came that way;
    ``cut_back``: 1 where its controller holds voltage back for heat.
    """
    time = traces["time"].values
    first = min(int(np.searchsorted(time, start)), len(time) - 1)
    last = max(first + 1, int(np.searchsorted(time, end, "right")))
    part = traces.sel(wheel=wheel).isel(time=slice(first, last))
    codes = part["condition"].values
    state = {name: float((codes == code).mean()) for code, name in enumerate(CONDITIONS)}
    for name in (
        "voltage_limited",
        "current_limited",
        "powered",
        "sinkage",
        "normal_load",
        "hub_x",
        "winding_temperature",
        "motor_torque",
        "wheel_speed",
        "commanded_speed",
    ):
        state[name] = float(part[name].values.mean())
    along = math.cos(float(traces["yaw"].values[first])) * (-1.0 if state["commanded_speed"] < 0 else 1.0)
    state["rise"] = -along * float(part["normal_x"].values.mean())
    state["foremost_x"] = float(part["hub_x"].values.max() if along >= 0 else part["hub_x"].values.min())
    state["cut_back"] = float(
        state["winding_temperature"] > traces.attrs.get("cut_back_start_degC", math.inf)
    )
    state["commutation"] = float(np.cos(part["angle_error"].values).mean())
    state["friction_use"] = float(
        np.abs(part["drive_force"].values).sum() / max(part["friction_limit"].values.sum(), 1e-9)
    )
    slips = part["pole_slips"].values
    state["pole_slips_per_second"] = float(slips[-1] - slips[0]) / max(end - start, 1e-3)
    return state


@dataclass(frozen=True)
class Reason:
    """Which wheel held the rover, in words, by what kind of limit, and what another wheel did meanwhile."""

    wheel: str
    limit: str
    words: str


def reason(traces: xr.Dataset, ground: GroundArrays, start: float, end: float) -> Reason:
    """Return which wheel held the rover in this time and why.

    Limits: voltage, heat (what a cut-back leaves of the voltage), current, friction, soil, pull_out, commutation
    (currents in the wrong phases), off (no power), drive (it gave less than it could).
    """
    driven = traces["wheel"].values[traces["powered"].values.max(axis=0) > 0]
    if driven.size == 0:
        return Reason(str(traces["wheel"].values[0]), "off", "no wheel ever had power")
    states = {str(w): wheel_state(traces, str(w), start, end) for w in driven}
    limiting = max(states, key=lambda name: _burden(states[name]))
    limit, doing = _doing(states[limiting], ground)
    words = f"{limiting} {doing}"
    others = {name: s for name, s in states.items() if name != limiting}
    idle = max(others, key=lambda name: _idleness(others[name]), default="")
    if idle and _idleness(others[idle]) > MOSTLY:
        words += f" while {idle} {_idling(others[idle])}"
        word = ground.word_at(others[idle]["foremost_x"])
        if word and not ground.word_at(states[limiting]["hub_x"]):
            words += f" at {word}"
    return Reason(limiting, limit, words)


def _burden(state: dict[str, float]) -> float:
    """Return how much a wheel looks like the one that holds the rover: loaded, held, against something."""
    held = max(state[CONDITIONS[STALLED]], state[CONDITIONS[OUT_OF_STEP]])
    return (
        3 * held
        + held * (state["commutation"] < ASTRAY)
        + 2 * state[CONDITIONS[SLIPPING]] * (held < MOSTLY)
        + max(0.0, state["rise"])
        + 0.05 * abs(state["motor_torque"]) / 0.01
        - 5 * state[CONDITIONS[AIRBORNE]]
    )


def _idleness(state: dict[str, float]) -> float:
    spinning = abs(state["wheel_speed"]) > 0.3 * abs(state["commanded_speed"])
    return max(1.1 * state[CONDITIONS[AIRBORNE]], state[CONDITIONS[SLIPPING]]) * spinning


def _against(state: dict[str, float], ground: GroundArrays) -> str:
    word = ground.word_at(state["hub_x"])
    if state["rise"] > WALL:
        return f" against {word or 'the rise ahead'}"
    return f" on {word}" if word else ""


def _doing(state: dict[str, float], ground: GroundArrays) -> tuple[str, str]:
    where, torque = _against(state, ground), f"{abs(state['motor_torque']) * 1e3:.3g} mN·m"
    full = ("voltage", "at full bus voltage")
    if state["cut_back"]:
        full = ("heat", "at all that its cut-back leaves of the voltage")
    stalled, grip = state[CONDITIONS[STALLED]] > MOSTLY, "friction"
    at_limit = "its friction limit"
    if state["sinkage"] > 0:
        grip, at_limit = "soil", f"the soil's limit, sunk {state['sinkage'] * 1e3:.2g} mm"
    if state["powered"] < MOSTLY:
        return "off", f"had no power{where}"
    if state[CONDITIONS[OUT_OF_STEP]] > MOSTLY:
        slipped = f"{state['pole_slips_per_second']:.1f} poles slipped a second"
        return "pull_out", f"fell out of step{where} ({slipped})"
    if state["commutation"] < ASTRAY:
        limit = f" {full[1]}" if state["voltage_limited"] > MOSTLY else ""
        limit = " at its current limit" if state["current_limited"] > MOSTLY else limit
        part = f"its rotor angle so far off that {max(0.0, state['commutation']):.0%} of the torque was left"
        return "commutation", f"{'stalled' if stalled else 'pushed'}{where}{limit}, {part}"
    if state["current_limited"] > MOSTLY:
        return "current", f"{'stalled' if stalled else 'pushed'}{where} at its current limit, {torque}"
    if stalled:
        if state["voltage_limited"] > MOSTLY:
            return full[0], f"stalled{where} {full[1]}"
        return "drive", f"stalled{where} at {torque}, below full voltage"
    if state[CONDITIONS[SLIPPING]] > MOSTLY:
        return grip, f"spun{where} at {at_limit}"
    if state["voltage_limited"] > MOSTLY:
        return full[0], f"pushed{where} {full[1]}, {torque}"
    if state["friction_use"] > 0.9:
        return grip, f"pushed{where} at {at_limit}"
    return "drive", f"hesitated{where}: its drive gave {torque} on average"


def _idling(state: dict[str, float]) -> str:
    if state[CONDITIONS[AIRBORNE]] > MOSTLY:
        return "turned free in the air"
    return f"spun with {state['normal_load']:.2g} N on it"
