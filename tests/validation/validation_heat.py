"""Checks of heating: one winding with growing resistance, runaway, two bodies, adiabatic copper."""

from __future__ import annotations

from functools import cache
from math import inf, log, sqrt

import numpy as np
from scipy.integrate import solve_ivp
from validation_check import Check, Subject, closed, library

from drivesim.physics.heat import (
    continuous_current,
    final_temperature,
    housing_temperature,
    node_rate,
    runaway_current,
    stall_voltage,
    two_node_rates,
    two_node_time_constants,
)
from drivesim.physics.winding import conductor_resistance, resistance_at

IEC_60949 = "IEC 60364-5-54, IEC 60949: k factor (looked up in reprints)"
# I = 5 A, R20 = 0.1 ohm, R_th = 10 K/W, C = 20 J/K, 25 degC around
CURRENT, R20, R_TH, C_TH, AMBIENT, ALPHA = 5.0, 0.1, 10.0, 20.0, 25.0, 0.00393
# a winding in a housing: R_wh, C_w, R_ha, C_h, loss [W]
PAIR, LOSS = (3.0, 8.0, 7.0, 60.0), 4.0


def heated(seconds: float) -> float:
    """Return the winding's temperature [degC], by our rate and scipy's integrator."""

    def rate(_: float, T: np.ndarray) -> list[float]:
        return [node_rate(CURRENT**2 * resistance_at(R20, 20.0, T[0], ALPHA), T[0], AMBIENT, R_TH, C_TH)]

    return float(solve_ivp(rate, (0.0, seconds), [AMBIENT], rtol=1e-10, atol=1e-10).y[0, -1])


def time_constant() -> float:
    """Return the time constant [s] of that rise, from where it stands at 100 s and at 200 s."""
    end = final_temperature(CURRENT, R20, R_TH, AMBIENT, ALPHA)
    return 100.0 / log((end - heated(100.0)) / (end - heated(200.0)))


def adiabatic(start: float, end: float) -> float:
    """Return k [A·s^0.5/mm²] of copper that keeps its heat, from ``start`` to ``end`` [degC] at 20 A/mm²."""
    density, heat = 20.0, 3.45e-3

    def rate(_: float, T: np.ndarray) -> list[float]:
        rho = resistance_at(17.241e-6, 20.0, T[0], 1.0 / 254.5)
        return [node_rate(density**2 * rho, T[0], start, inf, heat)]

    def arrived(_: float, T: np.ndarray) -> float:
        return T[0] - end

    arrived.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(rate, (0.0, 1e3), [start], events=arrived, rtol=1e-10, atol=1e-10)
    return density * sqrt(run.t_events[0][0])


@cache
def pair_matrix() -> tuple[float, float]:
    """Return the (slow, fast) time constants [s] of winding and housing, from numpy's eigenvalues."""
    zero = np.array(two_node_rates(0.0, 0.0, 0.0, 0.0, *PAIR))
    matrix = np.column_stack(
        [two_node_rates(0.0, 1.0, 0.0, 0.0, *PAIR) - zero, two_node_rates(0.0, 0.0, 1.0, 0.0, *PAIR) - zero]
    )
    slow, fast = sorted(-1.0 / np.linalg.eigvals(matrix).real, reverse=True)
    return float(slow), float(fast)


@cache
def pair_at(seconds: float) -> tuple[float, float]:
    """Return (winding, housing) temperatures [degC] after so long a constant loss, in plain time steps."""
    winding = housing = AMBIENT
    dt = 0.01
    for _ in range(round(seconds / dt)):
        dw, dh = two_node_rates(LOSS, winding, housing, AMBIENT, *PAIR)
        winding, housing = winding + dt * dw, housing + dt * dh
    return winding, housing


def short_time_loss(share: float) -> float:
    """Return by how much the loss may exceed the lasting one in a run of ``share`` time constants from cold."""
    seconds = share * R_TH * C_TH
    run = solve_ivp(
        lambda _, T: [node_rate(1.0, T[0], 0.0, R_TH, C_TH)], (0.0, seconds), [0.0], rtol=1e-10, atol=1e-12
    )
    return R_TH / float(run.y[0, -1])


