"""Whole runs of a comparison on one ground, to look at side by side; imports analysis's files."""

from __future__ import annotations

from pathlib import Path

from drivesim.analysis.files import write_run
from drivesim.analysis.run import simulate
from drivesim.errors import DrivesimError
from drivesim.study.compare import Plan


def keep_runs(planned: Plan, ground: int, folder: Path) -> list[Path]:
    """Run every case on ``ground`` as the comparison did, and write each into ``folder``/ground_N/case_I.

    Returns these folders, in the order of the cases.  A run that ended before it recorded anything has none.  Raises
    DrivesimError where the comparison did not drive this ground.
    """
    check_kept(planned, ground)
    kept = []
    for number, case in enumerate(planned.scenarios):
        scenario = planned.scenario(case, ground)
        try:
            run = simulate(scenario.model_copy(update={"name": f"{case}, ground {ground}"}))
        except DrivesimError:
            continue
        kept.append(folder / f"ground_{ground}" / f"case_{number}")
        kept[-1].mkdir(parents=True)
        write_run(run, kept[-1])
    return kept


def check_kept(planned: Plan, ground: int) -> None:
    """Raise DrivesimError unless the comparison drives ``ground``."""
    if ground not in planned.grounds:
        first, last = planned.grounds[0], planned.grounds[-1]
        raise DrivesimError(f"--keep: found {ground}, the grounds of this comparison are {first} to {last}")
