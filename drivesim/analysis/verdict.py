"""The verdict: in a few words, whether the rover moved, and if not, when, where, which wheel and why."""

from __future__ import annotations

import numpy as np
import xarray as xr

from drivesim.analysis.asides import (
    TURN,
    asides,
    degrees_told,
    degrees_turned,
    drift,
    no_farther,
    swinging,
    turn_share,
)
from drivesim.analysis.causes import at_the_end, before, brown_out, loose_times, resets, times
from drivesim.analysis.episodes import MOSTLY, WINDOW, Reason, Stuck, reason
from drivesim.analysis.told import Told, distance
from drivesim.engine.ground_build import GroundArrays
from drivesim.engine.simulate import Recording

BUILD_UP = 0.5  # s; a loop needs a moment until it gives all it can
PUSH = 0.2  # s at full voltage that show that a loop has come to it
RAN_AHEAD = 1.25  # share of the commanded way from which it does not obey any more
KEPT_UP = 0.8  # share of the commanded way from which a rover counts as keeping up


def _came(traces: xr.Dataset) -> float:
    return distance(traces["speed"].values, traces.attrs["recording_interval_s"])


def verdict(recording: Recording, traces: xr.Dataset, script: Told, episodes: list[Stuck]) -> str:
    """Return the verdict: the main clause, and at most three more."""
    words = _main_clause(recording, traces, script, episodes)
    if recording.ending == "not_finite":
        return words
    words = "; ".join([words, *asides(recording, traces)])
    dark = brown_out(recording, traces)
    if len(resets(recording)) > 1:
        return f"stuttered in a brown-out: {dark}; {words}"
    stopped = at_the_end(recording)
    words = f"{stopped}; {words}" if stopped else words
    return f"{words}; brown-out: {dark}" if dark else words


def what_held(recording: Recording, traces: xr.Dataset, script: Told, episodes: list[Stuck]) -> Reason | None:
    """Return what held the rover longest, or at the end where it lagged behind; None where it did as told."""
    end = recording.end_time
    if recording.ending == "not_finite" or script.way == 0:
        return None
    if episodes:
        return held(max(episodes, key=lambda e: e.length), traces, recording.model.ground)
    if min(script.share, turn_share(recording, traces, script)) < KEPT_UP:
        start = lagged_from(script, end)
        return reason(traces, recording.model.ground, start, start + WINDOW)
    return None


def lagged_from(script: Told, end: float) -> float:
    """Return from when on [s] the rover lagged: the last second before ``end`` [s], or if it did not then, the worst.

    A rover that came far enough, but did not turn, is looked at in that last second too.
    """
    rows = max(1, round(WINDOW / script.interval))
    behind = np.convolve(script.forward - script.progress, np.ones(rows), "valid")
    asked = np.convolve(script.forward, np.ones(rows), "valid")
    if script.share >= KEPT_UP or behind[-1] > (1.0 - KEPT_UP) * asked[-1]:
        return end - WINDOW
    return min(float(behind.argmax()) * script.interval, end - WINDOW)


def _main_clause(recording: Recording, traces: xr.Dataset, script: Told, episodes: list[Stuck]) -> str:
    ground, end = recording.model.ground, recording.end_time
    after = before(recording, end)
    if recording.ending == "not_finite":
        return f"no result: the numbers ran away at {end:.3f} s; try a shorter step"
    if recording.ending == "overturned":
        return f"overturned at {_where(traces)} after {end:.1f} s: {_tipping(traces, ground)}{after}"
    if recording.ending == "collapsed":
        return f"supply collapsed after {end:.1f} s at {_where(traces)}: {_supply(recording, traces)}{after}"
    if recording.ending == "left_ground":
        return _left_ground(traces, ground, script, end) + _interruptions(episodes, traces, ground) + after
    if script.way == 0:
        return f"stood as told for {end:.1f} s and moved {_came(traces) * 1e3:z.0f} mm"
    last = episodes[-1] if episodes else None
    if last is not None and last.end > end - 2 * traces.attrs["recording_interval_s"]:
        why = held(last, traces, ground)
        # what came later did not stop it
        after = before(recording, end if why.limit == "off" else last.start)
        longer = max(episodes, key=lambda e: e.length)
        earlier = (
            f"; before that stuck for {longer.length:.1f} s at x = {longer.x:z.2f} m: "
            f"{held(longer, traces, ground).words}"
            if longer is not last
            else ""
        )
        return f"stuck at {_place(last, traces)} after {last.start:.1f} s: {why.words}{after}{earlier}"
    return _as_told(recording, traces, script, episodes) + after


def _as_told(recording: Recording, traces: xr.Dataset, script: Told, episodes: list[Stuck]) -> str:
    """Return how far the rover came of what it was told, when it ran to the end of the time and is not stuck there."""
    ground, end = recording.model.ground, recording.end_time
    came = f"{_came(traces):z.2f} m in {end:.1f} s"
    turned, asked = degrees_turned(traces), degrees_told(recording, script)
    turned_enough = turn_share(recording, traces, script) >= KEPT_UP
    if abs(turned) > TURN or abs(asked) > TURN:
        came += f", turned {turned:z.0f} of {asked:z.0f} deg"
    off_line = drift(recording, traces) if max(abs(asked), abs(turned)) <= TURN else ""
    tail = off_line + swinging(script, traces) + _interruptions(episodes, traces, ground)
    if script.share < KEPT_UP or not turned_enough:
        moved = "fell behind" if script.share < KEPT_UP else "did not turn as told"
        tail = (no_farther(script, traces["time"].values) if script.share < KEPT_UP else "") + tail
        if not episodes and not at_the_end(recording) and not resets(recording):
            start = lagged_from(script, end)
            when = "at the end" if start >= end - WINDOW else f"at {start:.1f} s"
            tail += f"; {reason(traces, ground, start, start + WINDOW).words} {when}"
    else:
        moved = "ran ahead of its command" if script.share >= RAN_AHEAD else "moved"
    return f"{moved}: {came}, {script.share:z.0%} of the way commanded{tail}"


