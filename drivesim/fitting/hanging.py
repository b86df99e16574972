"""Which results hang on numbers that were kept as in the file, and how far; imports the fit's rounds and the solver.

The error of a kept number is in no interval: this says what such an error would do.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from drivesim.fitting.joint import Joint
from drivesim.fitting.parameters import Parameter
from drivesim.fitting.solve import inverse_of
from drivesim.fitting.told import Round

STEP = 0.1  # of a kept number: what its error may well be
OF_DRAG = 0.5  # the same of a bearing's drag, which is hardly ever known
COUNTS = 0.25  # of half an interval; a result that such an error moves further hangs on it

#: which test tells a number by itself, by the end of its path
TELLS = {
    "motor.terminal_resistance": "a locked_rotor test", "motor.phase_resistance": "a locked_rotor test",
    "motor.flux_linkage": "a back_emf test", "motor.torque_constant": "a back_emf test",
    "motor.back_emf_constant": "a back_emf test", "motor.speed_constant": "a back_emf test",
    "bearing.dry": "a spin_down or a no_load test with the current", "wheel.inertia": "a no_load test with the current",
    "bearing.viscous": "a spin_down or a no_load test with the current",
    "thermal_resistance": "a warm_up test", "heat_capacity": "a warm_up test", "film_coefficient": "a warm_up test",
    "thickness": "a warm_up test", "battery.cell_resistance": "a cell_pulse test",
    "battery.diffusion_resistance": "a cell_pulse test", "battery.diffusion_time": "a cell_pulse test",
}  # fmt: skip


class Hanging(NamedTuple):
    """A kept number, the results that hang on it, and by what share ``step`` more of it moves them at most."""

    kept: Parameter
    step: float
    results: tuple[str, ...]
    moves: float
    tells: str


def hanging(last: Round, kept: Sequence[Parameter]) -> list[Hanging]:
    """Return the numbers ``kept`` on which those that the last round of a fit tells hang."""
    joint, data, solution = last.joint, last.data, last.solution
    fitted = [i for i, p in enumerate(joint.parameters) if last.told[i] and not p.log]
    if not fitted:
        return []
    all_ = Joint(joint.scenario, joint.logs, (*joint.parameters, *kept))
    values = dict(zip([p.path for p in joint.parameters], solution.x.tolist(), strict=True))
    inverse = inverse_of(solution, data.channel)
    weight = np.where(solution.kept, 1 / solution.noise[data.channel], 0.0)
    half, scale = solution.half_width, np.array([p.scale for p in joint.parameters])
    found = []
    for p in kept:
        step = OF_DRAG if ".bearing." in p.path else STEP
        change = all_.predicted(values | {p.path: p.value + step * p.scale})
        moved = np.abs(inverse @ ((change - solution.model) * weight))
        hit = [i for i in fitted if moved[i] > COUNTS * half[i]]
        if hit:
            share = float(max(moved[i] / max(abs(solution.x[i]), 1e-3 * scale[i]) for i in hit))
            names = tuple(joint.parameters[i].path for i in hit)
            tells = next((test for end, test in TELLS.items() if p.path.endswith(end)), "")
            found.append(Hanging(p, step, names, share, tells))
    return found
