"""The search: points all over the space on few grounds, the better half on more, then downhill from the best.

Deterministic: the points come from the seed, the simplex from the points, the runs from their grounds.  Imports the
objective, scipy where it is used.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice

import numpy as np

from drivesim.errors import DrivesimError
from drivesim.tuning.objective import Objective
from drivesim.tuning.problem import Problem
from drivesim.tuning.require import Missed
from drivesim.tuning.space import Point

DRAWN = 8  # times the points asked for: so many are drawn at most where most of them miss what is required
BATCH = 64  # points drawn at once, a power of two
RUNGS = ((0.25, 0.4), (0.5, 0.5))  # share of the training grounds, share of the points that go on from it
FIRST_STEP = 0.12  # of the way between the bounds: size of the first simplex
CLOSE = 0.01  # of it: a simplex this small is not refined any more
WALL = 10.0  # cost of gains that are not taken, to which what they miss is added


class NothingKeepsError(DrivesimError):
    """No gains between the bounds keep what is required, or every run of those that do breaks off."""


@dataclass
class Tried:
    """One point that was looked at: its gains, what it costs over how many grounds, or why it is not taken."""

    point: Point
    cost: float = math.nan
    grounds: int = 0
    reason: str = ""
    found_by: str = "spread over the space"


@dataclass
class Found:
    """What the search found: the best gains, the finalists with their costs, all that was tried."""

    best: Point
    finalists: dict[Point, float]
    tried: dict[Point, Tried] = field(default_factory=dict)


def search(objective: Objective) -> Found:
    """Return the best gains found.  Raises NothingKeepsError where no gains in the space keep what is required."""
    problem = objective.problem
    seeds = list(problem.study.training_seeds)
    log = _Log(objective)
    begin = [problem.start, *problem.by_rule.values()]
    for name, point in (("shipped", problem.start), *problem.by_rule.items()):
        log.look(point, name)
    spread = spread_points(objective, log)
    points = [p for p in dict.fromkeys([*begin, *spread]) if not log.tried[p].reason]
    if not points:
        raise NothingKeepsError(nothing_keeps(problem, log.tried))
    for share, keep in RUNGS:
        few = seeds[: max(2, math.ceil(share * len(seeds)))]
        log.drive(points, few)
        points = [p for p in points if not log.tried[p].reason]
        ranked = sorted(filter(problem.space.holds, points), key=lambda p: (log.tried[p].cost, p))
        kept = set(ranked[: max(objective.problem.study.search.finalists, math.ceil(keep * len(ranked)))])
        points = [p for p in points if p in kept or p in begin]
    log.drive(points, seeds)
    points = [p for p in points if not log.tried[p].reason]
    if not points:
        raise NothingKeepsError(nothing_keeps(problem, log.tried))
    if problem.study.search.refine:
        refine(objective, log, min(points, key=lambda p: (log.tried[p].cost, p)), seeds)
    return decide(objective, log, seeds)


def decide(objective: Objective, log: _Log, seeds: Sequence[int]) -> Found:
    """Return the best of the finalists, over the training grounds and as many new ones: luck does not last twice.

    Of gains that cost the same, those of the scenario.  Raises NothingKeepsError.
    """
    study, start, space = objective.problem.study, objective.problem.start, objective.problem.space
    able = [t for t in log.tried.values() if t.grounds == len(seeds) and not t.reason]
    whole = [t for t in able if space.holds(t.point)]
    ranked = sorted(whole, key=lambda t: (t.cost, t.point != start, t.point))[: study.search.finalists]
    both = [*seeds, *study.final_seeds]
    objective.drive([t.point for t in ranked], both)
    costs = {t.point: objective.cost(t.point, both) for t in ranked if objective.late(t.point, both) is None}
    if not costs:
        raise NothingKeepsError(nothing_keeps(objective.problem, log.tried))
    if not any(m and m["finished"] for point in costs for m in objective.measures(point, both)):
        raise NothingKeepsError(
            f"every run of the best gains broke off before its end, {len(both)} grounds each: there is nothing to "
            "choose by; see with drivesim run what ends them"
        )
    return Found(min(costs, key=lambda p: (costs[p], p != start, p)), costs, log.tried)


def spread_points(objective: Objective, log: _Log) -> list[Point]:
    """Return points all over the space that keep what can be told without driving."""
    most = objective.problem.study.search.points
    found: list[Point] = []
    for shares in islice(spread(objective.problem), DRAWN * most):
        point = objective.problem.space.point(shares)
        log.look(point, "spread over the space")
        if not log.tried[point].reason and point not in found:
            found.append(point)
        if len(found) == most:
            break
    return found


def spread(problem: Problem) -> Iterator[np.ndarray]:
    """Give the points of a scrambled Sobol' sequence without end: same seed, same points."""
    from scipy.stats import qmc

    draw = qmc.Sobol(len(problem.space.gains), rng=np.random.default_rng(problem.study.seed))
    while True:
        yield from draw.random(BATCH)


