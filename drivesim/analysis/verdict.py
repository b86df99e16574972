"""The verdict: one sentence that says whether the rover moved, and if not, where, which wheel and why."""

from __future__ import annotations

import math
import re

import numpy as np
import xarray as xr

from drivesim.analysis.causes import at_the_end, before, brown_out, resets, times
from drivesim.analysis.episodes import MOSTLY, WINDOW, Reason, Stuck, reason, stuck_episodes
from drivesim.engine.ground_build import GroundArrays
from drivesim.engine.simulate import Recording

BUILD_UP = 0.5  # s; a loop needs a moment until it gives all it can
TURN = 20.0  # deg; less is not worth a word
SWING = 1.0  # of the commanded speed, between the slowest and the fastest 2 %
RAN_AHEAD = 1.25  # share of the commanded way from which it does not obey any more
KEPT_UP = 0.8  # share of the commanded way from which a rover counts as keeping up


def distance(traces: xr.Dataset) -> float:
    """Return how far the rover came along its own forward axis [m] (backing off counts backwards)."""
    return float(traces["speed"].values.sum() * traces.attrs["recording_interval_s"])


def commanded_distance(traces: xr.Dataset) -> float:
    """Return the way [m] that the wheels' commands add up to."""
    return float(traces["commanded_progress"].values.sum() * traces.attrs["recording_interval_s"])


def progress_distance(traces: xr.Dataset) -> float:
    """Return the hubs' mean way [m] along their commands: also counts turning on the spot."""
    return float(traces["progress_speed"].values.sum() * traces.attrs["recording_interval_s"])


def verdict(recording: Recording, traces: xr.Dataset) -> str:
    """Return the verdict in one sentence."""
    words = _cut_back(_main_clause(recording, traces), recording, traces)
    dark = brown_out(recording, traces)
    if len(resets(recording)) > 1:
        return f"stuttered in a brown-out: {dark}; {words}"
    stopped = at_the_end(recording)
    words = f"{stopped}; {words}" if stopped else words
    return f"{words}; brown-out: {dark}" if dark else words


def _cut_back(words: str, recording: Recording, traces: xr.Dataset) -> str:
    """Return the words without "full bus voltage" for wheels whose controllers hold voltage back for heat."""
    cut_back = recording.scenario.rover.wheel.driver.cut_back
    if cut_back is None:
        return words
    last = traces["winding_temperature"].isel(time=-1)
    for wheel in last["wheel"].values[last.values > cut_back.start]:
        words = re.sub(
            rf"({wheel} [^;,(]*) at full bus voltage",
            r"\1 at all that its cut-back leaves of the voltage",
            words,
        )
    return words


def what_held(recording: Recording, traces: xr.Dataset) -> Reason | None:
    """Return what held the rover longest, or at the end where it lagged behind; None where it did as told."""
    end, episodes = recording.end_time, stuck_episodes(traces)
    if recording.ending == "not_finite" or commanded_distance(traces) == 0:
        return None
    if episodes:
        return _reason(max(episodes, key=lambda e: e.end - e.start), traces, recording.model.ground)
    if progress_distance(traces) < KEPT_UP * commanded_distance(traces):
        return reason(traces, recording.model.ground, end - WINDOW, end)
    return None


def _main_clause(recording: Recording, traces: xr.Dataset) -> str:
    ground, end = recording.model.ground, recording.end_time
    episodes = stuck_episodes(traces)
    after = before(recording, end)
    came = f"{distance(traces):z.2f} m in {end:.1f} s"
    if recording.ending == "not_finite":
        return f"no result: the numbers ran away at {end:.3f} s; try a shorter step"
    if recording.ending == "overturned":
        return f"overturned at {_where(traces)} after {end:.1f} s: {_tipping(traces, ground)}{after}"
    if recording.ending == "collapsed":
        return f"supply collapsed after {end:.1f} s at {_where(traces)}: {_supply(traces)}{after}"
    if recording.ending == "left_ground":
        return _left_ground(traces, ground, end) + _interruptions(episodes, traces, ground) + after
    commanded = commanded_distance(traces)
    if commanded == 0:
        return f"stood as told for {end:.1f} s and moved {distance(traces) * 1e3:z.0f} mm"
    last = episodes[-1] if episodes else None
    if last is not None and last.end > end - 2 * traces.attrs["recording_interval_s"]:
        why = _reason(last, traces, ground)
        after = before(
            recording, end if why.limit == "off" else last.start
        )  # what came later did not stop it
        return f"stuck at {_place(last, traces)}: {why.words}{after}"
    share = progress_distance(traces) / commanded
    turned, told = _degrees_turned(traces), _degrees_told(recording, traces)
    turn_share = turned / told if abs(told) > TURN else 1.0
    if abs(turned) > TURN or abs(told) > TURN:
        came += f", turned {turned:z.0f} of {told:z.0f} deg"
    tail = _swinging(traces) + _interruptions(episodes, traces, ground)
    if share < KEPT_UP or turn_share < KEPT_UP:
        moved = "fell behind" if share < KEPT_UP else "did not turn as told"
        if not episodes:
            tail += f"; {reason(traces, ground, end - WINDOW, end).words} at the end"
    else:
        moved = "ran ahead of its command" if share >= RAN_AHEAD else "moved"
    return f"{moved}: {came}, {share:.0%} of the way commanded{tail}{after}"


