"""Gains side by side on grounds they were not tuned on, and what that says; imports the objective, statistics."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from drivesim.analysis.measures import MEASURES
from drivesim.scenario.fixed_point import Arithmetic
from drivesim.study import statistics
from drivesim.study.draws import draw
from drivesim.study.farm import Measures
from drivesim.study.statistics import DECIDED, LEVEL, Difference, grounds_needed, paired
from drivesim.tuning.objective import PARTS, Objective
from drivesim.tuning.problem import REAL, SHIPPED, TUNED, WHOLE, Problem
from drivesim.tuning.space import Point

NOMINAL, SPREAD = "as drawn", "with tolerances"
MOST_TOLD = 2000  # grounds still needed: beyond this nobody would drive them
#: figures of a run that are kept for every ground, besides the parts of the cost
KEPT = ("moving", "progress_share", "distance", "energy", "voltage_limited", "lowest_bus_voltage")

#: parts of a cost that say how far the rover comes
GETTING_THERE = ("way_missed", "stuck", "failed")


def cases_of(problem: Problem, best: Point) -> dict[str, Point]:
    """Return the gains that are compared, by name: as they are, by the rules, tuned."""
    return {SHIPPED: problem.start, **problem.by_rule, TUNED: best}


def held_out(objective: Objective, cases: Mapping[str, Point], arithmetic: Arithmetic | None) -> pd.DataFrame:
    """Return one row for each case and held-out ground: cost, parts of the cost, figures.

    Parts carry their units in ``attrs["units"]``.  The tuned gains come once more in whole numbers, where
    ``arithmetic`` is given (in real numbers, where the scenario counts in whole ones); and where the study has
    tolerances, shipped and tuned gains with parts drawn for each ground, the same for both.
    """
    problem = objective.problem
    seeds = list(problem.study.held_out_seeds)
    rows: list[dict[str, Any]] = []
    objective.drive(cases.values(), seeds)
    for name, point in cases.items():
        found = _taken(objective, point, seeds)
        rows += _rows(objective, name, NOMINAL, seeds, found)
    if arithmetic is not None:
        name = other_numbers(problem)
        more: dict[str, object] = {"drive.arithmetic": arithmetic.model_dump() if name == WHOLE else None}
        base = problem.scenario(cases[TUNED], more)
        found = objective.farmed([base.model_copy(update={"seed": seed}) for seed in seeds])
        rows += _rows(objective, name, NOMINAL, seeds, found)
    for name, found in _with_tolerances(objective, cases, seeds).items():
        rows += _rows(objective, name, SPREAD, seeds, found)
    table = pd.DataFrame(rows)
    table.attrs["units"] = {
        "cost": "1", **{part: PARTS[part][1] for part in PARTS}, **{name: MEASURES[name].unit for name in KEPT},
    }  # fmt: skip
    return table


def other_numbers(problem: Problem) -> str:
    """Return how the tuned gains are driven once more: in whole numbers, or in real ones."""
    return WHOLE if problem.loaded.template.scenario.drive.all_wheels.arithmetic is None else REAL


def _taken(objective: Objective, point: Point, seeds: Sequence[int]) -> list[Measures]:
    """Return the figures of gains that may miss what is required: a rule's, or those of the scenario."""
    base = objective.problem.scenario(point)
    if objective.able(point):
        return objective.measures(point, seeds)
    return objective.farmed([base.model_copy(update={"seed": seed}) for seed in seeds])


def _with_tolerances(
    objective: Objective, cases: Mapping[str, Point], seeds: Sequence[int]
) -> dict[str, list[Measures]]:
    problem, loaded = objective.problem, objective.problem.loaded
    if not loaded.tolerances:
        return {}
    parts = draw(loaded.tolerances, len(seeds), problem.study.seed)
    names = [SHIPPED, TUNED]
    scenarios = [
        loaded.template.scenario_with({**drawn, **problem.space.changes(cases[name])}, seed=seed)
        for name in names
        for seed, drawn in zip(seeds, parts, strict=True)
    ]
    found = objective.farmed(scenarios)
    return {name: found[i * len(seeds) : (i + 1) * len(seeds)] for i, name in enumerate(names)}