HEAT = Subject(
    "Heat",
    (
        "Each winding is one body, its housing a second one: no gradient within the disc, no heat from one wheel "
        "to the next, thermal resistances that do not depend on temperature or air speed. A hot spot under the "
        "magnets is hotter than the figure printed.",
        "The closed forms hold for constant current (which can run away) or constant voltage (which cannot).",
    ),
    [
        closed("resistance at 25 °C", "0.101965", "Ω", lambda: resistance_at(R20, 20.0, AMBIENT, ALPHA), rel=1e-6),
        closed("final temperature, I²·Ra·Rth/(1 − X) above ambient", "53.26864", "°C",
               lambda: final_temperature(CURRENT, R20, R_TH, AMBIENT, ALPHA), rel=1e-6),
        *[
            closed(f"… on the way, after {seconds:g} s", T, "°C", lambda seconds=seconds: heated(seconds), rel=1e-5,
                   by="time steps", wobble=1e-7)
            for seconds, T in ((100.0, "35.25953"), (200.0, "41.79557"), (400.0, "48.61219"))
        ],
        closed("… time constant Rth·C/(1 − X)", "221.791", "s", time_constant, rel=1e-4, by="time steps",
               wobble=1e-6),
        closed("current of thermal runaway 1/sqrt(α·R20·Rth)", "15.95158", "A",
               lambda: runaway_current(R20, R_TH, ALPHA), rel=1e-6),
        closed("lasting current for 130 °C", "8.56205", "A",
               lambda: continuous_current(130.0, R20, R_TH, AMBIENT, ALPHA), rel=1e-6),
        closed("the voltage that holds at 130 °C at stall, put back as a loss", "130", "°C",
               lambda: AMBIENT + R_TH * 1.5 * stall_voltage(130.0, R20, R_TH, AMBIENT, ALPHA) ** 2
               / resistance_at(R20, 20.0, 130.0, ALPHA), rel=1e-9),
        Check("short heating of copper, 70 to 160 °C", IEC_60949, "115", "A·s^½/mm²",
              lambda: adiabatic(70.0, 160.0), rel=2e-3, by="time steps", wobble=1e-7),
        Check("short heating of copper, 90 to 250 °C", IEC_60949, "143", "A·s^½/mm²",
              lambda: adiabatic(90.0, 250.0), rel=2e-3, by="time steps", wobble=1e-7),
        closed("first rise of copper at 20 A/mm²", "1.9992", "K/s",
               lambda: node_rate((20e6) ** 2 * conductor_resistance(1.0, 1.0, 20.0), 20.0, 20.0, 1.0, 385.0 * 8960.0),
               rel=1e-4),
        *[
            closed(f"loss allowed for {name} time constant(s) from cold, 1/(1 − e^−x)", ratio, "",
                   lambda share=share: short_time_loss(share), rel=1e-4, by="time steps", wobble=1e-7)
            for name, share, ratio in (("1/3", 1.0 / 3.0, "3.5277"), ("1", 1.0, "1.5820"), ("2", 2.0, "1.1565"))
        ],
        library("winding in a housing: slow time constant", "numpy", lambda: pair_matrix()[0], "s",
                lambda: two_node_time_constants(*PAIR, 0.0)[0], rel=1e-5),
        library("winding in a housing: fast time constant", "numpy", lambda: pair_matrix()[1], "s",
                lambda: two_node_time_constants(*PAIR, 0.0)[1], rel=1e-5),
        closed("… settled winding, P·(R_wh + R_ha) above ambient", "65", "°C",
               lambda: pair_at(3000.0)[0], rel=1e-3, by="time steps", wobble=1e-7),
        closed("… settled housing, P·R_ha above ambient", "53", "°C",
               lambda: housing_temperature(pair_at(3000.0)[0], AMBIENT, PAIR[0], PAIR[2]), rel=1e-3,
               by="time steps", wobble=1e-7),
    ],
)  # fmt: skip
