"""Checks of the self-commutated motor: the tutorial's DC motor and the torque–speed line."""

from __future__ import annotations

from functools import cache
from math import pi, sqrt

import control
import numpy as np
from physics_loops import regulated_speed
from validation_check import Check, Subject, closed

from drivesim.physics.motor import (
    dc_speed_for_torque,
    mechanical_time_constant,
    stall_torque,
    steady_current,
    torque,
)

TUTORIAL = "“DC Motor Speed: System Analysis”, Control Tutorials, University of Michigan (looked up)"
J, B, K, R, L = 0.01, 0.1, 0.01, 1.0, 0.5
POLES = 0.01  # few pole pairs with much flux: a dq machine without the cross coupling a DC machine lacks

# V = 12 V, R = 0.5 ohm, Kt = Ke = 0.03, dry friction 6 mN·m, J = 1e-4 kg·m²
LINE_V, LINE_K, LINE_TF, LINE_P = 12.0, 0.03, 0.006, 7.0
LINE_R, LINE_LAM = 1.5 * 0.5, LINE_K / LINE_P  # a dq machine equals a DC machine of R/1.5


@cache
def tutorial_step() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return time [s], speed [rad/s] and armature current [A] of the motor after a step of 1 V."""
    machine = (1.5 * R, 1.5 * L, K / POLES, POLES, J, B)
    speeds, currents = regulated_speed(*machine, 1.0, 0.0, 0.0, 0.0, 0.0, 2e-5, 300_000, 50)
    return np.arange(speeds.size) * 1e-3, speeds, 1.5 * currents


def tutorial_figure(name: str) -> float:
    """Return a figure of the step response, as python-control reads it."""
    time, speed, _ = tutorial_step()
    return float(control.step_info(speed, T=time, yfinal=speed[-1])[name])


def speed_at(load: float) -> float:
    """Return the speed [rad/s] of the machine of the line under a shaft ``load`` [N·m] besides its friction."""
    return dc_speed_for_torque(load + LINE_TF, LINE_V, LINE_R, LINE_LAM, LINE_P)


def net_stall() -> float:
    """Return the stall torque [N·m] that friction leaves."""
    return stall_torque(LINE_V, LINE_R, LINE_LAM, LINE_P) - LINE_TF


def best_efficiency() -> float:
    """Return the efficiency at the current sqrt(I0·I_stall)."""
    stall_current = stall_torque(LINE_V, LINE_R, LINE_LAM, LINE_P) / LINE_K
    current = sqrt(LINE_TF / LINE_K * stall_current)
    load = LINE_K * current - LINE_TF
    return load * speed_at(load) / (LINE_V * current)


def torque_from_currents() -> float:
    """Return the torque [N·m] that the steady dq currents give at half the no-load speed."""
    we = LINE_P * speed_at(net_stall() / 2.0)
    return torque(steady_current(0.0, LINE_V, LINE_R, 1e-12, LINE_LAM, we)[1], LINE_P, LINE_LAM)


MOTOR = Subject(
    "Motor",
    (
        "A surface-magnet machine with sinusoidal back-EMF: no saturation, no saliency, no iron or eddy loss. "
        "A strong field, thick solid copper in the magnets' field or a steel back plate near the winding needs "
        "the drag measured and given as bearing drag.",
        "The DC machine seen from outside holds while ω_e·L/R is small; beyond, the dq equations are used and "
        "differ from the tutorial's by (ω_e·L/R)².",
    ),
    [
        Check("step of 1 V: final speed, as rounded there", TUTORIAL, "0.1", "rad/s",
              lambda: tutorial_step()[1][-1], rel=0.002, by="time steps", wobble=1e-6),
        Check("step of 1 V: time to within 2 %", TUTORIAL, "2.07", "s",
              lambda: tutorial_figure("SettlingTime"), rel=0.005, by="time steps", wobble=1e-4),
        closed("step of 1 V: final speed K/(R·b + K²)", "0.0999001", "rad/s",
               lambda: tutorial_step()[1][-1], rel=1e-4, by="time steps", wobble=1e-6),
        closed("step of 1 V: speed after 1 s", "0.0830371", "rad/s",
               lambda: tutorial_step()[1][1000], rel=1e-3, by="time steps", wobble=1e-6),
        closed("step of 1 V: final current", "0.999001", "A",
               lambda: tutorial_step()[2][-1], rel=1e-4, by="time steps", wobble=1e-6),
        closed("step of 1 V: rise from 10 to 90 %", "1.135", "s",
               lambda: tutorial_figure("RiseTime"), rel=0.005, by="time steps", wobble=1e-4),
        closed("stall torque Kt·V/R", "0.72", "N·m",
               lambda: stall_torque(LINE_V, LINE_R, LINE_LAM, LINE_P), rel=1e-6),
        closed("no-load speed (V − I0·R)/Ke", "396.6667", "rad/s", lambda: speed_at(0.0), rel=1e-6),
        closed("greatest shaft power", "70.805", "W",
               lambda: net_stall() / 2.0 * speed_at(net_stall() / 2.0), rel=1e-5, digits=5),
        closed("speed of the greatest shaft power", "198.333", "rad/s",
               lambda: speed_at(net_stall() / 2.0), rel=1e-5),
        closed("torque there from the dq currents", "0.363", "N·m", torque_from_currents, rel=1e-6),
        closed("best efficiency (1 − sqrt(I0/I_stall))²", "0.825759", "", best_efficiency, rel=1e-6),
        closed("mechanical time constant R·J/(Kt·Ke)", "55.556", "ms",
               lambda: 1e3 * mechanical_time_constant(LINE_R, 1e-4, LINE_LAM, LINE_P), rel=1e-4),
        closed("Kv of Ke = 0.03 V·s/rad, 60/(2π·Ke)", "318.31", "rpm/V",
               lambda: dc_speed_for_torque(0.0, 1.0, LINE_R, LINE_LAM, LINE_P) * 30.0 / pi, rel=1e-4),
    ],
)  # fmt: skip
