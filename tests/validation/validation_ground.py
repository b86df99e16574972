"""Checks of obstacles, turning and roads: statics of steps and slopes, turning moments, ISO 8608."""

from __future__ import annotations

from math import degrees, pi, sqrt

import numpy as np
from scipy.signal import welch
from validation_check import Check, Subject, closed

from drivesim.ground import roughness
from drivesim.physics.obstacle import (
    axle_loads,
    corner,
    friction_for_front_axle,
    friction_for_single_wheel,
    front_load_at_step,
    pull_over_step,
    steepest_grade,
    step_limit_single_wheel,
    torque_over_step,
)

R = 0.05  # wheel radius [m]
GIANCOLI = "Giancoli, Physics (problem looked up)"
ISO = "ISO 8608 (from memory; class limits looked up)"
GRADES = "Wong, Theory of Ground Vehicles; Gillespie, Fundamentals of Vehicle Dynamics (from memory)"


def one_step(h: float, pull: str, torque: str, mu: str) -> list[Check]:
    """Return the checks of one 10 N wheel of 50 mm radius at a step of ``h`` [m]."""
    name = f"{1e3 * h:g} mm step"
    return [
        closed(f"{name}: level pull at the axle, W·sqrt(2rh − h²)/(r − h)", pull, "N",
               lambda: pull_over_step(10.0, R, h), source=GIANCOLI, rel=1e-5),
        closed(f"{name}: torque by which the wheel lifts itself", torque, "N·m",
               lambda: torque_over_step(10.0, R, h), rel=2e-4),
        closed(f"{name}: friction that this needs", mu, "", lambda: friction_for_single_wheel(R, h), rel=1e-4),
    ]  # fmt: skip


def front_axle(h: float, mu: str, load: str) -> list[Check]:
    """Return the checks of a four-wheel drive rover's front axle at a step of ``h`` [m]."""
    return [
        closed(f"{1e3 * h:g} mm step, all wheels driven (wheelbase 4 r): friction needed", mu, "",
               lambda: friction_for_front_axle(R, h, 0.2, 0.1), rel=5e-5),
        closed(f"{1e3 * h:g} mm step: share of the weight on the edges then", load, "",
               lambda: front_load_at_step(1.0, friction_for_front_axle(R, h, 0.2, 0.1), R, h), rel=1e-4),
    ]  # fmt: skip


def tipping_angle() -> float:
    """Return the slope [deg] at which the front axle carries nothing."""
    low, high = 0.0, 0.5 * pi
    while high - low > 1e-12:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if axle_loads(40.0, middle, 0.2, 0.1, 0.06)[0] > 0.0 else (low, middle)
    return degrees(low)


STEPS = Subject(
    "Steps and slopes",
    (
        "Rigid wheel at a sharp corner, quasi-static. Tyres that wrap around the edge climb higher; a wheel that "
        "arrives fast may bounce over. An edge as high as the wheel's radius is a wall.",
        "Grades take a stiff rover on dry, even friction; the lower of traction and tipping decides.",
    ),
    [
        *one_step(0.010, "7.5", "0.3", "0.75"),
        *one_step(0.020, "13.3333", "0.4", "1.33333"),
        *one_step(0.025, "17.3205", "0.43301", "1.73205"),
        closed("20 mm step: lean of the edge's normal", "53.1301", "deg",
               lambda: degrees(np.arctan2(*corner(R, 0.02))), rel=1e-5),
        *[
            closed(f"highest step of one wheel over its radius, friction {mu:g}", share, "",
                   lambda mu=mu: step_limit_single_wheel(R, mu) / R, apart=1e-5)
            for mu, share in ((0.3, "0.04217"), (0.5, "0.10557"), (0.6, "0.14251"), (0.7, "0.18077"),
                              (0.8, "0.21913"), (1.0, "0.29289"))
        ],
        *[
            check
            for h, mu, load in ((0.005, "0.20581", "0.45297"), (0.010, "0.285714", "0.44025"),
                                (0.015, "0.34716", "0.43384"), (0.020, "0.40000", "0.43103"),
                                (0.025, "0.44802", "0.43085"), (0.030, "0.49321", "0.43285"))
            for check in front_axle(h, mu, load)
        ],
        *[
            closed(f"steepest grade at friction 0.6, {name}", grade, "deg",
                   lambda front=front, rear=rear: degrees(steepest_grade(0.6, front, rear, 0.2, 0.1, 0.06)),
                   source=GRADES, apart=0.001)
            for name, front, rear, grade in (("rear wheels driven", False, True, "20.095"),
                                             ("front wheels driven", True, False, "14.265"),
                                             ("all wheels driven", True, True, "30.964"))
        ],
        closed("40 N on a slope of 20°: front axle", "14.690", "N",
               lambda: axle_loads(40.0, np.radians(20.0), 0.2, 0.1, 0.06)[0], apart=0.001),
        closed("40 N on a slope of 20°: rear axle", "22.898", "N",
               lambda: axle_loads(40.0, np.radians(20.0), 0.2, 0.1, 0.06)[1], apart=0.001),
        closed("slope at which it tips over, atan(b/h)", "59.04", "deg",
               tipping_angle, apart=0.01),
    ],
)  # fmt: skip


