"""Checks of soft soil and of turning: Bekker's plate and wheel, Wong's two tracks, turning moments."""

from __future__ import annotations

from math import acos, cos, radians, sqrt, tan

from scipy.integrate import quad
from scipy.optimize import brentq
from validation_check import Check, Subject, closed, library

from drivesim.physics.obstacle import turning_moment
from drivesim.physics.soil import (
    compaction_resistance,
    contact_length,
    greatest_thrust,
    janosi_hanamoto,
    mean_shear,
    pressure,
    sinkage_under_load,
    wheel_load,
)

WONG = "Wong, Theory of Ground Vehicles, example of two tracks (from memory)"
# n, k_c, k_phi in N and m
SNOW = (1.6, 4.37e3, 196.72e3)
DRY_SAND = (1.1, 0.99e3, 1528.43e3)
SANDY_LOAM = (0.7, 5.27e3, 1515.04e3)


def track_sinkage(width: float) -> float:
    """Return the sinkage [m] of a track under 18.75 kPa in snow, found from our pressure."""
    n, k_c, k_phi = SNOW
    return brentq(lambda z: pressure(z, k_c, k_phi, n, width) - 18.75e3, 1e-6, 1.0, xtol=1e-14)


def track_resistance(width: float) -> float:
    """Return the compaction resistance [kN] of two such tracks."""
    n, k_c, k_phi = SNOW
    return 2e-3 * compaction_resistance(track_sinkage(width), width, k_c / width + k_phi, n)


def track_thrust(length: float, slip: float) -> float:
    """Return the thrust [kN] of both tracks, 135 kN on 7.2 m², c = 1 kPa, 19.7°, K = 50 mm."""
    most = greatest_thrust(7.2, 1e3, 135e3, tan(radians(19.7)), 0.0, 1.0)
    return 1e-3 * most * mean_shear(slip * length, 0.05)


def wheel(soil: tuple[float, float, float], load: float, D: float, b: float) -> tuple[float, float]:
    """Return sinkage [mm] and compaction resistance [N] of a rigid wheel."""
    n, k_c, k_phi = soil
    z = sinkage_under_load(load, b, D, n, k_c / b + k_phi)
    return 1e3 * z, compaction_resistance(z, b, k_c / b + k_phi, n)


def arc_load(soil: tuple[float, float, float], z: float, D: float, b: float) -> float:
    """Return the load [N] of a rigid wheel at sinkage ``z`` [m] by integrating the pressure over its true arc."""
    n, k_c, k_phi = soil
    r = 0.5 * D
    entry = acos(1.0 - z / r)
    return quad(lambda t: pressure(r * (cos(t) - cos(entry)), k_c, k_phi, n, b) * b * r * cos(t), 0.0, entry)[
        0
    ]


def arc_sinkage(soil: tuple[float, float, float], load: float, D: float, b: float) -> float:
    """Return the sinkage [mm] by that integral."""
    return 1e3 * brentq(lambda z: arc_load(soil, z, D, b) - load, 1e-6, 0.45 * D)


def small_wheel(name: str, soil: tuple[float, float, float], z: str, rc: str) -> list[Check]:
    """Return the checks of a 10 N wheel of 100 mm diameter and 40 mm width."""
    return [
        closed(f"10 N wheel 100 × 40 mm in {name}: sinkage", z, "mm",
               lambda: wheel(soil, 10.0, 0.1, 0.04)[0], rel=1e-4),
        closed(f"10 N wheel in {name}: compaction resistance", rc, "N",
               lambda: wheel(soil, 10.0, 0.1, 0.04)[1], rel=1e-4),
        library(f"10 N wheel in {name}: sinkage by the integral over the arc", "scipy",
                lambda: arc_sinkage(soil, 10.0, 0.1, 0.04), "mm",
                lambda: wheel(soil, 10.0, 0.1, 0.04)[0], rel=0.05),
    ]  # fmt: skip


