"""The fit itself: what the readings do not tell is held at the file's values, and the rest fitted beside it.

Imports the joint problem, the solver, and what cannot be told.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from drivesim.fitting.identify import Blind, blind_spots
from drivesim.fitting.joint import Joint
from drivesim.fitting.parameters import Parameter
from drivesim.fitting.solve import Array, Data, Search, Solution, solve

OF_NOTHING = 2.0  # times the scale: the size of a number that is 0 in the file
AT_LIMIT = 1e-3  # of a parameter's scale, from which it stands at its limit


class Round(NamedTuple):
    """One fit, and which of its parameters the readings tell."""

    joint: Joint
    data: Data
    search: Search
    solution: Solution
    blind: list[Blind]
    condition: float
    told: tuple[bool, ...]

    @property
    def untold(self) -> list[Parameter]:
        """The rover's numbers that go back to the file's values."""
        return [p for p, told in zip(self.joint.parameters, self.told, strict=True) if not told and not p.log]


def rounds_of(joint: Joint) -> list[Round]:
    """Return the fit of all parameters, and those after it in which what was not told is held; the last one counts."""
    rounds = [_round(joint, None)]
    while lost := rounds[-1].untold:
        last = rounds[-1]
        rest = [
            (p, x)
            for p, x in zip(last.joint.parameters, last.solution.x.tolist(), strict=True)
            if p not in lost
        ]
        if all(p.log for p, _ in rest):
            break
        held = Joint(joint.scenario, joint.logs, [p for p, _ in rest])
        held.on_progress(joint.tick)
        rounds.append(_round(held, np.array([x for _, x in rest])))
    return rounds


def _round(joint: Joint, start: Array | None) -> Round:
    data, search = joint.data(), joint.search()
    if start is not None:
        search = search._replace(start=start)
    solution = solve(joint.model, data, search)
    weight = np.where(solution.kept, 1 / solution.noise[data.channel], 0.0)
    sizes = np.array([p.scale if p.value else OF_NOTHING * p.scale for p in joint.parameters])
    blind, condition = blind_spots(solution, [p.path for p in joint.parameters], sizes, weight)
    lost = {path for spot in blind for path in spot.paths}
    told = tuple(
        # 0 is an answer where the file allows it; what must be more than 0 and comes out so is none
        bool(good) and p.path not in lost and not (at_limit(p, x) and p.lower > 0)
        for p, x, good in zip(joint.parameters, solution.x.tolist(), solution.told, strict=True)
    )
    return Round(joint, data, search, solution, blind, condition, told)


def at_limit(p: Parameter, x: float) -> bool:
    """Tell whether a parameter came to stand at one of its limits."""
    return bool(min(x - p.lower, p.upper - x) < AT_LIMIT * p.scale)
