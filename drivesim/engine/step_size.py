"""The time step that the stiffest part of a model asks for; imports records only."""

from __future__ import annotations

import math

import numpy as np

STEP_SHARE = 0.15  # step × fastest angular frequency
LONGEST_STEP = 4e-4  # s; the controllers' and the bus's own dynamics want no longer one
SHORTER = (
    16  # sample times may ask for a step this many times shorter; what is left is rounded to whole steps
)
NANOSECONDS = 1_000_000_000


def fastest_mode(body: np.void, wheels: np.ndarray) -> tuple[float, str]:
    """Return the highest angular frequency or rate of the model [rad/s] and what it belongs to.

    Contact springs against the body's mass and inertia, the tread against the wheel's inertia, dampers, the
    motor's mechanical time constant and the swing of a forced rotor: closed forms for each alone.
    """
    n = len(wheels)
    share = body["mass"] / n
    stiffness, lever_x, lever_y = wheels["radial_stiffness"], wheels["x"], wheels["y"]
    J, r = wheels["inertia"], wheels["radius"]
    flux = wheels["pole_pairs"] * wheels["flux_linkage"]
    R = wheels["resistance"] + wheels["on_resistance"]
    voltage = np.maximum(wheels["base_amplitude"], 1e-9) * (wheels["strategy"] != 0)
    across = wheels["side_stiffness"] * (lever_x**2 + lever_y**2)
    modes = {
        "bounce": math.sqrt(stiffness.sum() / body["mass"]),
        "roll": math.sqrt((stiffness * lever_y**2).sum() / body["inertia_x"]),
        "pitch": math.sqrt((stiffness * lever_x**2).sum() / body["inertia_y"]),
        "yaw": math.sqrt(across.sum() / body["inertia_z"]),
        "tread": float(np.sqrt(wheels["tread_stiffness"] * (r * r / J + 1 / share)).max()),
        "tread damping": float((wheels["tread_damping"] * (r * r / J + 1 / share)).max()),
        "radial damping": float((wheels["radial_damping"] / share).max()),
        "motor": float((1.5 * flux * flux / (R * J)).max()),
        "hunting": float(np.sqrt(wheels["pole_pairs"] * 1.5 * flux * voltage / (R * J)).max()),
    }
    name = max(modes, key=modes.__getitem__)
    return modes[name], name


def choose_step(fastest: float, sample_times: list[float]) -> float:
    """Return the step [s]: short enough for ``fastest`` [rad/s] and, where it can be, a part of every sample time."""
    longest = min(LONGEST_STEP, STEP_SHARE / fastest)
    common = math.gcd(*(round(t * NANOSECONDS) for t in sample_times)) / NANOSECONDS
    if common < longest / SHORTER:
        return float(f"{longest:.3g}")
    return common / math.ceil(common / longest - 1e-9)