def _rows(
    objective: Objective, case: str, parts: str, seeds: Sequence[int], found: Sequence[Measures]
) -> list[dict[str, Any]]:
    scenario = objective.problem.loaded.template.scenario
    return [
        {
            "case": case, "parts": parts, "ground": seed, "cost": objective.cost_of(m),
            **{part: PARTS[part][0](m, scenario) if m else math.nan for part in PARTS},
            **{name: m.get(name, math.nan) for name in KEPT},
        }
        for seed, m in zip(seeds, found, strict=True)
    ]  # fmt: skip


def column(table: pd.DataFrame, case: str, name: str, parts: str = NOMINAL) -> np.ndarray:
    """Return one figure of one case, ground by ground."""
    rows = table[(table["case"] == case) & (table["parts"] == parts)]
    return rows[name].to_numpy(dtype=float)


def against(table: pd.DataFrame, case: str, other: str, name: str, parts: str = NOMINAL) -> Difference:
    """Return the paired difference ``case`` − ``other`` of one figure."""
    return paired(column(table, case, name, parts), column(table, other, name, parts))


def decided(table: pd.DataFrame) -> dict[str, float]:
    """Return the parts in which tuned and shipped gains differ for sure, all parts together: mean difference.

    By Holm, and with zero outside the mean's own interval.  Parts that are no part of the cost are among them: what a
    cost leaves out is what a search pays with.
    """
    found = {part: against(table, TUNED, SHIPPED, part) for part in PARTS}
    sure = statistics.decided(
        [difference.p for difference in found.values()],
        [(difference.mean.low, difference.mean.high) for difference in found.values()],
    )
    return {part: found[part].mean.value for part, yes in zip(found, sure, strict=True) if yes}


def farther_behind(table: pd.DataFrame) -> bool:
    """Tell whether the tuned gains miss more way for sure, are stuck longer, or break off more often."""
    found = decided(table)
    return any(found.get(part, 0.0) > 0 for part in GETTING_THERE)


def verdict(table: pd.DataFrame, parts: str = NOMINAL) -> str:
    """Return in one sentence whether the tuned gains beat the shipped ones, or that the data do not decide."""
    tuned, shipped = (column(table, case, "cost", parts) for case in (TUNED, SHIPPED))
    found, count = against(table, TUNED, SHIPPED, "cost", parts), tuned.size
    where = f"on {count} grounds that they were not tuned on{', with parts drawn anew for each' * (parts == SPREAD)}"
    if not (tuned - shipped).any():
        return f"the search found nothing better than the shipped gains {where}"
    low, high = found.mean.low, found.mean.high
    figures = (
        f"cost {tuned.mean():.2f} against {shipped.mean():.2f}, difference {signed(found.mean.value)} "
        f"({LEVEL:.0%} interval {signed(low)} … {signed(high)})"
    )
    if found.mean.excludes_zero and found.p <= DECIDED:
        if found.mean.value > 0:
            return f"the tuned gains are worse than the shipped ones {where}: {figures}"
        if farther_behind(table):
            return f"the tuned gains cost less but bring the rover less far than the shipped ones {where}: {figures}"
        return f"the tuned gains beat the shipped ones {where}: {figures}"
    needed = grounds_needed(tuned - shipped)
    more = ""
    if needed and needed <= MOST_TOLD:
        more = f"; if this difference is the true one, about {needed} grounds would tell"
    elif needed:
        more = f"; so small a difference would take more than {MOST_TOLD} grounds to tell"
    return f"the data do not decide between tuned and shipped gains {where}: {figures}{more}"


def signed(value: float) -> str:
    """Return a difference with its sign."""
    text = f"{value:+.2f}"
    return text.replace("-", "−") if float(text) else "0.00"
