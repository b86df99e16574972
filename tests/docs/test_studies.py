"""The studies of docs/ still run, and say what their pages say they do."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

STUDIES = Path(__file__).parents[2] / "docs" / "studies"


def module(name):
    """Return a study as a module, without running it."""
    spec = importlib.util.spec_from_file_location(f"{name}_study", STUDIES / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    found = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(found)
    return found


@pytest.fixture(scope="module")
def study():
    """The coordination study."""
    return module("coordination")


def test_tries_of_the_driver_are_counted():
    """On the shipped recovery scenario's ground the second try frees the rover."""
    recovery = module("recovery")
    freed, moving = recovery.drive((["rock", "full_throttle"], 8, 16.0))
    assert freed == [False, True]
    assert moving
    assert "| x | 0 of 2 (0% … 66%) | 1 of 3 (" in recovery.row(
        "x", [([False, True], True), ([False], False), ([], True)]
    )


def test_every_case_runs_on_the_same_ground(study):
    """Two seconds of each case's first setting: all give every measure, and the drives differ."""
    found = {name: study.drive((settings[0], 3, {}, 2.0)) for name, settings in study.grids().items()}
    assert len(found) == 8
    assert all(np.isfinite(list(measures.values())).all() for measures in found.values())
    assert len({round(measures["energy"], 6) for measures in found.values()}) == 8


def test_paired_differences(study):
    """Mean and interval of x − y with a known shift; no difference at all is p = 1."""
    rng = np.random.default_rng(1)
    ground = rng.normal(0, 5, 30)
    mean, low, high, p = study.paired(ground + 1 + rng.normal(0, 0.5, 30), ground)
    assert low < 1 < high
    assert mean == pytest.approx(1, abs=0.3)
    assert p < 1e-4
    assert study.paired(ground, ground) == (0.0, 0.0, 0.0, 1.0)


def test_the_page_shows_the_study_s_cases(study):
    page = (STUDIES.parent / "coordination.md").read_text(encoding="utf-8")
    for name in study.grids():
        assert page.count(f"| {name} |") >= 2, name
