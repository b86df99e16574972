"""Records of single wheels for tests of the drive: plain parameters, then what a test changes."""

from __future__ import annotations

import math

import numpy as np

from drivesim.drive import controller
from drivesim.drive.hall import edge_angle
from drivesim.engine import records

POLES, DT, LIMIT = 4, 1e-4, 4.0  # pole pairs, step [s], greatest amplitude [V]
CALM = np.full(64, 0.5), np.zeros(64)  # draws by which nothing happens


def parameters(count: int = 1, **changed) -> np.ndarray:
    """Return WHEEL records of self-commutated wheels with ideal sensors; ``changed`` names fields."""
    p = records.as_record_array(np.zeros(count, records.WHEEL))
    sensors = changed.get("sensors", controller.IDEAL_SENSOR)
    plain = {
        "driven": 1, "pole_pairs": POLES, "resistance": 1.0, "inductance": 1e-5, "flux_linkage": 2e-3,
        "sample_ticks": 20.0, "sample_time": 20 * DT, "slew": 1e9, "braking": 1, "sensor_timeout": 0.25,
        "cut_back_start": math.inf, "cut_back_end": math.inf, "current_limit": math.inf, "trim_limit": 0.5,
        "edge_spacing": edge_angle(POLES, max(1, sensors)),
    }  # fmt: skip
    for name, value in (plain | changed).items():
        p[name] = value
    return p


def states(count: int = 1, **changed) -> np.ndarray:
    """Return WHEEL_STATE records of powered wheels at rest in the middle of sector 0 (edge_angle aside)."""
    w = records.as_record_array(np.zeros(count, records.WHEEL_STATE))
    plain = {"powered": records.ON, "derate": 1.0, "edge_time": -1.0, "edge_direction": 1.0}
    for name, value in (plain | changed).items():
        w[name] = value
    return w


def wheel(changed: dict | None = None, **start):
    """Return parameters and state of one wheel whose controller has read the sensors' levels."""
    p, w = parameters(**(changed or {}))[0], states(**start)[0]
    w.edge_index = math.floor(w.angle / p.edge_spacing)
    w.edge_angle = (w.edge_index + 0.5) * p.edge_spacing
    return p, w


def turning(p, w, angle_at, duration, draws=CALM):
    """Turn the wheel along ``angle_at(time)`` [rad] and yield the time after each step."""
    for tick in range(1, round(duration / DT) + 1):
        before, w.angle = w.angle, angle_at(tick * DT)
        controller.watch_edges(p, w, *draws, before, tick * DT, DT)
        yield tick * DT


def samples(p, w, speed, count, limit=LIMIT):
    """Take ``count`` samples at a held speed [rad/s] and return the amplitude [V] after each."""
    out = []
    for k in range(count):
        tick = k * round(p.sample_ticks)
        controller.sample(p, w, speed, limit, tick * DT, tick)
        out.append(float(w.amplitude))
    return np.array(out)
