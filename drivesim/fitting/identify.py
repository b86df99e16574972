"""What the readings cannot tell: parameters that only a combination is known of, and the test that would part them.

Imports the solver.  Condition indices and shares of variance: Belsley, Kuh and Welsch, Regression Diagnostics, 1980
(from memory): an index above 30 with two shares above one half is a strong near dependence.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import NamedTuple

import numpy as np

from drivesim.fitting.solve import RANK, Array, Solution

STRONG = 30.0  # condition index
SHARE = 0.5  # of a parameter's variance
VAGUE = 0.5  # half of the interval as a share of the parameter's size, from which it counts as hardly known

#: which test parts what; the first row counts whose names all or some stand among the parameters
MENDS: tuple[tuple[tuple[str, ...], str], ...] = (
    (("wheel.inertia",), "a no_load test, which shows the drag by itself"),
    (("bearing.dry", "bearing.viscous"), "no_load rows at several voltages, or a spin_down to standstill"),
    (("tyre.rolling_resistance", "bearing.dry"), "a spin_down or no_load test with the wheels off the ground"),
    (("motor.terminal_resistance",), "a locked_rotor test"),
    (("motor.phase_resistance",), "a locked_rotor test"),
    (("motor.flux_linkage",), "a back_emf or no_load test"),
    (("motor.torque_constant",), "a back_emf or no_load test"),
    (("motor.back_emf_constant",), "a back_emf or no_load test"),
    (("motor.speed_constant",), "a back_emf or no_load test"),
    (("housing.thermal_resistance",), "a warm_up test with housing_temperature, until it settles"),
    (("housing.film_coefficient",), "a warm_up test with housing_temperature, until it settles"),
    (("winding.thermal_resistance",), "a warm_up test until the temperature settles"),
    (("winding.heat_capacity",), "a warm_up test with rows from its first seconds"),
    (("battery.diffusion_time",), "a cell_pulse test with a longer pulse and a longer rest after it"),
    (("battery.diffusion_resistance",), "a cell_pulse test with a longer pulse and a longer rest after it"),
    (("battery.cell_resistance",), "a cell_pulse test with rows just before and after a step of the current"),
    (("bearing.dry",), "a spin_down to standstill"),
    (("bearing.viscous",), "no_load rows at higher voltages, or a faster spin_down"),
)  # fmt: skip


class Blind(NamedTuple):
    """What the readings do not tell: the parameters involved, how badly, and the test that would help."""

    paths: tuple[str, ...]
    condition: float  # condition index; inf where nothing is told at all
    mend: str


def blind_spots(
    solution: Solution, paths: Sequence[str], sizes: Array, weight: Array
) -> tuple[list[Blind], float]:
    """Return what the readings cannot tell, the worst first, and the condition number of the whole.

    ``sizes``: what each parameter's interval is measured by, where its value is smaller; ``weight``: 1/noise of each
    reading, 0 where it is left out.
    """
    weighted = solution.jacobian * weight[:, None]
    lengths = np.sqrt((weighted**2).sum(axis=0))
    silent = [i for i, length in enumerate(lengths) if length == 0]
    found = [Blind((paths[i],), np.inf, mend([paths[i]])) for i in silent]
    heard = [i for i in range(len(paths)) if i not in silent]
    if not heard:
        return found, np.inf
    _, s, Vt = np.linalg.svd(weighted[:, heard] / lengths[heard], full_matrices=False)
    s = np.maximum(s, RANK * s[0])
    parts = (Vt / s[:, None]) ** 2  # (direction, parameter)
    shares = parts / parts.sum(axis=0)
    half = solution.half_width
    relative = half / np.maximum(np.abs(solution.x), sizes)
    told: set[int] = set()
    for k in np.argsort(-s)[::-1]:
        index = float(s[0] / s[k])
        involved = [heard[j] for j in range(len(heard)) if shares[k, j] > SHARE]
        harmed = [i for i in involved if relative[i] > VAGUE]
        if index > STRONG and len(involved) > 1 and harmed and not told & set(involved):
            names = [paths[i] for i in involved]
            found.append(Blind(tuple(names), index if index < 0.9 / RANK else np.inf, mend(names)))
            told |= set(involved)
    for i in heard:
        if i not in told and relative[i] > VAGUE:
            found.append(Blind((paths[i],), float(s[0] / s[-1]), mend([paths[i]])))
    return found, float(s[0] / s[-1])


def mend(paths: Collection[str]) -> str:
    """Return the test that would tell these parameters apart, in words; '' where none is known."""
    for names, words in MENDS:
        if all(any(path.endswith(name) for path in paths) for name in names):
            return words
    return ""
