"""Runs of the shipped rover for the behaviour tests: a scenario from a few words, run once and kept."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from drivesim import Run, scenario_from_text, simulate

SCENARIOS = Path(__file__).parents[2] / "scenarios"
RADIUS, MASS, GRAVITY = 0.034, 0.62, 9.81  # of the shipped rover
POLE_PAIRS, FLUX, PHASE_RESISTANCE, ON_RESISTANCE = 8, 1.67e-3, 2.4, 0.15
WHEELS = ("front_left", "front_right", "rear_left", "rear_right")
COLD = {"rover.wheel.winding.heat_capacity": "1e9 J/K"}  # windings stay at the air's temperature

BENCH = "{name: bench, length: 8 m, behind: 2 m, width: 3 m}"
SPEED_LOOP, LOCKED, TRIMMED = (
    f"drives/{name}.yaml" for name in ("speed_loop", "locked_frequency", "trimmed_frequency")
)


def text(base: str | None = None, change: dict[str, str] | None = None, **keys: object) -> str:
    """Return a scenario's text: on the rover of the shelf, or on the scenario file ``base``."""
    head = {"base": base} if base else {"name": "behaviour", "rover": "rovers/crawler.yaml"}
    lines = [f"{key}: {value}" for key, value in (head | keys).items()]
    changes = ", ".join(f"{path}: {value}" for path, value in (change or {}).items())
    return "\n".join([*lines, f"change: {{{changes}}}"])


@cache
def run(scenario: str) -> Run:
    """Run a scenario's text; files it names are those of the shelf."""
    return simulate(scenario_from_text(scenario, folder=SCENARIOS))


def forward(speed: float, at: float = 0.2, ramp: float = 0.3) -> str:
    """Return the commands of a straight drive at ``speed`` [m/s]."""
    return f"[{{at: {at!r} s, forward: {speed!r} m/s, ramp: {ramp!r} s}}]"


def pole_slips(result: Run) -> np.ndarray:
    """Return the poles each wheel slipped."""
    return np.array([wheel["pole_slips"] for wheel in result.summary["wheels"].values()])


def mean_over(result: Run, name: str, start: float, end: float = 1e9) -> np.ndarray:
    """Return a trace's mean from ``start`` to ``end`` [s], one number a wheel."""
    return result.traces[name].sel(time=slice(start, end)).mean("time").values


def share_of_way(result: Run) -> float:
    """Return how much of the commanded way the hubs came."""
    traces = result.traces
    return float(traces["progress_speed"].sum() / traces["commanded_progress"].sum())


def falls(works, low: float, high: float, close: float) -> float:
    """Return where ``works`` turns from true (at ``low``) to false (at ``high``), to within ``close``."""
    assert works(low)
    assert not works(high)
    while high - low > close:
        middle = (low + high) / 2
        low, high = (middle, high) if works(middle) else (low, middle)
    return (low + high) / 2
