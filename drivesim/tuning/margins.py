"""Margins and step response of the linear loop, its dead time exact; imports the plant, and control where it is used.

Open loop, with the PI's output held for a sample and the speed measured late as one dead time:

    L(jω) = (kp + ki/jω)·gain·exp(−jω·delay)/(jω·lag + 1)

Its size falls with the frequency, so that it passes one at most once, and the loop is stable if its phase has turned by
less than half a turn there (Nyquist).  The phase passes half a turn once before it comes round again, so the first
such frequency gives the gain margin.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from drivesim.tuning.plant import Plant

POINTS = 100  # frequencies, evenly on a logarithmic scale; control interpolates between them
TURNS = 12.0  # rad that the dead time turns at the highest frequency, at least
BELOW = 0.02  # of the slowest corner: the lowest frequency
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


def frequencies(plant: Plant, kp: float, ki: float, count: int = POINTS) -> np.ndarray:
    """Return the frequencies [rad/s] at which the loop is looked at: from below all corners to beyond all crossings."""
    highest = [TURNS / plant.delay] if plant.delay > 0 else []
    corners = [1.0 / plant.delay] if plant.delay > 0 else []
    if plant.lag > 0:
        corners.append(1.0 / plant.lag)
        highest.append(3.0 * kp * plant.gain / plant.lag)
    if ki > 0:
        corners.append(ki * plant.gain)
        highest.append(3.0 * ki * plant.gain)
        if kp > 0:
            corners.append(ki / kp)
    top = max(*highest, *corners, 0.0)
    return np.geomspace(BELOW * min(*corners, top), top, count)


def margins(plant: Plant, kp: float, ki: float) -> Margins:
    """Return the margins of the loop with these gains, by python-control on its exact frequency response."""
    if kp <= 0.0 and ki <= 0.0:
        return Margins(math.inf, math.inf, math.nan, math.nan)
    import control

    omega = frequencies(plant, kp, ki)
    response = open_loop(plant, kp, ki, omega)
    gains, _, _, turnovers, crossovers, _ = control.stability_margins(
        control.frd(response, omega, smooth=True), returnall=True
    )
    if len(crossovers):
        crossover = float(crossovers[0])
        left = math.pi + phase(plant, kp, ki, crossover)
    else:  # always below one, or never
        crossover, left = math.nan, math.inf if abs(response[0]) < 1.0 else -math.inf
    turnover, gain = min(zip(turnovers, gains, strict=True), default=(math.nan, math.inf))
    return Margins(float(gain), left, crossover, float(turnover))


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
