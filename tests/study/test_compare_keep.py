"""Whole runs kept of a comparison: the same runs as those compared, on the ground where the cases differ most."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from drivesim.analysis.files import read_run
from drivesim.errors import DrivesimError
from drivesim.study.compare import plan, run_plan
from drivesim.study.compare_keep import keep_runs
from drivesim.study.compare_result import most_different

STUDY = Path(__file__).parents[2] / "scenarios" / "studies" / "closed_or_locked.yaml"


@pytest.fixture(scope="module")
def planned():
    return plan(STUDY, grounds=4)


@pytest.fixture(scope="module")
def found(planned):
    return run_plan(planned)


def test_what_is_kept_is_what_was_compared(planned, found, tmp_path):
    ground = found.summary["most_different_ground"]
    kept = keep_runs(planned, ground, tmp_path)
    for folder, case in zip(kept, planned.scenarios, strict=True):
        run = read_run(folder)
        compared = found.runs.sel(case=case, ground=ground)
        for name in ("progress", "energy", "circulating_power", "peak_temperature"):
            assert run.summary["figures"][name] == float(compared[name])
        assert run.summary["name"] == f"{case}, ground {ground}"


def test_the_ground_kept_has_the_widest_gap(found):
    gaps = np.abs(np.diff(found.runs["progress"].values, axis=0))[0]
    assert most_different(found.runs) == found.runs["ground"].values[gaps.argmax()]


def test_runs_that_did_not_finish_do_not_hide_the_others(found):
    runs = found.runs.copy(deep=True)
    runs["progress"][0, 1] = np.nan
    runs["progress"][1, 2] = 1e3
    assert most_different(runs) == runs["ground"].values[2]


def test_a_ground_that_was_not_driven_cannot_be_kept(planned, tmp_path):
    with pytest.raises(DrivesimError, match="found 7, the grounds of this comparison are 1001 to 1004"):
        keep_runs(planned, 7, tmp_path)