SOIL = Subject(
    "Soft soil",
    (
        "Bekker's and Wong's laws are for vehicles: Bekker himself calls the wheel formula poor for diameters "
        "under 0.5 m and for deep sinkage. For a small rover they are the usual first estimate, not evidence; the "
        "checks below show that the equations are solved, and the arc integral that the shortcut for a wheel costs "
        "up to 5 %.",
        "No slip sinkage: a spinning wheel does not dig itself in. Each wheel meets fresh ground, also a rear wheel "
        "in the track of a front one. No bulldozing in front of the wheel, no rate effects, no moisture change.",
        "The soils' numbers are from memory of Wong's terrain table; single values of one place, not of a kind of "
        "soil. Shear moduli are not in that table and are typical values.",
    ),
    [
        Check("track 1.0 m wide in snow: sinkage", WONG, "0.227", "m", lambda: track_sinkage(1.0), rel=0.005),
        Check("two tracks 1.0 × 3.6 m: compaction resistance", WONG, "3.28", "kN",
              lambda: track_resistance(1.0), rel=0.005),
        Check("track 0.8 m wide in snow: sinkage", WONG, "0.226", "m", lambda: track_sinkage(0.8), rel=0.005),
        Check("two tracks 0.8 × 4.5 m: compaction resistance", WONG, "2.60", "kN",
              lambda: track_resistance(0.8), rel=0.005),
        closed("… greatest thrust A·c + W·tan φ", "55.537", "kN", lambda: track_thrust(1e9, 1.0), rel=1e-4),
        *[
            closed(f"thrust of tracks {length:g} m long at {100 * slip:g} % slip", thrust, "kN",
                   lambda length=length, slip=slip: track_thrust(length, slip), rel=1e-4)
            for length, row in ((3.6, ("40.532", "47.829", "51.680", "53.609", "54.573")),
                                (4.5, ("43.333", "49.367", "52.452", "53.994", "54.766")))
            for slip, thrust in zip((0.05, 0.1, 0.2, 0.4, 0.8), row, strict=True)
        ],
        closed("10 kN wheel 1 × 0.3 m in dry sand: sinkage", "121.63", "mm",
               lambda: wheel(DRY_SAND, 1e4, 1.0, 0.3)[0], rel=1e-4),
        closed("… compaction resistance", "2622.2", "N", lambda: wheel(DRY_SAND, 1e4, 1.0, 0.3)[1], rel=1e-4),
        *small_wheel("dry sand", DRY_SAND, "11.633", "2.5644"),
        *small_wheel("sandy loam (15 %)", SANDY_LOAM, "2.1408", "1.1226"),
        closed("load at the sinkage of 10 N (back again)", "10", "N",
               lambda: wheel_load(11.6332e-3, 0.04, 0.1, 1.1, 0.99e3 / 0.04 + 1528.43e3), rel=1e-4),
        closed("length of ground under a wheel sunk by a tenth of its diameter", f"{sqrt(0.09):.4f}", "D",
               lambda: contact_length(0.1, 1.0), rel=1e-6),
        *[
            closed(f"used share of the shear strength at {j} mm, K = 10 mm", share, "",
                   lambda j=j: janosi_hanamoto(1e-3 * j, 0.01),
                   source="Janosi, Hanamoto, 1961 (from memory)", apart=1e-5)
            for j, share in ((1, "0.09516"), (5, "0.39347"), (10, "0.63212"), (20, "0.86466"), (50, "0.99326"))
        ],
    ],
)  # fmt: skip


TURNING = Subject(
    "Turning on the spot",
    (
        "The moment μ·W·l/2 is an upper bound: even loads, every wheel sliding straight sideways. Driven wheels slip "
        "along too, so that friction has less left across: rigid Coulomb theory gives the pushes below, at any "
        "speed. On soil the lateral push of the rut's wall comes on top and is left out.",
    ),
    [
        closed("four wheels: moment over μ·W·l, l the wheelbase", "0.5", "",
               lambda: turning_moment(1.0, 1.0, 1.0), rel=1e-9),
    ],
)  # fmt: skip