ROAD_BAND = roughness.Band(longest=1 / 0.011, shortest=1 / 2.83)
ROVER_BAND = roughness.Band(longest=2.0, shortest=0.05)


def band_rms(name: str, band: roughness.Band) -> float:
    """Return the rms height [mm] of a class within a band, from its spectrum."""
    return 1e3 * sqrt(
        roughness.iso_variance(roughness.ISO_CLASSES[name], 1.0 / band.longest, 1.0 / band.shortest)
    )


def made_ground(band: roughness.Band, count: int, seed: int = 5) -> np.ndarray:
    """Return one whole period of class C ground."""
    x = np.arange(count) * roughness.period(1.0, band.longest) / count
    return roughness.iso_field(x, x, roughness.ISO_CLASSES["C"], band, np.random.default_rng(seed))


def slope_rms() -> float:
    """Return the rms slope along the way of class C road, made and measured."""
    x = np.arange(9000) * roughness.period(1.0, ROAD_BAND.longest) / 9000
    y = np.arange(6) * 30.0
    z = roughness.iso_field(x, y, roughness.ISO_CLASSES["C"], ROAD_BAND, np.random.default_rng(5))
    return float(np.gradient(z, x, axis=0).std())


def fitted_spectrum() -> tuple[float, float]:
    """Return the exponent and Gd(n0) [1e-6 m³] that Welch's method reads from made class C ground."""
    count = 40960
    x = np.arange(count) * 512.0 / count
    z = roughness.iso_field(
        x, np.arange(8) * 0.4, roughness.ISO_CLASSES["C"], ROVER_BAND, np.random.default_rng(5)
    )
    n, power = welch(z, fs=count / 512.0, nperseg=4096, axis=0)
    inside = (n > 1.0) & (n < 15.0)
    exponent, level = np.polyfit(np.log(n[inside] / roughness.N0), np.log(power[inside].mean(axis=1)), 1)
    return float(exponent), float(1e6 * np.exp(level))


ROADS = Subject(
    "Roads and random ground",
    (
        "The classes describe roads over waves of 0.35 to 90 m. A small rover feels waves of centimetres: there "
        "the same law is an extrapolation, chosen because nothing better is standardised.",
        "Heights are Gaussian: no holes, kerbs or loose stones come out of a spectrum; give those as features.",
    ),
    [
        *[
            Check(f"class {name}: Gd(n0), geometric mean", ISO, printed, "·10⁻⁶ m³",
                  lambda name=name: 1e6 * roughness.ISO_CLASSES[name], rel=1e-9, digits=6)
            for name, printed in zip("ABCDEFGH", ("16", "64", "256", "1024", "4096", "16384", "65536", "262144"),
                                     strict=True)
        ],
        *[
            Check(f"class {name}: Gd at 1 rad/m", ISO, printed, "·10⁻⁶ m³",
                  lambda name=name: 1e6 * roughness.ISO_CLASSES[name] * roughness.N0**2 * 2.0 * pi, rel=0.01)
            for name, printed in zip("ABCD", ("1", "4", "16", "64"), strict=True)
        ],
        *[
            closed(f"class {name}: rms height over 0.011 to 2.83 cycle/m", rms, "mm",
                   lambda name=name: band_rms(name, ROAD_BAND), rel=2e-4)
            for name, rms in zip("ABCDEF", ("3.806", "7.613", "15.226", "30.451", "60.903", "121.806"), strict=True)
        ],
        *[
            closed(f"class {name}: rms height over 0.5 to 20 cycle/m", rms, "mm",
                   lambda name=name: band_rms(name, ROVER_BAND), rel=2e-4)
            for name, rms in zip("ABCDE", ("0.5586", "1.1171", "2.2343", "4.4686", "8.9371"), strict=True)
        ],
        closed("class C ground as made: rms height over 0.011 to 2.83 cycle/m", "15.226", "mm",
               lambda: 1e3 * made_ground(ROAD_BAND, 1100).std(), rel=0.03, by="time steps", wobble=1e-6),
        closed("class C ground as made: rms height over 0.5 to 20 cycle/m", "2.2343", "mm",
               lambda: 1e3 * made_ground(ROVER_BAND, 256).std(), rel=0.03, by="time steps", wobble=1e-6),
        closed("class C ground as made: rms slope over 0.011 to 2.83 cycle/m", "0.016879", "",
               slope_rms, rel=0.03, by="time steps", wobble=1e-6),
        Check("class C ground as made: exponent of the fitted spectrum", ISO, "-2", "",
              lambda: fitted_spectrum()[0], apart=0.1, by="time steps", wobble=1e-6),
        Check("class C ground as made: fitted Gd(n0)", ISO, "256", "·10⁻⁶ m³",
              lambda: fitted_spectrum()[1], share=(0.833, 1.2), by="time steps", wobble=1e-6),
    ],
)  # fmt: skip
