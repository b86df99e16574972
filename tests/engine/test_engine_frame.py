"""The frame's twist in the time-stepped model: its own swing, its swing on the tyres, loads on uneven feet."""

from __future__ import annotations

import math

import numpy as np
import pytest
from engine_rovers import IN_THE_AIR, G, each_wheel, held_up, ideal

from drivesim.analysis.ledger import ledger
from drivesim.engine.build import build
from drivesim.engine.simulate import run_model

FREE = each_wheel("driven", (False,) * 4)
TORSION, RATIO, ROLL_INERTIA, HALF_TRACK = 800.0, 0.05, 4e-3, 0.08  # N/m at each wheel, 1, kg·m², m
#: both ends turn against each other about the rover's length: I_x·(rate/half track)²/2 of motion
TWIST_MASS = ROLL_INERTIA / HALF_TRACK**2
FRAME = {"torsion_stiffness": f"{TORSION} N/m", "damping_ratio": RATIO}


def swing(time: np.ndarray, twist: np.ndarray) -> tuple[float, float]:
    """Return frequency and decay [rad/s, 1/s] of a swing about zero, from its zeros and its peaks."""
    rising = np.flatnonzero((twist[:-1] < 0) & (twist[1:] >= 0))
    share = -twist[rising] / (twist[rising + 1] - twist[rising])
    frequency = 2 * math.pi / np.diff(time[rising] + share * (time[1] - time[0])).mean()
    peaks = 1 + np.flatnonzero((twist[1:-1] > twist[:-2]) & (twist[1:-1] >= twist[2:]))
    return float(frequency), float(-np.polyfit(time[peaks], np.log(twist[peaks]), 1)[0])


def test_free_twist_swings_and_decays():
    """Closed form: m = I_x/(half track)², k = 4·k_t: sqrt(k/m)·sqrt(1 − ζ²), decay ζ·sqrt(k/m); all of it is lost."""
    changes = {k: v for k, v in IN_THE_AIR.items() if k != "rover.inertia"}
    changes |= FREE | {"rover.frame": FRAME, "step": "20 us", "record_every": "20 us", "duration": "0.3 s"}
    model = held_up(ideal(changes))
    model.bodies["twist"] = 1e-3
    recording = run_model(model)
    natural = math.sqrt(4 * TORSION / TWIST_MASS)
    frequency, decay = swing(recording.time, recording.body["twist"])
    assert frequency == pytest.approx(natural * math.sqrt(1 - RATIO**2), rel=2e-3)
    assert decay == pytest.approx(RATIO * natural, rel=0.01)
    held = 0.5 * 4 * TORSION * 1e-3**2
    left = (
        0.5 * 4 * TORSION * model.bodies["twist"][0] ** 2
        + 0.5 * TWIST_MASS * model.bodies["twist_rate"][0] ** 2
    )
    assert ledger(recording)["frame"] == pytest.approx(held - left, rel=0.01)


def test_twist_on_tyres_swings_with_both_springs():
    """Closed form: the tyres' springs stand beside the frame's: sqrt((4·k_t + 4·k_w)/m)."""
    tyre = 3000.0
    changes = FREE | {
        "rover.frame": FRAME | {"damping_ratio": 0},
        "rover.wheel.tyre.radial_stiffness": f"{tyre} N/m",
        "rover.wheel.tyre.radial_damping": "0 N*s/m",
        "rover.wheel.tyre.friction": 1e-6,
        "step": "20 us",
        "record_every": "20 us",
        "duration": "0.2 s",
    }
    model = build(ideal(changes))
    model.bodies["twist_rate"] = 0.02
    recording = run_model(model)
    frequency, decay = swing(recording.time, recording.body["twist"])
    assert frequency == pytest.approx(math.sqrt(4 * (TORSION + tyre) / TWIST_MASS), rel=2e-3)
    assert abs(decay) < 0.05
    assert np.ptp(recording.body["roll"]) < 1e-6  # the twist alone, none of the rigid motions
    assert np.ptp(recording.body["pitch"]) < 1e-6
    assert np.ptp(recording.body["z"]) < 1e-6


def on_feet(torsion: float, **rover: object) -> np.ndarray:
    """Return the loads [N] of 40 N on tyres of 2000 N/m, let fall from 3 mm and come to rest."""
    changes = {
        "rover.mass": f"{40 / G!r} kg",
        "rover.inertia": ["0.4 kg*m^2", "0.5 kg*m^2", "0.8 kg*m^2"],
        "rover.wheelbase": "1 m",
        "rover.track": "0.9 m",
        "rover.wheel.tyre.radial_stiffness": "2000 N/m",
        "rover.wheel.tyre.radial_damping": "40 N*s/m",
        "rover.frame": {"torsion_stiffness": f"{torsion} N/m", "damping_ratio": 0.5},
        "duration": "4 s",
    }
    model = build(ideal(FREE | changes | {f"rover.{path}": value for path, value in rover.items()}))
    model.bodies["z"] += 0.003
    return run_model(model).wheels["normal_load"][-1]


@pytest.mark.parametrize("torsion", [500.0, 2000.0, 1e5])
def test_a_longer_foot_on_a_frame_that_twists(torsion):
    """W/4 ± (h/4)·k with the springs of frame and tyre in series, 1/k = 1/k_t + 1/k_w (derived).

    A foot longer by h is h/4 of the pattern + − − + beside motions that the rigid body follows; wheel and frame
    carry the same force there and share the way.  A wheel lifts off at h = W/k.
    """
    series = 1 / (1 / torsion + 1 / 2000.0)
    h = 0.6 * 40 / series
    pattern = np.array([1, -1, -1, 1])
    expected = 10 + pattern * h / 4 * series
    assert on_feet(torsion, **{"wheels.front_left.drop": f"{h!r} m"}) == pytest.approx(expected, abs=0.05)
    lifted = on_feet(torsion, **{"wheels.front_left.drop": f"{1.1 * 40 / series!r} m"})
    assert lifted == pytest.approx([20, 0, 0, 20], abs=0.15)  # feet this long tilt it


def test_a_skewed_frame_stands_like_one_with_a_shorter_foot():
    """The front left wheel 8 mm above the plane of the others: 10 ∓ (h/4)·k, 1/k = 1/1000 + 1/2000 (derived)."""
    frame = {"torsion_stiffness": "1000 N/m", "damping_ratio": 0.5}
    skewed = on_feet(0, frame=frame | {"skew": "8 mm"})
    change = 0.008 / 4 / (1 / 1000 + 1 / 2000)
    assert skewed == pytest.approx(10 - np.array([1, -1, -1, 1]) * change, abs=0.02)
    assert skewed == pytest.approx(on_feet(1000.0, **{"wheels.front_left.drop": "-8 mm"}), abs=0.02)
