"""What a verdict says beside its main clause: swinging, drift, a runaway, the fail-safe; imports told and causes."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from drivesim.analysis.causes import at_the_end, past, silences, times
from drivesim.analysis.conditions import AIRBORNE
from drivesim.analysis.dataset import forced_wheels
from drivesim.analysis.told import Told
from drivesim.engine.simulate import Recording

SWING = 1.0  # of the commanded speed, between the slowest and the fastest 2 %
HEARD = 0.9  # of the commanded speed, from which a wheel has heard the command
FAST = 1.5  # of the greatest speed commanded to any wheel, from which a wheel runs away
FALSE = 0.7  # of the true speed; a controller that measures less measures falsely
PUSHES = 0.1  # of the most torque of the run; a wheel that gives less does not run away by itself
LONG, WITH_FAULT = 0.5, 0.2  # s; a runaway that is worth a word, and one with a faulty sensor
HALTED, CREPT = (
    2.0,
    0.05,
)  # s without coming farther that are worth a word; m for each m/s commanded, that is farther
TURN = 20.0  # deg; less is not worth a word
DRIFTED = 1 / 3  # of the track; less is not worth a word


def swinging(told: Told, traces: xr.Dataset) -> str:
    """Return words where the speed swings by more than what is commanded, while the wheels hear the command."""
    most = float(told.forward.max())
    obeyed = np.sign(told.speeds) * traces["commanded_speed"].values  # a driver who backs off does not obey
    heard = (obeyed >= HEARD * np.abs(told.speeds)).all(axis=1)
    steady = (told.forward > 0.99 * most) & heard
    if not steady.any():
        return ""
    low, high = np.percentile(told.progress[steady], [2, 98])
    if high - low < SWING * most:
        return ""
    return f", swinging between {low:z.2f} and {high:z.2f} m/s"


def no_farther(told: Told, time: np.ndarray) -> str:
    """Return words where a rover came no farther for the last ``HALTED`` and more, shake as it may.

    Farther means by more than ``CREPT`` of what is commanded in a second.
    """
    way = np.cumsum(told.progress) * told.interval
    asked = told.forward > 0
    if not asked.any():
        return ""
    room = CREPT * float(told.forward[asked].mean())
    since = int((way > way.max() - room).argmax())
    if asked[since:].sum() * told.interval < HALTED:
        return ""
    return f", came no farther after {time[since]:.1f} s"


def degrees_turned(traces: xr.Dataset) -> float:
    """Return how far the rover turned [deg]."""
    return math.degrees(float(traces["yaw"].values[-1] - traces["yaw"].values[0]))


def degrees_told(recording: Recording, told: Told) -> float:
    """Return the turn [deg] that the script adds up to: the slope of tread speed across the rover."""
    wheels = recording.model.wheels
    across = wheels["y"] - wheels["y"].mean()
    if not across.any():
        return 0.0
    way = told.speeds.sum(axis=0) * told.interval * recording.scenario.rover.wheel.radius
    return math.degrees(float(-(across @ way) / (across @ across)))


def turn_share(recording: Recording, traces: xr.Dataset, told: Told) -> float:
    """Return how much of the turn asked for the rover made; 1 where none worth a word was asked for."""
    asked = degrees_told(recording, told)
    return degrees_turned(traces) / asked if abs(asked) > TURN else 1.0


def drift(recording: Recording, traces: xr.Dataset) -> str:
    """Return how far a rover that was told to go straight came off its line, where that is much of its track."""
    x, y, yaw = (traces[name].values for name in ("x", "y", "yaw"))
    left = math.cos(yaw[0]) * (y[-1] - y[0]) - math.sin(yaw[0]) * (x[-1] - x[0])
    track = float(np.ptp(recording.model.wheels["y"]))
    if track == 0 or abs(left) < DRIFTED * track:
        return ""
    side = "left" if left > 0 else "right"
    return f", drifted {abs(left):.2f} m to the {side} ({abs(left) / track:.1f} of its track)"


def asides(recording: Recording, traces: xr.Dataset) -> list[str]:
    """Return what else is worth a clause of its own."""
    return [words for words in (runaway(recording, traces), fail_safe(recording)) if words]


def runaway(recording: Recording, traces: xr.Dataset) -> str:
    """Return which wheel ran faster than commanded, and long, because its controller measured falsely."""
    true, measured = np.abs(traces["wheel_speed"].values), np.abs(traces["measured_speed"].values)
    fast = true > FAST * np.abs(traces["commanded_speed"].values).max()
    away = fast & ~forced_wheels(recording) & (measured < FALSE * true) & (traces["powered"].values > 0.5)
    away &= traces["condition"].values != AIRBORNE
    torque = traces["motor_torque"].values
    away &= torque * traces["wheel_speed"].values > 0  # others drag a wheel whose motor brakes
    away &= np.abs(torque) > PUSHES * np.abs(torque).max()
    lasts, firsts = longest(away)
    wheel = int(lasts.argmax())
    interval = traces.attrs["recording_interval_s"]
    if lasts[wheel] * interval < WITH_FAULT:
        return ""
    rows = slice(firsts[wheel], firsts[wheel] + lasts[wheel])
    name, start = str(traces["wheel"].values[wheel]), float(traces["time"].values[firsts[wheel]])
    faults = [
        f.event.effect.removeprefix(f"{name}: ").split(",")[0]
        for f in past(recording, start)
        if f.event.wheel == name and (f.end is None or f.end >= start)
    ]
    sensor = "".join(f", its {words}" for words in faults if words.startswith(("sensor", "missed edges")))
    if lasts[wheel] * interval < (WITH_FAULT if sensor else LONG):
        return ""
    return (
        f"{name} ran away from {start:.1f} s on for {lasts[wheel] * interval:.1f} s{sensor}: up to "
        f"{true[rows, wheel].max():.2g} rad/s while its controller measured {np.median(measured[rows, wheel]):.2g}"
    )


def longest(flags: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return how many rows the longest stretch of set flags has in each column, and its first row."""
    rows = np.arange(1, flags.shape[0] + 1)[:, None]
    lasted = rows - np.maximum.accumulate(np.where(flags, 0, rows), axis=0)
    most = lasted.max(axis=0)
    return most, lasted.argmax(axis=0) - most + 1


def fail_safe(recording: Recording) -> str:
    """Return how long the fail-safe kept the rover stopped, where the verdict does not begin with it."""
    silent = silences(recording)
    if not silent or "fail-safe" in at_the_end(recording):
        return ""
    total = sum(end - start for start, end in silent)
    return f"the fail-safe of its radio link stopped it {times(len(silent))}, for {total:.1f} s"
