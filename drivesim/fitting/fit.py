"""``fit``: bench logs → the rover's own numbers with their intervals; imports the pieces of the fit."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence

import numpy as np

from drivesim.errors import DrivesimError
from drivesim.fitting.bench import refuse_limited
from drivesim.fitting.bootstrap import bootstrap as resample
from drivesim.fitting.driven import refuse_clock
from drivesim.fitting.joint import Joint
from drivesim.fitting.logs import Log, check, refuse_twice
from drivesim.fitting.parameters import parameters
from drivesim.fitting.reading import read_logs
from drivesim.fitting.result import Fit, result_of
from drivesim.fitting.target import load_target
from drivesim.fitting.told import rounds_of
from drivesim.scenario import Scenario

MOST_DRAWS = 100_000


def fit(
    scenario: Scenario | str | os.PathLike[str],
    logs: Sequence[Log | str | os.PathLike[str]],
    *,
    free: Sequence[str] | None = None,
    seed: int = 1,
    bootstrap: int = 200,
    tick: Callable[[], None] | None = None,
) -> Fit:
    """Fit the numbers of a rover to its bench logs, all of them together.

    ``scenario``: a scenario, or the file of one or of a rover alone.  ``logs``: CSV files, or logs made by hand.
    ``free``: dotted paths of the numbers to fit, and of no others; without it those that the logs speak of.
    ``seed`` and ``bootstrap``: of the residuals drawn anew, and how often; 0 for none.  ``tick`` is called after each
    evaluation of the model.  Raises ScenarioError for mistakes in files, DrivesimError where the logs are too few.
    """
    target, whole = (scenario, True) if isinstance(scenario, Scenario) else load_target(scenario)
    if not logs:
        raise DrivesimError("found no log; give one CSV file or more")
    if not 0 <= bootstrap <= MOST_DRAWS:
        raise DrivesimError(f"bootstrap: found {bootstrap}, allowed: 0 to {MOST_DRAWS}")
    names = target.rover.wheel_names
    files = [log for log in logs if not isinstance(log, Log)]
    read = iter(read_logs(files, names))
    all_logs = [log if isinstance(log, Log) else next(read) for log in logs]
    driven = next((log for log in all_logs if log.kind == "rover"), None)
    if driven is not None and not whole:
        raise DrivesimError(
            f"{driven.path}:1: a rover's log needs the scenario it was driven in; give that instead of the rover's file"
        )
    refuse_twice(all_logs)
    for log in all_logs:
        check(log)
        refuse_limited(target, log)
        refuse_clock(target, log)
    joint = Joint(target, all_logs, parameters(target, all_logs, free))
    if tick is not None:
        joint.on_progress(tick)
    data = joint.data()
    if data.measured.size <= len(joint.parameters):
        raise DrivesimError(
            f"found {data.measured.size} readings for {len(joint.parameters)} unknown numbers; give more rows "
            "or tests, or fewer --free"
        )
    rounds = rounds_of(joint)
    last = rounds[-1]
    draws = resample(
        last.joint.model, last.data, last.search, last.solution, bootstrap, seed, linear=joint.simulated
    )
    return result_of(rounds, np.asarray(draws), seed)
