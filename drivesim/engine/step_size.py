"""The time step that the stiffest part of a model asks for; imports physics and drive."""

from __future__ import annotations

import math

import numpy as np

from drivesim.drive.controller import is_forced
from drivesim.errors import ScenarioError
from drivesim.physics import motor

STEP_SHARE = 0.15  # step × fastest angular frequency
LARGEST_SHARE = 1.0  # a step given by hand may be coarse, not meaningless
LONGEST_STEP = 5e-4  # s; the controllers' and the bus's own dynamics want no longer one
SHORTER = 16  # times shorter than that sample times may make it; what is left is rounded to whole steps
MOST_STEPS = 100_000_000  # of one run: a few minutes
NANOSECONDS = 1_000_000_000


def fastest_mode(body: np.void, wheels: np.ndarray, bus_voltage: float) -> tuple[float, str]:
    """Return the highest angular frequency or rate of the model [rad/s] and what it belongs to.

    Contact springs and dampers against the body's mass and inertia, the tread against the wheel's inertia, the
    motor's mechanical time constant and the swing of a forced rotor at full ``bus_voltage`` [V]: each alone.
    """
    m, I_x, I_y, I_z = (float(body[k]) for k in ("mass", "inertia_x", "inertia_y", "inertia_z"))
    k, c, x, y = wheels["radial_stiffness"], wheels["radial_damping"], wheels["x"], wheels["y"]
    at_tread = (
        wheels["radius"] ** 2 / wheels["inertia"] + len(wheels) / m
    )  # 1/kg that the tread's spring moves
    modes = {
        "bounce": math.sqrt(k.sum() / m),
        "roll": math.sqrt((k * y * y).sum() / I_x),
        "pitch": math.sqrt((k * x * x).sum() / I_y),
        "yaw": math.sqrt((wheels["side_stiffness"] * (x * x + y * y)).sum() / I_z),
        "bounce damping": c.sum() / m,
        "roll damping": (c * y * y).sum() / I_x,
        "pitch damping": (c * x * x).sum() / I_y,
        "tread": math.sqrt((wheels["tread_stiffness"] * at_tread).max()),
        "tread damping": (wheels["tread_damping"] * at_tread).max(),
        "motor": max(_motor_rate(w, bus_voltage) for w in wheels),
    }
    through, out = 1 / wheels["thermal_resistance"], 1 / wheels["housing_resistance"]
    modes["winding's heat"] = float((through / wheels["heat_capacity"]).max())
    modes["housing's heat"] = float(((through + out) / wheels["housing_capacity"]).max())
    if body["frame_mass"] > 0:
        modes["frame's twist"] = math.sqrt((body["frame_stiffness"] + k.sum()) / body["frame_mass"])
        modes["damping of the frame's twist"] = (body["frame_damping"] + c.sum()) / body["frame_mass"]
    name = max(modes, key=modes.__getitem__)
    return float(modes[name]), name


def _motor_rate(w: np.void, bus_voltage: float) -> float:
    """Return one motor's own rate [rad/s]: of settling at a speed, and of hunting where the field is forced."""
    R, J, lam, p = w["resistance"] + w["on_resistance"], w["inertia"], w["flux_linkage"], w["pole_pairs"]
    rate = 1 / motor.mechanical_time_constant(R, J, lam, p)
    if is_forced(w["strategy"]):
        peak = motor.stall_torque(w["modulation"] * bus_voltage, R, lam, p)
        rate = max(rate, motor.hunting_frequency(peak, 0.0, p, J))
    return float(rate)


def check_step(step: float, fastest: float, reason: str) -> float:
    """Return ``step`` [s] if a run can use it; raises ScenarioError otherwise."""
    most = LARGEST_SHARE / fastest
    if not 0 < step <= most:
        raise ScenarioError(
            f"step: found {step:.3g} s, allowed: more than 0 and at most {most:.2g} s ({reason}, {fastest:.0f} rad/s)"
        )
    return step


def check_length(duration: float, step: float, reason: str, fastest: float) -> None:
    """Raise ScenarioError where a run of ``duration`` [s] would take more than MOST_STEPS."""
    if duration > MOST_STEPS * step:
        raise ScenarioError(
            f"duration: found {duration:.3g} s in steps of {step:.3g} s, allowed: {MOST_STEPS:.0e} steps; the "
            f"stiffest part is the {reason} ({fastest:.3g} rad/s)"
        )


def choose_step(fastest: float, sample_times: list[float]) -> float:
    """Return the step [s]: short enough for ``fastest`` [rad/s] and, where it can be, a part of every sample time."""
    longest = min(LONGEST_STEP, STEP_SHARE / fastest)
    common = math.gcd(*(round(t * NANOSECONDS) for t in sample_times)) / NANOSECONDS
    if common < longest / SHORTER:
        return float(f"{longest:.3g}")
    return common / math.ceil(common / longest - 1e-9)
