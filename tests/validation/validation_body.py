"""Checks of contact and body in free motion: coasting, a tumbling top, a wheel in a corner."""

from __future__ import annotations

from functools import cache
from math import atan2, cos, log, sin, sqrt

import numpy as np
from physics_loops import coast_down, tumble
from validation_check import Subject, closed

from drivesim.physics.body import circulating, roll_pitch_yaw, rotation, turned
from drivesim.physics.contact import normal_force, share_corner


@cache
def top() -> tuple[float, float, float]:
    """Return (precession, wobble [rad/s], relative drift of the energy) of a free symmetrical top."""
    I1, I3, w1, w3, dt, steps = 0.02, 0.035, 2.0, 5.0, 1e-5, 100_000
    lean = atan2(I1 * w1, I3 * w3)
    start = (cos(lean / 2.0), 0.0, -sin(lean / 2.0), 0.0)  # the angular momentum straight up
    attitude, momentum, energy = tumble((I1, I1, I3), (w1, 0.0, w3), start, dt, steps)
    frames = [np.reshape(rotation(*q), (3, 3)) for q in attitude[:: steps // 200]]
    turn = np.unwrap([atan2(m[1, 2], m[0, 2]) for m in frames])
    seen = [m.T @ momentum[0] for m in frames]
    wobble = np.unwrap([atan2(v[1], v[0]) for v in seen])
    span = dt * steps
    return (turn[-1] - turn[0]) / span, (wobble[-1] - wobble[0]) / span, float(energy[-1] / energy[0])


def coasting_time() -> float:
    """Return when [s] a wheel with dry and viscous drag has stopped: 80 rad/s, 3 mN·m, 0.2 mN·m·s, 1e-4 kg·m²."""
    speeds = coast_down(80.0, 0.003, 2e-4, 1e-4, 1e-5, 300_000)
    return float(np.argmin(speeds) * 1e-5)


BODY = Subject(
    "Contact and body",
    (
        "Tyre and ground are a linear spring and damper along the normal, with no pull. The wheels are mounted stiffly "
        "but for one torsion of the frame, where given; they make no gyroscopic moment.",
        "A wheel is a ball on the height field: it rounds an edge sideways too, and a second contact is looked for "
        "ahead and behind, not beside.",
        "Not every motion repeats: on rough ground a run can be chaotic, and only many grounds give an answer.",
    ),
    [
        closed("pressed 2 mm at 0.1 m/s, 5 N/mm and 20 N·s/m", "12", "N",
               lambda: normal_force(0.002, 0.1, 5e3, 20.0), rel=1e-9),
        closed("pressed 1 mm into both planes of a right-angled corner: way out", f"{sqrt(2.0):.6f}", "mm",
               lambda: float(np.hypot(*share_corner(1.0, 1.0, 0.0))), rel=1e-6),
        closed("forces 3, 1 and −2 N: force that works against itself", "2", "N",
               lambda: circulating(6.0, 2.0), rel=1e-9),
        closed("yaw after turning at 0.3 rad/s for 2 s", "0.6", "rad",
               lambda: roll_pitch_yaw(*turned(1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.3, 2.0))[2], rel=1e-9),
        closed("free top: precession L/I1", f"{np.hypot(0.04, 0.175) / 0.02:.5f}", "rad/s", lambda: top()[0],
               rel=1e-3, by="time steps", wobble=1e-6),
        closed("free top: wobble (I3 − I1)/I1·ω3", "3.75", "rad/s", lambda: top()[1], rel=1e-3, by="time steps",
               wobble=1e-6),
        closed("free top: energy kept", "1", "", lambda: top()[2], rel=1e-3, by="time steps", wobble=1e-6),
        closed("coasting wheel stops after J/b·ln(1 + b·ω/T)",
               f"{1e-4 / 2e-4 * log(1.0 + 2e-4 * 80.0 / 0.003):.6f}", "s", coasting_time, rel=1e-3,
               by="time steps", wobble=1e-5),
    ],
)  # fmt: skip