def _degrees_turned(traces: xr.Dataset) -> float:
    return math.degrees(float(traces["yaw"].values[-1] - traces["yaw"].values[0]))


def _degrees_told(recording: Recording, traces: xr.Dataset) -> float:
    """Return the turn [deg] that the wheels' commands add up to: the slope of tread speed across the rover."""
    wheels = recording.model.wheels
    across = wheels["y"] - wheels["y"].mean()
    if not across.any():
        return 0.0
    way = (
        traces["commanded_speed"].values.sum(axis=0)
        * traces.attrs["recording_interval_s"]
        * recording.scenario.rover.wheel.radius
    )
    return math.degrees(float(-(across @ way) / (across @ across)))


def _swinging(traces: xr.Dataset) -> str:
    """Return words where the speed swings by more than what is commanded."""
    told = traces["commanded_progress"].values
    steady = told > 0.99 * told.max()
    low, high = np.percentile(traces["progress_speed"].values[steady], [2, 98])
    if high - low < SWING * told.max():
        return ""
    return f", swinging between {low:z.2f} and {high:z.2f} m/s"


def _left_ground(traces: xr.Dataset, ground: GroundArrays, end: float) -> str:
    """Return over which edge of the ground a wheel went, and whether that is where it was told to go."""
    x, y = traces["hub_x"].values[-1], traces["hub_y"].values[-1]
    room = {
        "end": float(ground.x_axis[-1] - x.max()),
        "start": float(x.min() - ground.x_axis[0]),
        "left side": float(ground.y_axis[-1] - y.max()),
        "right side": float(y.min() - ground.y_axis[0]),
    }
    edge = min(room, key=room.__getitem__)
    if edge in ("end", "start") and progress_distance(traces) > 0:
        ahead = progress_distance(traces) / max(commanded_distance(traces), 1e-9) >= RAN_AHEAD
        faster = ", faster than commanded" if ahead else ""
        return f"came through: reached the {edge} of the ground after {end:.1f} s{faster}{_swinging(traces)}"
    told = "" if commanded_distance(traces) else " without a command"
    way = " backwards" if progress_distance(traces) < 0 else ""
    return f"went{way} off the {edge} of the ground at {_where(traces)} after {end:.1f} s{told}"


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
    return f"{traces['x'].values[-1]:z.2f} m"


def _place(episode: Stuck, traces: xr.Dataset) -> str:
    """Return where a rover is stuck: how far it came, or that it is still where it started."""
    start = float(traces["x"].values[0])
    if abs(episode.x - start) < 0.01:
        turned = _degrees_turned(traces)
        return f"its start (turned {turned:.0f} deg)" if abs(turned) > 1 else "its start"
    return f"{episode.x:z.2f} m"


def _reason(episode: Stuck, traces: xr.Dataset, ground: GroundArrays) -> Reason:
    """Return what held the rover, from the later half of an episode: by then a loop gives all it can."""
    middle = (episode.start + episode.end) / 2
    why = reason(traces, ground, min(max(episode.start + BUILD_UP, middle), episode.end), episode.end)
    if why.limit != "off":
        return why
    off = traces["time"].values[traces["powered"].sel(wheel=why.wheel).values < MOSTLY]
    lost = float(off[off > episode.start][0])
    if lost < episode.start + BUILD_UP:
        return why
    first = reason(traces, ground, lost - BUILD_UP, lost)
    return Reason(why.wheel, why.limit, f"{first.words}, then {why.words}")


def _interruptions(episodes: list[Stuck], traces: xr.Dataset, ground: GroundArrays) -> str:
    if not episodes:
        return ""
    longest = max(episodes, key=lambda e: e.end - e.start)
    total = sum(e.end - e.start for e in episodes)
    return (
        f", but stuck {times(len(episodes))} for {total:.1f} s (longest at {longest.x:z.2f} m: "
        f"{_reason(longest, traces, ground).words})"
    )


def _supply(traces: xr.Dataset) -> str:
    current, voltage = traces["battery_current"].values, traces["bus_voltage"].values
    return f"{np.max(current[-5:]):.2g} A were asked of it and the bus fell to {voltage[-1]:.2g} V"