def _left_ground(traces: xr.Dataset, ground: GroundArrays, script: Told, end: float) -> str:
    """Return over which edge of the ground a wheel went, and whether that is where it was told to go."""
    x, y = traces["hub_x"].values[-1], traces["hub_y"].values[-1]
    room = {
        "end": float(ground.x_axis[-1] - x.max()),
        "start": float(x.min() - ground.x_axis[0]),
        "left side": float(ground.y_axis[-1] - y.max()),
        "right side": float(y.min() - ground.y_axis[0]),
    }
    edge = min(room, key=room.__getitem__)
    if edge in ("end", "start") and script.came > 0:
        faster = ", faster than commanded" if script.came >= RAN_AHEAD * script.way else ""
        return f"came through: reached the {edge} of the ground after {end:.1f} s{faster}{swinging(script, traces)}"
    unasked = "" if script.way else " without a command"
    way = " backwards" if script.came < 0 else ""
    return f"went{way} off the {edge} of the ground at {_where(traces)} after {end:.1f} s{unasked}"


def _tipping(traces: xr.Dataset, ground: GroundArrays) -> str:
    """Return which way the rover went over, and on what."""
    roll, pitch = float(traces["roll"].values[-1]), float(traces["pitch"].values[-1])
    if abs(pitch) > abs(roll):
        way = "forwards" if pitch > 0 else "backwards"
    else:
        way = "to its right" if roll > 0 else "to its left"
    on = ground.word_at(float(traces["x"].values[-1]))
    return f"it tipped over {way}{f' on {on}' if on else ''}"


def _where(traces: xr.Dataset) -> str:
    return f"x = {traces['x'].values[-1]:z.2f} m"


def _place(episode: Stuck, traces: xr.Dataset) -> str:
    """Return where a rover is stuck: the place on the ground, how far it had come where that differs, or its start."""
    start = float(traces["x"].values[0])
    if abs(episode.x - start) < 0.01:
        turned = degrees_turned(traces)
        return f"its start (turned {turned:.0f} deg)" if abs(turned) > 1 else "its start"
    came = _came(traces.isel(time=traces["time"].values < episode.start))
    way = f" ({came:z.2f} m from its start)" if abs(came - episode.x) > 0.02 else ""
    return f"x = {episode.x:z.2f} m{way}"


def held(episode: Stuck, traces: xr.Dataset, ground: GroundArrays) -> Reason:
    """Return what held the rover, from the later half of an episode: by then a loop gives all it can.

    A driver may have backed off before that: where a loop gave less, the time at which it was nearest to full voltage
    tells.
    """
    middle = (episode.start + episode.end) / 2
    why = reason(traces, ground, min(max(episode.start + BUILD_UP, middle), episode.end), episode.end)
    if why.limit == "drive":
        start, end = hardest_push(episode, traces)
        harder = reason(traces, ground, start, end)
        return harder if harder.limit in ("voltage", "heat") else why
    if why.limit != "off":
        return why
    off = traces["time"].values[traces["powered"].sel(wheel=why.wheel).values < MOSTLY]
    lost = float(off[off > episode.start][0])
    if lost < episode.start + BUILD_UP:
        return why
    first = reason(traces, ground, lost - BUILD_UP, lost)
    return Reason(why.wheel, why.limit, f"{first.words}, then {why.words}")


def hardest_push(episode: Stuck, traces: xr.Dataset) -> tuple[float, float]:
    """Return from when to when [s] of an episode, for ``PUSH`` at most, a wheel was held most by the voltage."""
    time = traces["time"].values
    first, last = np.searchsorted(time, (episode.start, episode.end))
    limited = traces["voltage_limited"].values[first:last]
    rows = min(max(1, round(PUSH / traces.attrs["recording_interval_s"])), len(limited))
    pushed = np.lib.stride_tricks.sliding_window_view(limited, rows, axis=0).sum(axis=-1).max(axis=1)
    begin = int(first + pushed.argmax())
    return float(time[begin]), float(time[begin + rows - 1])


def _interruptions(episodes: list[Stuck], traces: xr.Dataset, ground: GroundArrays) -> str:
    if not episodes:
        return ""
    longest, total = max(episodes, key=lambda e: e.length), sum(e.length for e in episodes)
    return (
        f", but stuck {times(len(episodes))} for {total:.1f} s (longest at x = {longest.x:z.2f} m: "
        f"{held(longest, traces, ground).words})"
    )


def _supply(recording: Recording, traces: xr.Dataset) -> str:
    loose = loose_times(recording)
    if loose and loose[-1][0] < recording.end_time <= loose[-1][1]:
        return "the battery was disconnected, and the bus lived on its capacitance until it was empty"
    current, voltage = traces["battery_current"].values, traces["bus_voltage"].values
    return f"{np.max(current[-5:]):.2g} A were asked of it and the bus fell to {voltage[-1]:.2g} V"
