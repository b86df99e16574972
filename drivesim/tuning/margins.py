"""Margins and step response of the linear loop, its dead time exact; imports the plant and physics.

Open loop, with the PI's output held for a sample and the speed measured late as one dead time:

    L(jω) = (kp + ki/jω)·gain·exp(−jω·delay)/(jω·lag + 1)

Its size falls with the frequency, so that it passes one at most once, and the loop is stable if its phase has turned by
less than half a turn there (Nyquist).  With kp/ki = t the phase passes half a turn where

    atan(1/(ω·lag)) + atan(ω·t) = ω·delay

and only there: atan(ω·t) − ω·delay, concave, is zero once at most and falls from there on, and so does atan(1/(ω·lag)).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from drivesim.physics import loop
from drivesim.tuning.plant import Plant

CLOSE = 1e-14  # of the frequency where the phase has turned by half a turn
FINE = 400  # steps to a dead time, or to a lag where there is none
MOST_STEPS = 200_000
WILD = 1e6  # a response beyond this grows without end


@dataclass(frozen=True)
class Margins:
    """How far a loop is from swinging by itself.

    ``gain``: factor by which all gains may grow, below 1 that by which they must shrink; ``phase`` [rad], negative
    where the loop swings up; ``crossover`` and ``turnover`` [rad/s]: where the open loop's size is one, and where
    its phase has turned by half a turn.  ``inf`` and NaN where there is none.
    """

    gain: float
    phase: float
    crossover: float
    turnover: float

    @property
    def stable(self) -> bool:
        """Whether the linear loop comes to rest."""
        return self.phase > 0.0


def open_loop(plant: Plant, kp: float, ki: float, omega: np.ndarray) -> np.ndarray:
    """Return the open loop's complex gain at the frequencies ``omega`` [rad/s]."""
    s = 1j * omega
    response: np.ndarray = (kp + ki / s) * plant.gain * np.exp(-s * plant.delay) / (s * plant.lag + 1.0)
    return response


def phase(plant: Plant, kp: float, ki: float, omega: float) -> float:
    """Return the open loop's phase [rad] at ``omega`` [rad/s], counted on beyond a full turn."""
    return math.atan2(-ki, kp * omega) - math.atan(omega * plant.lag) - omega * plant.delay


def margins(plant: Plant, kp: float, ki: float) -> Margins:
    """Return the margins of the loop with these gains: crossover in closed form, turnover by Brent's method."""
    if kp <= 0.0 and ki <= 0.0:
        return Margins(math.inf, math.inf, math.nan, math.nan)
    crossover = float(loop.crossover(plant.gain, plant.lag, kp, ki))
    left = math.inf if crossover == 0.0 else -math.inf  # always below one, or never
    if 0.0 < crossover < math.inf:
        left = math.pi + phase(plant, kp, ki, crossover)
    else:
        crossover = math.nan
    turnover, gain = turnover_of(plant, kp, ki), math.inf
    if math.isfinite(turnover):
        gain = float(1.0 / abs(open_loop(plant, kp, ki, np.array([turnover]))[0]))
    return Margins(gain, left, crossover, turnover)


def turnover_of(plant: Plant, kp: float, ki: float) -> float:
    """Return the frequency [rad/s] at which the open loop's phase has turned by half a turn; NaN without a delay."""
    from scipy.optimize import brentq

    if plant.delay <= 0.0:
        return math.nan

    def left(omega: float) -> float:
        return math.atan2(1.0, omega * plant.lag) + math.atan2(kp * omega, ki) - omega * plant.delay

    return float(brentq(left, 0.0, 1.01 * math.pi / plant.delay, xtol=1e-300, rtol=CLOSE, maxiter=2000))


def step_response(plant: Plant, kp: float, ki: float, until: float) -> tuple[np.ndarray, np.ndarray]:
    """Return times [s] and true speeds after a unit step of the set-point, nothing held or limited.

    The plant is advanced exactly for an input that is constant over each of the small steps; NaN from where a
    response grows without end.
    """
    dt = max((plant.delay or plant.lag or until) / FINE, until / MOST_STEPS)
    late = [0.0] * (round(plant.delay / dt) + 1)
    decay = math.exp(-dt / plant.lag) if plant.lag > 0 else 0.0
    y = integral = 0.0
    ahead = round(plant.measuring / dt)  # the true speed leads the measured one, which the loop sees
    out = np.full(math.ceil(until / dt) + 1 + ahead, math.nan)
    for k in range(out.size):
        out[k] = y
        if abs(y) > WILD:
            break
        error = 1.0 - y
        late[k % len(late)] = kp * error + integral + 0.5 * ki * error * dt
        integral += ki * error * dt
        y = decay * y + (1.0 - decay) * plant.gain * late[(k + 1) % len(late)]
    return np.arange(out.size - ahead) * dt, out[ahead:]
