"""Checks of friction and tyre: Stribeck curve, brush model, slip, and a spinning disc set down."""

from __future__ import annotations

from functools import cache
from math import exp

import numpy as np
from physics_loops import dropped_disc
from validation_check import Check, Subject, closed

from drivesim.physics.tyre import (
    advance_bristle,
    slip_ratio,
    steady_brush_force,
    stribeck_friction,
    tread_force,
    within_ellipse,
)

LUGRE = "Canudas de Wit and others, IEEE Trans. Automatic Control 40(3), 1995 (looked up in public code)"
PACEJKA = "Pacejka, Tyre and Vehicle Dynamics (from memory)"


def rolled_brush(slip: float) -> float:
    """Return the force [N] on which a rolling bristle settles: C = 1000 N, friction limit 16 N."""
    k, sigma, limit, u, force = 2000.0, 0.5, 16.0, 0.0, 0.0
    for _ in range(4000):
        u = advance_bristle(u, -slip * 0.5, 0.5, sigma, 5e-3)
        force, _, u, _ = tread_force(u, 0.0, 0.0, 0.0, k, k, 0.0, 0.0, limit, limit)
    return force


def relaxed_share() -> float:
    """Return the share of the final deflection that a tread has after it rolled one relaxation length."""
    sigma, wheel, v, dt, u = 0.08, 0.4, -0.01, 1e-5, 0.0
    for _ in range(20_000):
        u = advance_bristle(u, v, wheel, sigma, dt)
    return u / (-v * sigma / wheel)


@cache
def disc() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return positions [m], speeds [m/s] and spins [rad/s] of a disc set down spinning; rows 10 us apart."""
    m, r = 0.4, 0.05
    return dropped_disc(m, 0.5 * m * r * r, r, 60.0, 0.6, 9.81, 2e4, 0.01, 1e-5, 40_000)


def disc_rolls_after() -> float:
    """Return when [s] the disc rolls: the straight rise of its speed, drawn on to the final speed."""
    _, v, _ = disc()
    early = np.searchsorted(v, 0.5 * v[-1])
    return float(early * 1e-5 * v[-1] / v[early])


def disc_energy_kept() -> float:
    """Return the share of the disc's energy that is left."""
    _, v, w = disc()
    return float((v[-1] ** 2 + 0.5 * (0.05 * w[-1]) ** 2) / (0.5 * (0.05 * 60.0) ** 2))


TYRE = Subject(
    "Tyre and friction on hard ground",
    (
        "Brush model with parabolic pressure and one mean deflection: right in steady slip up to full sliding, "
        "and as a spring at rest; in between, transients follow one relaxation length. Width, camber and turn "
        "slip are left out: a wheel that turns about its own contact meets no moment.",
        "Friction falls from static to sliding with slip speed only (Stribeck); it knows no temperature, wear, "
        "dust or water film. The bearing's drag is Coulomb and viscous, without a rise at breaking away. "
        "Coefficients of friction and rolling of small wheels are inputs: no published table was found for wheels "
        "of 50 to 150 mm.",
    ),
    [
        *[
            closed(f"Stribeck curve with viscous part at {1e3 * v:g} mm/s", force, "N",
                   lambda v=v: stribeck_friction(v, 1.5, 1.0, 0.001) + 0.4 * v,
                   source=LUGRE, rel=1e-5)
            for v, force in ((1e-5, "1.499954"), (5e-4, "1.389600"), (1e-3, "1.184340"), (2e-3, "1.009958"),
                             (5e-3, "1.002000"), (0.1, "1.040000"))
        ],
        *[
            closed(f"brush force at {slip:g} slip (C = 1000 N, limit 16 N)", force, "N",
                   lambda slip=slip: steady_brush_force(slip, 1000.0, 16.0), source=PACEJKA, rel=2e-6)
            for slip, force in ((0.004, "3.67593"), (0.008, "6.74074"), (0.016, "11.25926"),
                                (0.032, "15.40741"), (0.048, "16"))
        ],
        closed("used share of the limit where C·s equals it, 19/27", "0.703704", "",
               lambda: steady_brush_force(0.016, 1000.0, 16.0) / 16.0, rel=1e-6),
        *[
            closed(f"the same force reached by rolling at {slip:g} slip", force, "N",
                   lambda slip=slip: rolled_brush(slip), rel=1e-5, by="time steps")
            for slip, force in ((0.004, "3.67593"), (0.016, "11.25926"), (0.032, "15.40741"))
        ],
        closed("share of the final deflection after one relaxation length", f"{1.0 - exp(-1.0):.6f}", "",
               relaxed_share, rel=0.001, by="time steps"),
        closed("friction ellipse: along at 60 % leaves across", "0.8", "",
               lambda: within_ellipse(12.0, 11.2, 10.0, 7.0)[1] / 7.0, rel=1e-9),
        Check("slip i = 1 − V/(rω) at V = 1, rω = 1.25", "Wong, Theory of Ground Vehicles (definition; from memory)",
              "0.20", "", lambda: slip_ratio(1.0, 1.25), rel=1e-9),
        Check("slip S = rω/V − 1 of a locked wheel", "SAE J670, ISO 8855 (definition; from memory)",
              "-1", "", lambda: slip_ratio(1.0, 0.0), rel=1e-9),
        closed("spinning disc set down: rolls at r·ω0/3", "1.0", "m/s",
               lambda: disc()[1][-1], rel=0.01, by="time steps", wobble=1e-6),
        closed("… after r·ω0/(3·μ·g)", "0.169895", "s", disc_rolls_after, rel=0.01, by="time steps",
               wobble=1e-5),
        closed("… and v²/(2·μ·g) of way", "0.084947", "m",
               lambda: disc()[0][16_990], rel=0.01, by="time steps", wobble=1e-6),
        closed("… with a third of its energy", "0.333333", "", disc_energy_kept, rel=0.02, by="time steps",
               wobble=1e-6),
    ],
)  # fmt: skip
