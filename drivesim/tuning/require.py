"""What gains must keep, and why some are not taken; imports the problem, margins and whole numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass

from drivesim.errors import ScenarioError
from drivesim.tuning.margins import Margins, margins
from drivesim.tuning.plant import FREE, LOADED, Plant
from drivesim.tuning.problem import Problem
from drivesim.tuning.space import Point
from drivesim.tuning.whole_numbers import chosen_arithmetic, has_whole_numbers, whole_numbers

FARTHEST = 5.0  # a demand is never missed by more than this


@dataclass(frozen=True)
class Missed:
    """Why gains are not taken; ``by`` grows with how far they are from being taken."""

    reason: str
    by: float


def watched(problem: Problem) -> tuple[Plant, ...]:
    """Return the plants whose margins are asked for."""
    asked, linear = problem.study.require, problem.linear
    if linear is None or not asked.margins:
        return ()
    names = (FREE, LOADED) if asked.wheel == "both" else (asked.wheel,)
    return tuple(plant for plant in linear.plants if plant.name in names) or linear.plants


def missed_without_runs(problem: Problem, point: Point) -> Missed | None:
    """Return what these gains miss, as far as it can be told without driving; the first thing found."""
    try:
        scenario = problem.scenario(point)
    except ScenarioError as error:
        return Missed(error.problems[0], FARTHEST)
    asked, gains = problem.study.require, problem.loop_gains(point)
    for plant in watched(problem):
        assert gains is not None
        found = missed_margin(problem, plant, margins(plant, *gains))
        if found:
            return found
    if asked.rounding is not None and has_whole_numbers(scenario):
        arithmetic = chosen_arithmetic(scenario, problem.study.word_bits)
        if arithmetic is None:
            return Missed(f"gains do not fit words of {problem.study.word_bits} bits", FARTHEST)
        worst = max(whole_numbers(scenario, arithmetic), key=lambda number: number.error)
        if worst.error > asked.rounding:
            by = min(FARTHEST, worst.error / asked.rounding - 1.0)
            return Missed(f"rounding changes {worst.name} by {worst.error:.1%}", by)
    return None


def missed_margin(problem: Problem, plant: Plant, found: Margins) -> Missed | None:
    """Return which margin is missed and how far, or None."""
    asked = problem.study.require
    if asked.phase_margin is not None and not found.phase >= asked.phase_margin:
        short = (asked.phase_margin - max(found.phase, -math.pi)) / math.pi
        return Missed(
            f"phase margin {math.degrees(found.phase):.0f} deg, {plant.words}", min(FARTHEST, short)
        )
    if asked.gain_margin is not None and not (found.stable and found.gain >= asked.gain_margin):
        return Missed(
            f"gain margin {found.gain:.2f}, {plant.words}",
            min(FARTHEST, asked.gain_margin / found.gain - 1.0),
        )
    return None


def missed_in_runs(problem: Problem, voltage_limited: float) -> Missed | None:
    """Return what the runs show to be missed; ``voltage_limited``: mean share of time at full voltage."""
    most = problem.study.require.voltage_limited
    if most is None or voltage_limited <= most:
        return None
    return Missed(f"{voltage_limited:.0%} of the time at full voltage", min(FARTHEST, voltage_limited - most))
