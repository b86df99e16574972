"""``tune``: find the gains, prove them on other grounds, write them as whole numbers; the entry for programs too."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from typing import Any

import pandas as pd

from drivesim import units
from drivesim.analysis.plain import finite
from drivesim.engine.simulate import versions
from drivesim.scenario import load_scenario
from drivesim.scenario.fixed_point import Arithmetic
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.study import Loaded, load_study, study_kind, study_of
from drivesim.scenario.tune_file import TuneFile
from drivesim.tuning.header import header
from drivesim.tuning.held_out import NOMINAL, SPREAD, against, cases_of, column, decided, held_out, verdict
from drivesim.tuning.margins import margins
from drivesim.tuning.objective import PARTS, Objective
from drivesim.tuning.problem import REAL, SHIPPED, TUNED, WHOLE, Problem, described, problem_of
from drivesim.tuning.require import missed_without_runs
from drivesim.tuning.search import Found, search
from drivesim.tuning.space import Point
from drivesim.tuning.tuned import Tuned, gains_table, map_of
from drivesim.tuning.whole_numbers import WholeNumber, chosen_arithmetic, whole_numbers


def tune(
    study: Loaded[TuneFile] | Scenario | str | os.PathLike[str], *, jobs: int | None = None,
    progress: Callable[[int], None] | None = None,
) -> Tuned:  # fmt: skip
    """Tune the gains of a tune file (read, or its name), or of a scenario with defaults for all else.

    ``jobs``: threads [all cores]; the result is the same with any number.  ``progress`` is called with the number
    of runs done.  Raises ScenarioError for mistakes in the file, DrivesimError where no gains keep
    what is required.
    """
    problem = problem_of(study if isinstance(study, Loaded) else loaded_from(study))
    objective = Objective(problem, jobs=jobs, progress=progress)
    found = search(objective)
    searched = objective.runs
    scenario = problem.scenario(found.best)
    arithmetic = chosen_arithmetic(scenario, problem.study.word_bits)
    cases = cases_of(problem, found.best)
    table = held_out(objective, cases, arithmetic)
    whole = whole_numbers(scenario, arithmetic) if arithmetic else []
    loops = margins_table(problem, cases)
    summary = summarise(problem, objective, found, cases, table, loops, arithmetic, whole, searched)
    origin = f"{problem.study.name}: {described(problem.space, found.best)}.  {summary['verdict']}"
    return Tuned(
        scenario, gains_table(problem, cases), table, loops, map_of(problem, found),
        header(scenario, arithmetic, origin), change_of(problem, found.best), whole, problem.linear,
        summary,
    )  # fmt: skip


def loaded_from(source: Scenario | str | os.PathLike[str]) -> Loaded[TuneFile]:
    """Return the tuning that ``source`` asks for: a tune file, or a scenario (or its file) with defaults for all else.

    Raises ScenarioError.
    """
    if not isinstance(source, Scenario):
        if study_kind(source):
            return load_study(source, TuneFile)
        source = load_scenario(source)
    return study_of(source, TuneFile, name=source.name, question=f"Which gains suit: {source.name}?")


def runs_expected(loaded: Loaded[TuneFile]) -> int:
    """Return about how many runs a tuning takes.  Raises ScenarioError for mistakes in its gains."""
    problem, study = problem_of(loaded), loaded.study
    points, n = study.search.points + 1 + len(problem.by_rule), study.training
    spread = (
        points * max(2, math.ceil(n / 4)) + 0.4 * points * math.ceil(n / 4) + 0.2 * points * math.ceil(n / 2)
    )
    proof = study.grounds * (2 + len(problem.by_rule) + 1 + 2 * bool(problem.loaded.tolerances))
    return round(spread) + (study.search.refine + study.search.finalists) * n + proof


def margins_table(problem: Problem, cases: dict[str, Point]) -> pd.DataFrame:
    """Return the margins of each case's linear loop, a row for each case and plant."""
    rows = []
    for name, point in cases.items():
        gains = problem.loop_gains(point)
        for plant in problem.linear.plants if problem.linear and gains else ():
            assert gains is not None
            found = margins(plant, *gains)
            rows.append(
                {
                    "case": name, "wheel": plant.name, "proportional": gains[0], "integral": gains[1],
                    "stable": found.stable, "gain_margin": found.gain, "phase_margin_deg": math.degrees(found.phase),
                    "crossover_rad_s": found.crossover, "turnover_rad_s": found.turnover,
                }
            )  # fmt: skip
    return pd.DataFrame(rows)


def change_of(problem: Problem, point: Point) -> dict[str, str | float]:
    """Return the tuned gains as they are written under ``change:``."""
    return {
        gain.path: value if gain.unit == "1" else units.show(value, gain.unit)
        for gain, value in zip(problem.space.gains, point, strict=True)
    }


