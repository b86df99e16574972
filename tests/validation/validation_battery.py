"""Checks of the battery: the published polymer cell, its diffusion, the sag under constant power."""

from __future__ import annotations

from math import exp

import numpy as np
from scipy.integrate import solve_ivp
from validation_check import Check, Subject, closed, library

from drivesim.physics.supply import (
    advance_bus,
    diffusion_step,
    greatest_power,
    polymer_cell_long_pair,
    polymer_cell_resistance,
    polymer_cell_short_pair,
    polymer_cell_voltage,
    ride_through_time,
    terminal_voltage,
)

CHEN = "Chen, Rincon-Mora, IEEE Trans. Energy Conversion 21(2), 2006 (looked up in public code)"
CELL = "akkus-battery.com, definitions (looked up)"


def discharged(seconds: float) -> float:
    """Return the cell's voltage [V] this long after a step to 1C = 0.85 A, its charge frozen at one half."""
    current, dt = 0.85, 0.5
    pairs = [polymer_cell_short_pair(0.5), polymer_cell_long_pair(0.5)]
    drops = [0.0, 0.0]
    for _ in range(round(seconds / dt)):
        drops = [
            diffusion_step(v, current, R, exp(-dt / (R * C))) for v, (R, C) in zip(drops, pairs, strict=True)
        ]
    return polymer_cell_voltage(0.5) - current * polymer_cell_resistance(0.5) - sum(drops)


def settled_bus() -> float:
    """Return the voltage [V] on which a bus with 1 mF settles under 200 W, 11.1 V behind 60 mohm."""
    V = 11.1
    for _ in range(2000):
        V = advance_bus(V, 11.1, 0.06, 1e-3, 200.0, 0.0, 1e-5)
    return V


def bus_on_the_way(integrator: bool) -> float:
    """Return the same bus with 50 mF after 3 ms, [V]: ours, or scipy's."""
    E, R, C, P, end = 11.1, 0.06, 0.05, 200.0, 3e-3
    if integrator:
        run = solve_ivp(
            lambda _, V: [((E - V[0]) / R - P / V[0]) / C], (0.0, end), [E], rtol=1e-10, atol=1e-12
        )
        return float(run.y[0, -1])
    V = E
    for _ in range(3000):
        V = advance_bus(V, E, R, C, P, 0.0, 1e-6)
    return V


def mean_voltage() -> float:
    """Return the mean open-circuit voltage [V] over the whole charge."""
    return float(np.mean([polymer_cell_voltage(s) for s in (np.arange(1000) + 0.5) / 1000]))


BATTERY = Subject(
    "Battery and bus",
    (
        "A cell is an open-circuit voltage over charge, a series resistance and one R–C pair (the published cell "
        "has two: choose the pair for the seconds that matter). No temperature, no ageing, no spread between "
        "cells; the published fit is invalid below 2 % charge and tops out at 4.10 V.",
        "Constant power on a resistance has a solution up to E²/(4·R); beyond, the bus collapses, and a run "
        "says so.",
    ),
    [
        *[
            closed(f"open-circuit voltage at {100 * soc:g} % charge", volts, "V",
                   lambda soc=soc: polymer_cell_voltage(soc), source=CHEN, apart=6e-5)
            for soc, volts in ((0.0, "2.6540"), (0.05, "3.5164"), (0.1, "3.6746"), (0.2, "3.7250"),
                               (0.3, "3.7477"), (0.5, "3.8034"), (0.7, "3.8880"), (0.9, "4.0170"), (1.0, "4.1029"))
        ],
        *[
            closed(f"series resistance at {100 * soc:g} % charge", ohms, "Ω",
                   lambda soc=soc: polymer_cell_resistance(soc), source=CHEN, apart=6e-6)
            for soc, ohms in ((0.0, "0.23066"), (0.05, "0.12064"), (0.1, "0.08812"), (0.2, "0.07565"),
                              (0.5, "0.07446"))
        ],
        Check("short diffusion pair's resistance, nearly full cell", CHEN, "0.04669", "Ω",
              lambda: polymer_cell_short_pair(0.9)[0], rel=1e-4),
        Check("long diffusion pair's resistance, nearly full cell", CHEN, "0.04984", "Ω",
              lambda: polymer_cell_long_pair(0.9)[0], rel=1e-4),
        closed("short pair's time constant at half charge", "32.8", "s",
               lambda: float(np.prod(polymer_cell_short_pair(0.5))), rel=2e-3),
        closed("long pair's time constant at half charge", "223", "s",
               lambda: float(np.prod(polymer_cell_long_pair(0.5))), rel=1e-3),
        Check("mean open-circuit voltage (nominal 3.6 to 3.8 V printed)", CELL, "3.7", "V",
              mean_voltage, share=(0.97, 1.04)),
        *[
            closed(f"{after} after a step to 1C", volts, "V", lambda seconds=seconds: discharged(seconds),
                   rel=1e-4, by="time steps")
            for after, seconds, volts in (("0 s", 0.0, "3.74007"), ("1 s", 1.0, "3.73869"), ("30 s", 30.0, "3.71096"),
                                          ("60 s", 60.0, "3.69677"), ("300 s", 300.0, "3.66906"),
                                          ("long", 4000.0, "3.65802"))
        ],
        closed("11.1 V behind 60 mΩ under 200 W: voltage", "9.886185", "V",
               lambda: terminal_voltage(11.1, 0.06, 200.0), rel=1e-6),
        closed("… current", "20.230251", "A", lambda: 200.0 / terminal_voltage(11.1, 0.06, 200.0), rel=1e-6),
        closed("… greatest power", "513.375", "W", lambda: greatest_power(11.1, 0.06), rel=1e-9),
        closed("… the voltage a bus with 1 mF settles on", "9.886185", "V", settled_bus, rel=1e-6,
               by="time steps"),
        library("… with 50 mF, after 3 ms", "scipy", lambda: bus_on_the_way(True), "V",
                lambda: bus_on_the_way(False), rel=1e-3, by="time steps", wobble=1e-7),
        closed("1 mF alone feeds 5 W from 8 to 6 V for C·(V0² − V1²)/(2·P)", "2.8", "ms",
               lambda: 1e3 * ride_through_time(1e-3, 8.0, 6.0, 5.0), rel=1e-9),
    ],
)  # fmt: skip
