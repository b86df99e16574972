"""Checks of speed measurement and controller loops: Hall periods, and our sampled PI around textbook plants."""

from __future__ import annotations

from functools import cache
from math import pi, sqrt

import control
import numpy as np
from validation_check import Check, Subject, closed

from drivesim._compile import compiled
from drivesim.drive.fixed_point import to_fixed
from drivesim.drive.hall import edge_angle, measured_speed
from drivesim.drive.pi import pi_step

PERIOD = "N·ω²/(2π·f − N·ω), period method (looked up: motioncontroltips.com)"
TUTORIAL = "gains of “DC Motor Speed: PID Controller Design”, Control Tutorials"
OPTIMA = "Kessler; drive-control texts (from memory)"
SKOGESTAD = "Skogestad, J. Process Control 13, 2003 (from memory)"
ZIEGLER = "Ziegler, Nichols, 1942 (from memory)"
TICK = 1e-6  # s, of a 1 MHz timer


def period_step(speed: float) -> float:
    """Return by how much [rad/s] one timer tick changes the measured speed, 42 edges a turn."""
    spacing = edge_angle(7, 3)
    period = spacing / speed
    return measured_speed(spacing, period - TICK, 0.0, 1.0) - measured_speed(spacing, period, 0.0, 1.0)


@compiled
def closed_loop(A, B, C, Kp, Ki, Ts, x, new, waiting, outputs):
    """Fill ``outputs`` with the plant's output at each sample after a unit step of the set-point, sampled PI.

    The plant x' = A·x + B·u, y = C·x is discrete with a hold already; ``waiting`` is as long as the dead time in
    samples, and one more.  All arrays are given, zeros at the start.
    """
    order, slots, integral = x.shape[0], waiting.shape[0], 0.0
    for k in range(outputs.shape[0]):
        y = 0.0
        for i in range(order):
            y += C[i] * x[i]
        outputs[k] = y
        waiting[k % slots], integral = pi_step(1.0 - y, integral, 0.0, Kp, Ki, -1e9, 1e9, 0, Ts)
        for i in range(order):
            new[i] = B[i] * waiting[(k + 1) % slots]
            for j in range(order):
                new[i] += A[i, j] * x[j]
        for i in range(order):
            x[i] = new[i]


def loop(plant: control.TransferFunction, Kp: float, Ki: float, Ts: float, end: float, delay: float = 0.0):
    """Return time and output of the sampled PI around a continuous plant with a dead time."""
    discrete = control.sample_system(control.tf2ss(plant), Ts, method="zoh")
    A, B, C = (
        np.ascontiguousarray(m, dtype=np.float64) for m in (discrete.A, discrete.B[:, 0], discrete.C[0])
    )
    outputs = np.zeros(round(end / Ts))
    state, waiting = np.zeros((2, B.size)), np.zeros(round(delay / Ts) + 1)
    closed_loop(A, B, C, Kp, Ki, Ts, state[0], state[1], waiting, outputs)
    return np.arange(outputs.size) * Ts, outputs


def crossing(time: np.ndarray, output: np.ndarray, level: float) -> float:
    """Return when [s] the output first passes a level."""
    after = int(np.argmax(output >= level))
    part = (level - output[after - 1]) / (output[after] - output[after - 1])
    return float(time[after - 1] + part * (time[after] - time[after - 1]))


def settled(time: np.ndarray, output: np.ndarray, final: float) -> float:
    """Return when [s] the output comes within 2 % for good."""
    away = np.abs(output / final - 1.0) - 0.02
    last = int(np.flatnonzero(away > 0.0)[-1])
    return float(time[last] + away[last] / (away[last] - away[last + 1]) * (time[last + 1] - time[last]))


