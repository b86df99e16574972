"""Which runs a sweep still needs, and doing them: keys, the store, threads; imports the farm and the setup."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from drivesim.analysis.measures import MEASURES
from drivesim.errors import DrivesimError
from drivesim.scenario.scenario import Scenario
from drivesim.study.farm import as_done, measures_of
from drivesim.study.keys import KEY_BYTES, Keys
from drivesim.study.store import Outcome, Store
from drivesim.study.sweep_result import Outcomes
from drivesim.study.sweep_setup import Setup

NOTHING = "the run ended before anything was recorded"

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Job:
    """One run to do."""

    key: str
    scenario: Scenario  # but for its seed
    seed: int


Runner = Callable[[Iterable[Job]], Iterator[tuple[str, Outcome]]]


@dataclass
class Plan:
    """What every run of a sweep is called in the store (KEY_BYTES each, in order), or why it was refused."""

    keys: bytearray
    refused: dict[tuple[int, int], str] = field(default_factory=dict)
    done: int = 0  # in this process
    kept: int = 0  # found in the store, or the same run as another


def outcome_of(scenario: Scenario, seed: int) -> Outcome:
    """Return the measures of one run of ``scenario`` with ``seed``, or why it could not be made."""
    try:
        return measures_of(scenario.model_copy(update={"seed": seed})) or NOTHING
    except DrivesimError as error:
        return "; ".join(str(error).splitlines())


def on_threads(jobs: int | None) -> Runner:
    """Return what does runs on ``jobs`` threads of this process [all cores]."""

    def run(todo: Iterable[Job]) -> Iterator[tuple[str, Outcome]]:
        return as_done(lambda job: (job.key, outcome_of(job.scenario, job.seed)), todo, jobs=jobs)

    return run


def drive(setup: Setup, store: Store, runner: Runner, progress: Progress | None = None) -> Plan:
    """Do every run of ``setup`` that is not in ``store`` yet, and put it there as soon as it is done."""
    grounds, total = len(setup.seeds), len(setup.design) * len(setup.seeds)
    plan = Plan(bytearray(total * KEY_BYTES))
    begun: set[bytes] = set()
    keys = Keys()

    def told() -> None:
        if progress is not None:
            progress(plan.done + plan.kept + len(plan.refused), total)

    def needed() -> Iterator[Job]:
        for i, j, made in setup.runs():
            if isinstance(made, str):
                plan.refused[i, j] = made
                continue
            key = keys.of(made, setup.seeds[j])
            name, at = bytes.fromhex(key), (i * grounds + j) * KEY_BYTES
            plan.keys[at : at + KEY_BYTES] = name
            if name in store.known or name in begun:
                plan.kept += 1
                if plan.kept % 100 == 0:
                    told()
                continue
            begun.add(name)
            yield Job(key, made, setup.seeds[j])

    for key, outcome in runner(needed()):
        store.add(key, outcome)
        begun.discard(bytes.fromhex(key))
        plan.done += 1
        told()
    told()
    return plan


def collected(setup: Setup, store: Store, plan: Plan) -> Outcomes:
    """Return the outcome of every run, in order, from what is in the store."""
    shape = (len(setup.design), len(setup.seeds))
    first: dict[bytes, int] = {}
    same: list[tuple[int, int]] = []
    for at in range(shape[0] * shape[1]):
        key = bytes(plan.keys[at * KEY_BYTES : (at + 1) * KEY_BYTES])
        if divmod(at, shape[1]) in plan.refused:
            continue
        if key in first:
            same.append((at, first[key]))
        else:
            first[key] = at
    values = np.full((shape[0] * shape[1], len(MEASURES)), np.nan)
    refused: dict[int, str] = {i * shape[1] + j: reason for (i, j), reason in plan.refused.items()}
    for key, outcome in store.read():
        place = first.get(key)
        if place is None:
            continue
        if isinstance(outcome, str):
            refused[place] = outcome
        else:
            values[place] = [outcome[name] for name in MEASURES]
    for at, other in same:
        values[at] = values[other]
        if other in refused:
            refused[at] = refused[other]
    return Outcomes(values.reshape(*shape, -1), {divmod(at, shape[1]): refused[at] for at in sorted(refused)})
