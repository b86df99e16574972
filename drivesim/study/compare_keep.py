"""Whole runs of a comparison on one ground, to look at side by side; imports analysis's files."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from drivesim.analysis.files import write_run
from drivesim.analysis.run import simulate
from drivesim.errors import DrivesimError
from drivesim.study.compare import Plan
from drivesim.study.compare_result import Compared, judged


def most_different(found: Compared) -> int:
    """Return the ground on which the cases' ways along what was commanded lie farthest apart."""
    ways = np.stack([judged(found.runs.sel(case=name), "progress") for name in found.runs["case"].values])
    known = np.where(np.isfinite(ways), ways, 0.0)
    return int(found.runs["ground"].values[np.argmax(np.ptp(known, axis=0))])


def keep_runs(planned: Plan, ground: int, folder: Path) -> list[Path]:
    """Run every case on ``ground`` as the comparison did, write each into a folder of its own in ``folder``.

    Returns the folders, in the order of the cases.  A run that ended before it recorded anything has none.
    """
    kept = []
    for number, case in enumerate(planned.scenarios):
        scenario = planned.scenario(case, ground)
        try:
            run = simulate(scenario.model_copy(update={"name": f"{case}, ground {ground}"}))
        except DrivesimError:
            continue
        kept.append(folder / f"case_{number}")
        kept[-1].mkdir(parents=True)
        write_run(run, kept[-1])
    return kept