@cache
def tutorial(Ki: float) -> tuple[float, float, float, float]:
    """Return final speed, overshoot [%], 2 % settling and 10 to 90 % rise [s] of the tutorial motor at Kp = 100."""
    time, y = loop(control.tf([0.01], [0.005, 0.06, 0.1001]), 100.0, Ki, 5e-5, 5.0)
    final = float(y[-1]) if Ki == 0.0 else 1.0
    rise = crossing(time, y, 0.9 * final) - crossing(time, y, 0.1 * final)
    return float(y[-1]), 100.0 * (float(y.max()) / final - 1.0), settled(time, y, final), rise


@cache
def optimum(symmetrical: bool) -> tuple[float, float, float]:
    """Return overshoot [%], first passing of 100 % and 2 % settling, in small time constants.

    Plant 1/((20·s + 1)·(s + 1)), or 1/(20·s·(s + 1)) for the symmetrical optimum; small time constant 1 s.
    """
    plant = control.tf([1], [20, 20, 0]) if symmetrical else control.tf([1], np.polymul([20, 1], [1, 1]))
    Kp, Ti = 20.0 / 2.0, 4.0 if symmetrical else 20.0
    time, y = loop(plant, Kp, Kp / Ti, 1e-3, 40.0)
    return 100.0 * (float(y.max()) - 1.0), crossing(time, y, 1.0), settled(time, y, 1.0)


def growth(
    plant: control.TransferFunction, Kp: float, Ki: float, Ts: float, end: float, delay: float
) -> float:
    """Return how much wider the last third of a closed loop's swing is than the middle third."""
    _, y = loop(plant, Kp, Ki, Ts, end, delay)
    third = y.size // 3
    return float(np.ptp(y[-third:]) / np.ptp(y[third:-third]))


def critical_gain(
    plant: control.TransferFunction,
    Ki_over_Kp: float,
    Ts: float,
    end: float,
    delay: float,
    low: float,
    high: float,
) -> float:
    """Return the gain at which a swing neither grows nor dies, by halving the interval."""
    while high - low > 1e-4 * high:
        middle = 0.5 * (low + high)
        if growth(plant, middle, Ki_over_Kp * middle, Ts, end, delay) < 1.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def simc_gain_margin(integrating: bool) -> float:
    """Return the gain margin of the SIMC tuning (tau_c = theta) around a dead time of 1 s, found by trying.

    Plant e^(−s)/(10·s + 1) with Kc = 5, tau_I = 10, or e^(−s)/s with Kc = 0.5, tau_I = 8.
    """
    plant = control.tf([1], [1, 0]) if integrating else control.tf([1], [10, 1])
    Kc, Ti = (0.5, 8.0) if integrating else (5.0, 10.0)
    return critical_gain(plant, 1.0 / Ti, 0.01, 120.0, 1.0, 2.0 * Kc, 4.0 * Kc) / Kc


@cache
def ultimate() -> tuple[float, float]:
    """Return the ultimate gain of 1/(s + 1)³ and the period [s] of its swing."""
    plant = control.tf([1], [1, 3, 3, 1])
    gain = critical_gain(plant, 0.0, 2e-3, 90.0, 0.0, 7.0, 9.0)
    time, y = loop(plant, gain, 0.0, 2e-3, 90.0)
    swing = y - y[-30_000:].mean()
    up = np.flatnonzero((swing[:-1] < 0.0) & (swing[1:] >= 0.0))[3:]
    at = time[up] - swing[up] / (swing[up + 1] - swing[up]) * 2e-3
    return gain, float(np.diff(at).mean())


def lag_at_lambda() -> float:
    """Return the output of a lambda-tuned loop after lambda: plant 20/(0.15·s + 1), lambda 50 ms."""
    time, y = loop(control.tf([20], [0.15, 1]), 0.15, 0.15 / 0.15, 1e-5, 0.1)
    return float(np.interp(0.05, time, y))


