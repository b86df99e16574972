"""Small real runs for the analysis tests, and hand-made traces."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import xarray as xr

from drivesim import Run, scenario_from_text
from drivesim.analysis.run import simulate
from drivesim.engine.channels import WHEEL_LOG
from drivesim.engine.simulate import Recording
from drivesim.engine.simulate import simulate as record

SCENARIOS = Path(__file__).parents[2] / "scenarios"
WHEELS = ("front_left", "front_right", "rear_left", "rear_right")
SPEED_LOOP, LOCKED = "drives/speed_loop.yaml", "drives/locked_frequency.yaml"
AHEAD = "[{at: 0.2 s, forward: 0.15 m/s, ramp: 0.3 s}]"
BENCH = "{length: 3 m, behind: 1 m}"
KERB = "{length: 1.5 m, features: [{kind: step, at: 0.3 m, height: 30 mm, label: the kerb}]}"
LOCKED_BEARINGS = {f"rover.wheels.{side}.extra_drag": "1 N*m" for side in WHEELS}
GRIP = {"rover.wheel.tyre.friction": "2", "rover.wheel.tyre.sliding_friction": "2"}


def text(
    drive: str = SPEED_LOOP,
    ground: str = BENCH,
    commands: str = AHEAD,
    duration: float = 3,
    start: str = "{}",
    **change: str,
) -> str:
    """Return a scenario of the shipped rover, with ``change`` carried out."""
    changes = ", ".join(f"{path}: {value}" for path, value in change.items())
    return (
        f"name: small run\nrover: rovers/crawler.yaml\ndrive: {drive}\nground: {ground}\n"
        f"commands: {commands}\nstart: {start}\nduration: {duration} s\nchange: {{{changes}}}\n"
    )


def slope(degrees: float, start: float = -0.9) -> str:
    """Return a ground that climbs from ``start`` [m] on; the default lies behind the rover."""
    return (
        "{length: 3 m, behind: 1 m, features: "
        f"[{{kind: ramp, start: {start} m, end: 3 m, slope: {degrees} deg, label: the ramp}}]}}"
    )


@cache
def run(scenario: str, step: float | None = None) -> Run:
    """Run a scenario's text once."""
    return simulate(scenario_from_text(scenario, folder=SCENARIOS), step=step)


@cache
def recording(scenario: str) -> Recording:
    """Record a scenario's text once, without its meaning."""
    return record(scenario_from_text(scenario, folder=SCENARIOS))


def wheel_rows(rows: int, **values: object) -> np.ndarray:
    """Return recorded rows of one wheel that rolls at 4 rad/s under 1.5 N, with ``values`` laid over."""
    out = np.zeros((rows, 1), WHEEL_LOG)
    happy = {
        "commanded_speed": 4.0,
        "wheel_speed": 4.0,
        "normal_load": 1.5,
        "friction_limit": 1.2,
        "hub_speed": 0.136,
    }
    for name, value in (happy | values).items():
        out[name] = np.broadcast_to(np.asarray(value, dtype=float), rows)[:, None]
    return out


def stuck_traces(flags: list[float], x: list[float], interval: float = 0.1) -> xr.Dataset:
    """Return traces that hold only what the stuck episodes are found from."""
    time = (np.arange(len(flags)) + 0.5) * interval
    return xr.Dataset(
        {"stuck": ("time", np.array(flags)), "x": ("time", np.array(x))},
        coords={"time": time},
        attrs={"recording_interval_s": interval},
    )
