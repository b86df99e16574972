"""Whole runs kept of a comparison: the same runs as those compared, on the ground where the cases differ most."""

from __future__ import annotations

import numpy as np
import pytest

from drivesim.analysis.files import read_run
from drivesim.study.compare import plan, run_plan
from drivesim.study.compare_keep import keep_runs, most_different


@pytest.fixture(scope="module")
def planned():
    return plan("scenarios/studies/closed_or_locked.yaml", grounds=4)


@pytest.fixture(scope="module")
def found(planned):
    return run_plan(planned)


def test_what_is_kept_is_what_was_compared(planned, found, tmp_path):
    ground = most_different(found)
    kept = keep_runs(planned, ground, tmp_path)
    for folder, case in zip(kept, planned.scenarios, strict=True):
        run = read_run(folder)
        compared = found.runs.sel(case=case, ground=ground)
        for name in ("progress", "energy", "circulating_power", "peak_temperature"):
            assert run.summary["figures"][name] == float(compared[name])
        assert run.summary["name"] == f"{case}, ground {ground}"


def test_the_ground_kept_has_the_widest_gap(found):
    gaps = np.abs(np.diff(found.runs["progress"].values, axis=0))[0]
    assert most_different(found) == found.runs["ground"].values[gaps.argmax()]


def test_runs_that_did_not_finish_do_not_hide_the_others(found):
    runs = found.runs.copy(deep=True)
    runs["progress"][0, 1] = np.nan
    runs["progress"][1, 2] = 1e3
    changed = type(found)(found.scenarios, runs, found.cases, found.differences, found.summary)
    assert most_different(changed) == runs["ground"].values[2]