SPEED = Subject(
    "Speed measurement",
    (
        "Edges at equal distances, unless placement, jitter or missed edges are given; one timer, no filter. "
        "Between edges the estimate is a held value: at a crawl the loop sees nothing for tens of milliseconds.",
    ),
    [
        *[
            closed(f"step of the measured speed at {speed:g} rad/s, 42 edges a turn, 1 MHz", step, "rad/s",
                   lambda speed=speed: period_step(speed), source=PERIOD, rel=2e-4)
            for speed, step in ((10.0, "6.685e-4"), (100.0, "0.06689"), (400.0, "1.0724"))
        ],
        *[
            closed(f"time from edge to edge at {speed:g} rad/s", age, "ms",
                   lambda speed=speed: 1e3 * edge_angle(7, 3) / speed, rel=1e-4)
            for speed, age in ((1.0, "149.6"), (10.0, "14.96"), (100.0, "1.496"))
        ],
        closed("speed where counting edges for 10 ms resolves as well", "1496", "rad/s",
               lambda: edge_angle(7, 3) * sqrt(1.0 / TICK / 10e-3), rel=1e-4),
    ],
)  # fmt: skip

LOOPS = Subject(
    "Controller loops",
    (
        "Our sampled PI at fast sampling against continuous textbook loops. The plants here are the textbooks'; at "
        "the sample times and edge rates of a small rover the delays of sampling and of the Hall edges come on top, "
        "and a margin from a textbook is too good. There is no D term to compare.",
    ),
    [
        *[
            closed(f"tutorial motor, Kp = 100, Ki = {Ki:g}: {name}", value, unit,
                   lambda Ki=Ki, i=i: tutorial(Ki)[i], source=TUTORIAL, rel=0.01, by="time steps", wobble=1e-6)
            for Ki, row in ((0.0, ("0.909008", "24.92", "0.567", "0.0991")),
                            (200.0, ("1", "30.49", "0.774", "0.0986")))
            for i, (name, unit, value) in enumerate(zip(
                ("final speed", "overshoot", "settling to 2 %", "rise from 10 to 90 %"),
                ("rad/s", "%", "s", "s"), row, strict=True))
        ],
        *[
            Check(f"{name} optimum: {figure}", OPTIMA, value, unit,
                  lambda symmetrical=symmetrical, i=i: optimum(symmetrical)[i], rel=0.01, by="time steps",
                  wobble=1e-6)
            for name, symmetrical, row in (("magnitude", False, ("4.3", "4.7", "8.4")),
                                           ("symmetrical", True, ("43.4", "3.1", "16.5")))
            for i, (figure, unit, value) in enumerate(zip(
                ("overshoot", "first at 100 %", "settling to 2 %"), ("%", "T", "T"), row, strict=True))
        ],
        Check("SIMC tuning, first-order plant with dead time: gain margin", SKOGESTAD, "3.14", "",
              lambda: simc_gain_margin(False), rel=0.015, by="time steps", digits=3, wobble=1e-4),
        Check("SIMC tuning, integrating plant with dead time: gain margin", SKOGESTAD, "2.96", "",
              lambda: simc_gain_margin(True), rel=0.015, by="time steps", digits=3, wobble=1e-4),
        closed("1/(s + 1)³: ultimate gain", "8", "", lambda: ultimate()[0], source=ZIEGLER, rel=0.01,
               by="time steps", digits=3, wobble=1e-4),
        closed("1/(s + 1)³: ultimate period 2π/√3", f"{2.0 * pi / sqrt(3.0):.4f}", "s", lambda: ultimate()[1],
               source=ZIEGLER, rel=0.01, by="time steps", digits=3, wobble=1e-4),
        closed("lambda tuning: output after lambda, 1 − 1/e", "0.632121", "", lag_at_lambda, rel=0.002,
               by="time steps", wobble=1e-6),
        closed("0.1 in a word of 16 bits with 15 of fraction", "3277", "", lambda: to_fixed(0.1, 15, 16), rel=1e-9),
        closed("2.0 in the same word: held at its greatest", "32767", "", lambda: to_fixed(2.0, 15, 16), digits=5,
               rel=1e-9),
    ],
)  # fmt: skip
