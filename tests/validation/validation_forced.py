"""Checks of the forced (locked-frequency) machine: load angle, pull-out, hunting, pull-in."""

from __future__ import annotations

from cmath import phase, rect
from functools import cache
from math import acos, asin, degrees, pi, radians, sqrt

import numpy as np
from physics_loops import loaded_until_slip, swing
from scipy.optimize import brentq, fsolve, minimize_scalar
from validation_check import Check, Subject, closed, library

from drivesim.physics.motor import (
    electrical_power,
    forced_voltages,
    hunting_frequency,
    load_angle_torque,
    pull_out_angle,
    pull_out_torque,
    start_frequency_limit,
    steady_current,
)

CHAPMAN = "Chapman, Electric Machinery Fundamentals, 208 V motor example (from memory)"
KIMBERLY = "Kimberly, Electrical Engineering, problem 21-2 (vias.org/kimberlyee/ee_21_10.html)"

P, LAM, R, L, V, W = 7, 0.002, 0.05, 20e-6, 4.0, 700.0  # a low-inductance wheel motor; W electrical rad/s
PEAK, J = 0.05, 2e-5  # field of constant torque amplitude [N·m], inertia [kg·m²]
I_PEAK = PEAK / (1.5 * P * LAM)


def phasors(v_rms: float, delta: float, r: float, x: float, e_rms: float) -> tuple[complex, complex]:
    """Return (voltage, current) of one phase, peak values in the rotor frame, for a given EMF."""
    we = 377.0
    lam = e_rms * sqrt(2.0) / we
    vd, vq = forced_voltages(v_rms * sqrt(2.0), delta)
    return complex(vd, vq), complex(*steady_current(vd, vq, r, x / we, lam, we))


@cache
def chapman(horsepower: float) -> tuple[float, float, float]:
    """Return load angle [deg], phase current [A] and its lead [deg] of the 208 V delta motor; losses 2.5 kW."""
    power = 746.0 * horsepower + 2500.0

    def lack(angle: float) -> float:
        v, i = phasors(208.0, angle, 0.0, 2.5, 255.1)
        return electrical_power(v.real, v.imag, i.real, i.imag) - power

    angle = brentq(lack, 0.0, pi / 2.0)
    v, i = phasors(208.0, angle, 0.0, 2.5, 255.1)
    return degrees(angle), abs(i) / sqrt(2.0), degrees(phase(i / v))


def chapman_pull_out() -> float:
    """Return the greatest power [kW] of the same motor."""
    we, p = 377.0, 2
    limit = pull_out_torque(208.0 * sqrt(2.0), 0.0, 2.5 / we, 255.1 * sqrt(2.0) / we, p, we)
    return 1e-3 * limit * we / p


def kimberly_emf() -> float:
    """Return the EMF [V] that makes our machine draw 140 A at 0.8 leading from 440 V in star."""
    wanted = rect(140.0 * sqrt(2.0), acos(0.8))

    def lack(unknown: np.ndarray) -> list[float]:
        v, i = phasors(440.0 / sqrt(3.0), unknown[1], 0.0931, 0.3477, unknown[0])
        drawn = i * abs(v) / v - wanted
        return [drawn.real, drawn.imag]

    return float(fsolve(lack, [250.0, 0.1])[0])


def greatest_by_search() -> float:
    """Return the greatest torque [N·m] over the load angle, as scipy finds it."""
    best = minimize_scalar(
        lambda delta: -load_angle_torque(V, delta, R, L, LAM, P, W), bounds=(0.0, 1.5), method="bounded"
    )
    return -float(best.fun)


def ramped_pull_out() -> float:
    """Return the load [N·m] at which a slowly loaded machine falls out of step."""
    limit = pull_out_torque(V, R, L, LAM, P, W)
    return float(
        loaded_until_slip(V, R, L, LAM, P, 5e-4, W, 0.8 * limit, 1.1 * limit, 20.0, 1e-4, 200_000)[0]
    )


def swing_frequency(amplitude: float, load_share: float) -> float:
    """Return the frequency [rad/s] of a swing by ``amplitude`` [rad electrical] about the loaded rest."""
    rest, load = asin(load_share), load_share * PEAK
    dt = 2.0 * pi / hunting_frequency(PEAK, load, P, J) / 4000.0
    offset = swing(I_PEAK, LAM, P, J, load, rest + amplitude, 0.0, 0.0, dt, 60_000) - rest
    up = np.flatnonzero((offset[:-1] < 0.0) & (offset[1:] >= 0.0))
    crossing = (up - offset[up] / (offset[up + 1] - offset[up])) * dt
    return float(2.0 * pi * (crossing.size - 1) / (crossing[-1] - crossing[0]))


def pendulum_share(amplitude: float) -> float:
    """Return the frequency of a wide swing as a share of the small one's."""
    return swing_frequency(radians(amplitude), 0.0) / hunting_frequency(PEAK, 0.0, P, J)


@cache
def pull_in() -> float:
    """Return the greatest electrical frequency [rad/s] that a rotor at rest locks to, by halving the interval."""
    low, high = 250.0, 280.0
    while high - low > 0.05:
        middle = 0.5 * (low + high)
        angles = swing(I_PEAK, LAM, P, J, 0.0, 0.0, middle, 0.0, 2e-6, 150_000)
        low, high = (middle, high) if np.abs(angles).max() < pi else (low, middle)
    return 0.5 * (low + high)


