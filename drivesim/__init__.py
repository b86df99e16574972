"""Simulate small rovers whose wheels are each turned directly by their own thin brushless motor.

    from drivesim import load_scenario, simulate
    run = simulate(load_scenario("scenarios/rubble_speed_loop.yaml"))
    print(run.verdict)

``run.traces`` is a labelled dataset, ``run.summary`` plain numbers and texts.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from drivesim.analysis.files import read_run as read_run
    from drivesim.analysis.run import Run as Run
    from drivesim.analysis.run import simulate as simulate
    from drivesim.errors import DrivesimError as DrivesimError
    from drivesim.errors import ScenarioError as ScenarioError
    from drivesim.fitting.fit import fit as fit
    from drivesim.report.writing import write_report as write_report
    from drivesim.scenario import Scenario as Scenario
    from drivesim.scenario import load_scenario as load_scenario
    from drivesim.scenario import scenario_from_text as scenario_from_text
    from drivesim.sizing.size import size as size
    from drivesim.study.compare import compare as compare
    from drivesim.study.sweep import sweep as sweep
    from drivesim.tuning.tune import tune as tune

_PLACES = {
    "load_scenario": "drivesim.scenario",
    "scenario_from_text": "drivesim.scenario",
    "Scenario": "drivesim.scenario",
    "simulate": "drivesim.analysis.run",
    "Run": "drivesim.analysis.run",
    "read_run": "drivesim.analysis.files",
    "compare": "drivesim.study.compare",
    "tune": "drivesim.tuning.tune",
    "size": "drivesim.sizing.size",
    "sweep": "drivesim.study.sweep",
    "fit": "drivesim.fitting.fit",
    "write_report": "drivesim.report.writing",
    "DrivesimError": "drivesim.errors",
    "ScenarioError": "drivesim.errors",
}

__all__ = [*_PLACES]


def __getattr__(name: str) -> Any:
    """Import a public name at first use, so that ``import drivesim`` is quick."""
    if name == "__version__":
        from importlib.metadata import version

        return version("drivesim")
    if name not in _PLACES:
        raise AttributeError(f"module 'drivesim' has no attribute '{name}'")
    return getattr(importlib.import_module(_PLACES[name]), name)


def __dir__() -> list[str]:
    """Return the public names."""
    return [*__all__, "__version__"]
