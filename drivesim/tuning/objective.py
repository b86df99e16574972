"""What gains cost: runs over grounds, each driven once, parts of the cost as multiples of the gains as they are.

Imports the problem, the farm of runs, and what gains must keep.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np

from drivesim.scenario.scenario import Scenario
from drivesim.study.farm import Measures, farm
from drivesim.tuning.problem import Problem
from drivesim.tuning.require import Missed, missed_in_runs, missed_without_runs
from drivesim.tuning.space import Point

BROKEN_OFF = 5.0  # least cost of a run that did not come to its end, and cost of one without numbers

#: for each part of the cost: how it comes from a run's figures, its unit, and the least that counts as its scale,
#: so that a part that the gains as they are hardly show does not outweigh all others
PARTS: dict[str, tuple[Callable[[Measures, Scenario], float], str, float]] = {
    "way_missed": (lambda m, s: abs(1.0 - m["progress_share"]), "1", 0.02),
    "stuck": (lambda m, s: m["stuck"], "s", 0.1),
    "failed": (lambda m, s: 1.0 - m["moving"], "1", 0.05),
    "tracking": (lambda m, s: m["tracking"], "rad/s", 0.05),
    "circulating_power": (lambda m, s: m["circulating_power"], "W", 1e-4),
    "slip_energy": (lambda m, s: m["slip_energy"], "J", 0.01),
    "copper_energy": (lambda m, s: m["copper_energy"], "J", 0.1),
    "peak_temperature": (lambda m, s: m["peak_temperature"] - s.ambient, "K", 0.5),
    "energy": (lambda m, s: m["energy"], "J", 0.1),
}


class Objective:
    """Drives gains over grounds and keeps every run, so that none is driven twice."""

    def __init__(
        self, problem: Problem, *, jobs: int | None = None, progress: Callable[[int], None] | None = None
    ) -> None:
        self.problem = problem
        self.runs = 0
        self.scales: dict[str, float] = {}
        self._jobs, self._progress = jobs, progress
        self._known: dict[tuple[Point, int], Measures] = {}
        self._missed: dict[Point, Missed | None] = {}
        self.drive([problem.start], problem.study.training_seeds)
        for part in problem.study.cost.weights:
            _, _, least = PARTS[part]
            found = self._parts(problem.start, problem.study.training_seeds, part)
            known = found[np.isfinite(found)]  # of runs that came to their end
            self.scales[part] = max(float(known.mean()) if known.size else 0.0, least)

    def drive(self, points: Iterable[Point], seeds: Sequence[int]) -> None:
        """Run what is not known yet of these gains on these grounds, all at once."""
        wanted = [
            (point, seed)
            for point in dict.fromkeys(points)
            for seed in seeds
            if (point, seed) not in self._known and self.able(point)
        ]
        bases = {point: self.problem.scenario(point) for point in dict.fromkeys(point for point, _ in wanted)}
        found = self.farmed([bases[point].model_copy(update={"seed": seed}) for point, seed in wanted])
        for key, measures in zip(wanted, found, strict=True):
            self._known[key] = measures

    def able(self, point: Point) -> bool:
        """Tell whether gains are driven: those that keep what is required, and the scenario's own in any case."""
        return point == self.problem.start or self.missed(point) is None

    def farmed(self, scenarios: Sequence[Scenario]) -> list[Measures]:
        """Run scenarios on the threads and count them."""
        before, report = self.runs, self._progress
        found = list(farm(scenarios, jobs=self._jobs, progress=report and (lambda n: report(before + n))))
        self.runs += len(found)
        return found

    def missed(self, point: Point) -> Missed | None:
        """Return what these gains miss without driving; worked out once."""
        if point not in self._missed:
            self._missed[point] = missed_without_runs(self.problem, point)
        return self._missed[point]

    def cost(self, point: Point, seeds: Sequence[int]) -> float:
        """Return the mean cost over grounds; inf for gains that are not taken."""
        if not self.able(point):
            return math.inf
        self.drive([point], seeds)
        return float(np.mean([self.cost_of(self._known[point, seed]) for seed in seeds]))

    def cost_of(self, measures: Measures) -> float:
        """Return the cost of one run: the weighted mean of its parts, each over its scale.

        A run that broke off counts as stuck for the time that was left, and costs ``BROKEN_OFF`` at least.
        """
        weights = self.problem.study.cost.weights
        if not measures:
            return BROKEN_OFF
        scenario = self.problem.loaded.template.scenario
        finished = bool(measures["finished"])
        if not finished:
            left = max(0.0, scenario.duration - measures["duration"])
            measures = {**measures, "stuck": measures["stuck"] + left}
        parts = sum(w * PARTS[part][0](measures, scenario) / self.scales[part] for part, w in weights.items())
        total = float(parts / sum(weights.values()))
        if not math.isfinite(total):
            return BROKEN_OFF
        return total if finished else max(BROKEN_OFF, total)

    def late(self, point: Point, seeds: Sequence[int]) -> Missed | None:
        """Return what these gains miss: without driving, and on these grounds."""
        first = self.missed(point)
        if first is not None:
            return first
        if self.problem.study.require.voltage_limited is None:
            return None
        self.drive([point], seeds)
        shares = [self._known[point, seed].get("voltage_limited", math.nan) for seed in seeds]
        return missed_in_runs(self.problem, float(np.mean(shares)))

    def measures(self, point: Point, seeds: Sequence[int]) -> list[Measures]:
        """Return the figures of these gains on these grounds, run where they are not known."""
        self.drive([point], seeds)
        return [self._known[point, seed] for seed in seeds]

    def _parts(self, point: Point, seeds: Sequence[int], part: str) -> np.ndarray:
        scenario = self.problem.loaded.template.scenario
        measures = (self._known[point, seed] for seed in seeds)
        return np.array([PARTS[part][0](m, scenario) if m and m["finished"] else math.nan for m in measures])
