"""The studies of docs/ still run, and say what their pages say they do."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from drivesim import scenario_from_text, simulate

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
    rocked = recovery.drive((["rock", "full_throttle"], 2, 8, 16.0))
    assert rocked.freed == [False, True]
    assert rocked.moving


def test_tries_are_held_against_waiting():
    """A table's row by hand; the control's run is the very run without recovery."""
    recovery = module("recovery")
    drive = recovery.Drive
    keeps = [drive([False], False, 1.0), drive([True], True, 2.0), drive([], True, 3.0)]
    tries = [drive([False, True], True, 1.5), drive([False], True, 2.5), drive([], True, 3.5)]
    row = recovery.row("x", tries, keeps)
    assert row.startswith("| x | 0 of 2 (0% … 66%) | 1 of 3 (")
    assert "| 3 of 3 | 1 / 0 (p = 1) | +0.50 m (+0.50 … +0.50) |" in row
    assert recovery.row("x", keeps, keeps).endswith("| 2 of 3 | – | – |")
    waited = recovery.drive((*recovery.METHODS[recovery.KEEPS], 8, 12.0))
    text = "{base: scenarios/rubble_speed_loop.yaml, seed: 8, duration: 12 s}"
    x = simulate(scenario_from_text(text, recovery.ROOT)).traces["x"].values
    assert waited.freed
    assert waited.way == x[-1] - x[0]


def test_every_case_runs_on_the_same_ground(study):
    """Two seconds of each case's first setting: all give every measure, and the drives differ."""
    found = {name: study.drive((settings[0], 3, {}, 2.0)) for name, settings in study.grids().items()}
    assert len(found) == 10
    for measures in found.values():
        assert all(np.isfinite(value) for name, value in measures.items() if name != "ended_full")
    assert len({round(measures["energy"], 6) for measures in found.values()}) == 10


def test_the_page_shows_the_study_s_cases(study):
    page = (STUDIES.parent / "coordination.md").read_text(encoding="utf-8")
    for name in study.grids():
        assert page.count(f"| {name} |") >= 2, name
