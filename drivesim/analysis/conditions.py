"""What each wheel was doing, row by row; imports numpy only."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

CONDITIONS = ("gripping", "slipping", "airborne", "stalled", "out_of_step", "dragged")
GRIPPING, SLIPPING, AIRBORNE, STALLED, OUT_OF_STEP, DRAGGED = range(6)

SLIP_ON, SLIP_OFF = 0.20, 0.15  # |slip ratio|
LOAD_SHARE = 0.01  # of the wheel's even share of the weight: less counts as no load
STALL_SHARE, STALL_TIME = 0.05, 0.2  # of the command; s
DRAG_ON, DRAG_OFF = 0.10, 0.05  # of the friction limit, against the command
STEP_MEMORY = 0.3  # s after a pole slip
SHORTEST = 0.05  # s; briefer conditions count as the one before

#: why a wheel is in a condition, where that is not a matter of what limits its drive
WHY = {
    GRIPPING: "under load, with little slip",
    SLIPPING: f"slip beyond {SLIP_ON:.0%}",
    AIRBORNE: "no load on it",
    OUT_OF_STEP: "a pole slipped",
    DRAGGED: "pushed against its command by the other wheels",
}

Flags = NDArray[np.bool_]


def wheel_conditions(
    wheels: np.ndarray, interval: float, even_load: float, forced: Flags
) -> NDArray[np.int8]:
    """Return the condition code of each wheel in each row, shape (rows, wheels).

    ``wheels`` (rows, wheels): recorded wheel rows; ``interval`` [s] between rows; ``even_load`` [N]: weight over
    wheels; ``forced`` (wheels,): which wheels have a field of their own.  Where several hold, the later of this
    list counts: gripping, dragged, slipping, stalled, out of step, airborne.
    """
    command, speed = wheels["commanded_speed"], wheels["wheel_speed"]
    sign = np.sign(command)
    loaded = wheels["normal_load"] > LOAD_SHARE * even_load
    limit = np.maximum(wheels["friction_limit"], 1e-9)
    drag = -sign * wheels["drive_force"] / limit * (sign * wheels["hub_speed"] > 0)
    dragged = _held(drag > DRAG_ON, drag < DRAG_OFF)
    slipping = _held(np.abs(wheels["slip_ratio"]) > SLIP_ON, np.abs(wheels["slip_ratio"]) < SLIP_OFF)
    still = (command != 0) & (np.abs(speed) < STALL_SHARE * np.abs(command))
    stalled = _lasting(still, max(1, round(STALL_TIME / interval)))
    slips = np.diff(wheels["pole_slips"], axis=0, prepend=0.0) > 1e-9
    out_of_step = _remembered(slips, round(STEP_MEMORY / interval)) & forced

    codes = np.full(command.shape, GRIPPING, dtype=np.int8)
    codes[dragged] = DRAGGED
    codes[slipping] = SLIPPING
    codes[stalled] = STALLED
    codes[out_of_step] = OUT_OF_STEP
    codes[~loaded] = AIRBORNE
    return _without_brief(codes, max(1, round(SHORTEST / interval)))


def condition_cause(code: int, limits: dict[str, float]) -> str:
    """Return why a wheel is in a condition.

    ``limits``: shares of that time for which it was powered, voltage_limited and current_limited.
    """
    if code != STALLED:
        return WHY[code]
    if limits["powered"] < 0.5:
        return "no power"
    if limits["current_limited"] > 0.5:
        return "held at its current limit"
    return "held at full voltage" if limits["voltage_limited"] > 0.5 else "held below full voltage"


def _held(on: Flags, off: Flags) -> Flags:
    """Return a flag that is set where ``on``, cleared where ``off``, and keeps its value between."""
    rows = np.arange(on.shape[0])[:, None]
    last_on = np.maximum.accumulate(np.where(on, rows, -1), axis=0)
    last_off = np.maximum.accumulate(np.where(off, rows, -1), axis=0)
    held: Flags = last_on > last_off
    return held


def _runs(column: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return first rows and one-past-last rows of the stretches of equal value."""
    edges = np.flatnonzero(np.diff(column)) + 1
    return np.concatenate([[0], edges]), np.concatenate([edges, [len(column)]])


def _lasting(flags: Flags, least: int) -> Flags:
    """Keep only the stretches of at least ``least`` rows."""
    out = flags.copy()
    for j in range(flags.shape[1]):
        for first, last in zip(*_runs(flags[:, j].astype(np.int8)), strict=True):
            if flags[first, j] and last - first < least:
                out[first:last, j] = False
    return out


def _remembered(flags: Flags, rows: int) -> Flags:
    """Stretch each set row over the next ``rows`` rows."""
    index = np.arange(flags.shape[0])[:, None]
    last = np.maximum.accumulate(np.where(flags, index, -rows - 1), axis=0)
    out: Flags = index - last <= rows
    return out


def _without_brief(codes: NDArray[np.int8], least: int) -> NDArray[np.int8]:
    """Give stretches shorter than ``least`` rows the condition before them."""
    out = codes.copy()
    for j in range(codes.shape[1]):
        for first, last in zip(*_runs(codes[:, j]), strict=True):
            if first > 0 and last - first < least:
                out[first:last, j] = out[first - 1, j]
    return out