def at_angle(angle: float, published: str, apart: float = 2e-6) -> Check:
    """Return the check of the torque at one load angle [deg]."""
    return closed(f"torque at {angle:g}° of field lead", published, "N·m",
                  lambda: load_angle_torque(V, radians(angle), R, L, LAM, P, W), apart=apart)  # fmt: skip


def small_swing(share: float, published: str) -> Check:
    """Return the check of the small swing's frequency under a share of the peak torque."""
    return closed(f"small swing sqrt(p·T·cos δ/J) under {100 * share:g} % of the peak torque", published, "rad/s",
                  lambda: swing_frequency(radians(0.2), share), rel=0.002, by="time steps",
                  wobble=1e-6)  # fmt: skip


FORCED = Subject(
    "Forced field (locked frequency)",
    (
        "The supply is stiff, the field turns at exactly the wanted frequency (besides a given clock error) and "
        "amplitude follows the bus. The pull-out formula is the steady one: a sudden load pulls out earlier.",
        "Damping comes from the winding's resistance, bearings and tyre alone; there is no damper cage. The "
        "closed forms of swinging and pull-in take a field of constant torque amplitude, no load and no damping.",
    ),
    [
        at_angle(0.0, "1.012611"),
        at_angle(30.0, "1.021998"),
        at_angle(60.0, "0.611441"),
        at_angle(90.0, "-0.109050"),
        closed("field lead of the greatest torque, atan(ω_e·L/R)", "15.6422", "deg",
               lambda: degrees(pull_out_angle(R, L, W)), rel=1e-5),
        closed("pull-out torque 1.5·p·λ·(V/Z − E·R/Z²)", "1.072527", "N·m",
               lambda: pull_out_torque(V, R, L, LAM, P, W), rel=1e-6),
        library("the same by a search over the load angle", "scipy", greatest_by_search, "N·m",
                lambda: pull_out_torque(V, R, L, LAM, P, W), rel=1e-6),
        closed("the same without resistance, 1.5·p·λ·V/(ω_e·L)", "6.0", "N·m",
               lambda: pull_out_torque(V, 0.0, L, LAM, P, W), rel=1e-9),
        closed("the same at standstill, 1.5·p·λ·V/R", "1.68", "N·m",
               lambda: pull_out_torque(V, R, L, LAM, P, 0.0), rel=1e-9),
        closed("speed at which the pull-out torque is nil", "3333.333", "rad/s electrical",
               lambda: brentq(lambda we: pull_out_torque(V, R, L, LAM, P, we), 1e3, 1e4), rel=1e-6),
        closed("load that a slow ramp ends with a lost step", "1.072527", "N·m", ramped_pull_out, rel=0.01,
               by="time steps", wobble=1e-5),
        Check("15 hp: load angle", CHAPMAN, "12.4", "deg", lambda: chapman(15.0)[0], rel=0.005),
        Check("15 hp: phase current", CHAPMAN, "27.4", "A", lambda: chapman(15.0)[1], rel=0.005),
        Check("15 hp: the current leads by", CHAPMAN, "36.87", "deg", lambda: chapman(15.0)[2], rel=0.005),
        Check("30 hp at the same field: load angle", CHAPMAN, "23", "deg", lambda: chapman(30.0)[0], rel=0.005),
        Check("30 hp: phase current", CHAPMAN, "41.2", "A", lambda: chapman(30.0)[1], rel=0.005),
        Check("30 hp: the current leads by", CHAPMAN, "15", "deg", lambda: chapman(30.0)[2], rel=0.006),
        closed("the same motor: pull-out power 3·V·E/X", "63.67", "kW", chapman_pull_out, rel=0.005),
        Check("EMF of a 440 V motor with resistance", KIMBERLY, "276", "V", kimberly_emf, rel=0.005,
              wobble=1e-7),
        small_swing(0.0, "132.2876"),
        small_swing(0.5, "123.107"),
        small_swing(0.9, "87.339"),
        *[
            closed(f"wide swing by {angle}°: share of the small swing's frequency (pendulum)", share, "",
                   lambda angle=angle: pendulum_share(angle), rel=0.002, by="time steps", wobble=1e-6)
            for angle, share in ((10, "0.998096"), (60, "0.931808"), (90, "0.847213"))
        ],
        closed("start frequency an aligned free rotor locks to, 2·ω_n", "264.575", "rad/s electrical",
               lambda: start_frequency_limit(PEAK, P, J), rel=1e-5),
        closed("the same found by trying", "264.575", "rad/s electrical", pull_in, rel=0.005,
               by="time steps", wobble=5e-5),
        Check("pull-out torque over the torque at a rated load angle of 47.8°", "IEC 60034-1 (from memory)",
              "1.35", "", lambda: pull_out_torque(V, 0.0, L, LAM, P, W)
              / load_angle_torque(V, radians(47.8), 0.0, L, LAM, P, W), rel=0.002),
    ],
)  # fmt: skip