def refine(objective: Objective, log: _Log, best: Point, seeds: Sequence[int]) -> None:
    """Go downhill from ``best`` by Nelder and Mead's simplex (Computer Journal 7, 1965; scipy's) within the bounds."""
    from scipy.optimize import minimize

    space = objective.problem.space
    centre = space.shares(best)
    simplex = [centre]
    for i, share in enumerate(centre):
        corner = centre.copy()
        corner[i] = share + FIRST_STEP if share + FIRST_STEP <= 1.0 else share - FIRST_STEP
        simplex.append(corner)

    def at(shares: np.ndarray) -> float:
        point = space.point(shares)
        log.look(point, "downhill")
        log.drive([point], seeds)
        tried, missed = log.tried[point], objective.late(point, seeds)
        return WALL + missed.by if missed is not None else tried.cost

    minimize(
        at, centre, method="Nelder-Mead", bounds=[(0.0, 1.0)] * len(centre),
        options={
            "initial_simplex": np.array(simplex), "maxfev": objective.problem.study.search.refine,
            "xatol": CLOSE, "fatol": 1e-4,
        },
    )  # fmt: skip


def nothing_keeps(problem: Problem, tried: dict[Point, Tried]) -> str:
    """Return one line: that no gains keep what is required, and what came nearest."""
    start = tried[problem.start].reason
    reasons = [t.reason for t in tried.values() if t.reason]
    common = max(set(reasons), key=lambda r: (reasons.count(r), r)) if reasons else ""
    return (
        f"no gains between the bounds keep what is required: {len(tried)} were looked at; "
        f"those of the scenario have {start or 'no fault'}, and most often it was: {common}; "
        "ask for less, or give wider bounds"
    )


class _Log:
    """Keeps what was tried."""

    def __init__(self, objective: Objective) -> None:
        self.objective, self.tried = objective, dict[Point, Tried]()

    def look(self, point: Point, found_by: str) -> None:
        """Note a point, and why it cannot be taken if that shows without driving."""
        if point not in self.tried:
            missed = self.objective.missed(point)
            self.tried[point] = Tried(point, reason=missed.reason if missed else "", found_by=found_by)

    def drive(self, points: Sequence[Point], seeds: Sequence[int]) -> None:
        """Drive the points that can be taken over grounds, and note what they cost and what they miss there."""
        able = [point for point in points if self.objective.missed(point) is None]
        self.objective.drive(able, seeds)
        for point in able:
            tried, missed = self.tried[point], self.late(point, seeds)
            tried.cost, tried.grounds = self.objective.cost(point, seeds), len(seeds)
            tried.reason = missed.reason if missed else ""

    def late(self, point: Point, seeds: Sequence[int]) -> Missed | None:
        """Return what a point misses on these grounds."""
        return self.objective.late(point, seeds)