def summarise(
    problem: Problem, objective: Objective, found: Found, cases: dict[str, Point], table: pd.DataFrame,
    loops: pd.DataFrame, arithmetic: Arithmetic | None, whole: list[WholeNumber], searched: int,
) -> dict[str, Any]:  # fmt: skip
    """Return the result in plain numbers and texts."""
    study = problem.study
    seeds = list(study.training_seeds)
    training = {name: objective.cost(point, seeds) for name, point in cases.items() if objective.able(point)}
    names = [name for name in (*cases, WHOLE, REAL) if (table["case"] == name).any()]
    means = {name: float(column(table, name, "cost").mean()) for name in names}
    found_map = found.tried.values()
    plain = finite({
        "name": study.name,
        "question": study.question,
        "scenario": problem.loaded.template.scenario.name,
        "verdict": verdict(table),
        "gains": {name: problem.space.changes(point) for name, point in cases.items()},
        "change": change_of(problem, found.best),
        "searched": {
            gain.path: {"unit": gain.unit, "low": gain.low, "high": gain.high, "scale": gain.scale}
            for gain in problem.space.gains
        },
        "cost": {"weights": study.cost.weights, "scales": objective.scales},
        "training": {"seeds": [seeds[0], seeds[-1]], "cost": training},
        "finalists": [
            {**problem.space.changes(point), "cost": cost} for point, cost in found.finalists.items()
        ],
        "held_out": {
            "seeds": [study.held_out_seeds[0], study.held_out_seeds[-1]],
            "cost": means,
            "parts": {
                name: {part: float(column(table, name, part).mean()) for part in PARTS} for name in names
            },
            "decided": decided(table),
            "tuned_less_shipped": {
                part: difference(table, part) for part in ("cost", *PARTS, "distance", "moving", "voltage_limited")
            },
        },
        "gap": {
            "training": ratio(training[TUNED], training[SHIPPED]),
            "held_out": ratio(means[TUNED], means[SHIPPED]),
        },
        "tolerances": tolerances(table),
        "whole_numbers": _whole(table, arithmetic, whole),
        "linear_loop": _loop(problem),
        "margins": loops.to_dict("records"),
        "shipped_misses": _reason(problem, cases[SHIPPED]),
        "tried": {
            "looked_at": len(found_map),
            "not_taken": sum(bool(t.reason) for t in found_map),
            "driven_over_all": sum(t.grounds == len(seeds) for t in found_map),
        },
        "runs": {"search": searched, "all": objective.runs},
        "versions": versions(),
    })  # fmt: skip
    assert isinstance(plain, dict)
    return plain


def ratio(tuned: float, shipped: float) -> float | None:
    """Return a cost as a multiple of the shipped gains'; None where they cost nothing."""
    return tuned / shipped if shipped > 0 else None


def difference(
    table: pd.DataFrame, name: str, parts: str = NOMINAL, case: str = TUNED, other: str = SHIPPED
) -> Any:
    """Return a paired difference as plain numbers."""
    found = against(table, case, other, name, parts)
    return {"mean": found.mean.value, "low": found.mean.low, "high": found.mean.high, "p": found.p}


def tolerances(table: pd.DataFrame) -> dict[str, Any] | None:
    """Return what is left of the gain when parts vary; None without tolerances."""
    if not (table["parts"] == SPREAD).any():
        return None
    return {
        "verdict": verdict(table, SPREAD),
        "cost": {name: float(column(table, name, "cost", SPREAD).mean()) for name in (SHIPPED, TUNED)},
        "worst": {name: float(column(table, name, "cost", SPREAD).max()) for name in (SHIPPED, TUNED)},
        "tuned_less_shipped": difference(table, "cost", SPREAD),
    }


def _whole(
    table: pd.DataFrame, arithmetic: Arithmetic | None, whole: list[WholeNumber]
) -> dict[str, Any] | None:
    if arithmetic is None:
        return None
    case, other = (WHOLE, TUNED) if (table["case"] == WHOLE).any() else (TUNED, REAL)
    return {
        **arithmetic.model_dump(),
        "gains": {n.name: {"number": n.number, "held": n.held, "rounding": n.error} for n in whole},
        "less_real_numbers": difference(table, "cost", case=case, other=other),
    }


def _loop(problem: Problem) -> dict[str, Any] | None:
    linear = problem.linear
    if linear is None:
        return None
    return {
        "speed_rad_s": linear.speed,
        "delay_s": linear.delay,
        "of_edges_s": linear.edge_delay,
        "of_hold_s": linear.hold_delay,
        "latency_s": linear.latency,
        "wheels": {
            plant.name: {"words": plant.words, "gain": plant.gain, "lag_s": plant.lag}
            for plant in linear.plants
        },
    }


def _reason(problem: Problem, point: Point) -> str:
    found = missed_without_runs(problem, point)
    return found.reason if found else ""
