"""``size``: what a rover's drive can do at all, without a time step; imports all of sizing."""

from __future__ import annotations

import json
import math
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd
import xarray as xr

from drivesim.analysis.plain import finite
from drivesim.errors import DrivesimError
from drivesim.scenario import load_scenario, scenario_from_text
from drivesim.scenario.expected import part_of
from drivesim.scenario.loader import top_keys
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.study import study_kind
from drivesim.sizing.answers import FOR_EVER, HOT, NOW, STATES, TASKS, WHEEL_UP, Answers, Rover, answers
from drivesim.sizing.ask import USUAL_SPEED, Ask, asked, charged
from drivesim.sizing.cautions import cautions
from drivesim.sizing.levers import column_name, lever_table
from drivesim.sizing.lines import torque_lines
from drivesim.sizing.loading import loading_table
from drivesim.sizing.travel import warmed
from drivesim.sizing.verdict import focus_of, verdict, wanted


@dataclass(frozen=True)
class Sizing:
    """What a drive can do: lines, limits, currents, levers, and all of it in a ``summary`` ready for JSON.

    ``limits`` has a row a task, in SI by its ``unit`` column: for each state (now, hot, for_ever, wheel_up) a value
    and the name of what limits it; ``asked`` is what was asked for.  ``levers`` has a row a design number, its columns
    tell by how many per cent each limit changes for 1 % more of it.  ``loading`` has a row a situation, with currents
    and heat.
    """

    scenario: Scenario
    lines: xr.Dataset
    limits: pd.DataFrame
    loading: pd.DataFrame
    levers: pd.DataFrame
    summary: dict[str, Any]

    @property
    def verdict(self) -> str:
        """The answer in words."""
        return str(self.summary["verdict"])


def size(
    scenario: Scenario,
    *,
    charge: float | None = None,
    cells: int | None = None,
    speed: float | None = None,
    step: float | None = None,
    slope: float | None = None,
    tow: float | None = None,
) -> Sizing:
    """Return what the rover of ``scenario`` can do on even ground of its kind, what limits it and which lever pays.

    ``charge`` of the battery (0 to 1) and ``cells`` in series instead of the scenario's.  What is asked: ``speed``
    [m/s], else the fastest command; ``slope`` [rad] and ``step`` [m], else the steepest ramp and highest step of the
    scenario's ground; ``tow`` [N], a level pull.  Raises DrivesimError for what cannot be asked.
    """
    scenario = charged(scenario, charge, cells)
    ask = asked(scenario, speed, step, slope, tow)
    rover = Rover.of(scenario)
    warm = warmed(rover.cold, rover.standing.loads(), ask.speed).temperatures
    found, worst = answers(rover, ask, warm=warm)
    focus = column_name(*focus_of(ask, found))
    levers = _sorted(lever_table(scenario, ask, found, worst, warm), focus)
    loading = loading_table(rover, ask)
    limits = _limits_table(rover, ask, found, worst)
    summary = _summary(rover, ask, found, limits, loading, levers)
    summary["verdict"] = verdict(rover, ask, found, worst, levers, loading)
    summary["binding"] = focus
    summary["cautions"] = cautions(rover, loading)
    return Sizing(scenario, torque_lines(rover, ask), limits, loading, levers, summary)


def rover_scenario(path: str | os.PathLike[str]) -> Scenario:
    """Return the scenario in ``path``; of a bare rover's file one on a dry hard floor with self-commutated wheels.

    Raises ScenarioError, each mistake with its line, as ``load_scenario`` does.
    """
    name = os.fsdecode(path)
    if kind := study_kind(name):
        raise DrivesimError(
            f"{name}: found a file of many runs (drivesim {kind}), allowed: a scenario or a rover's own file"
        )
    if part_of(top_keys(name)) != ("rover",):
        return load_scenario(name)
    folder, file = os.path.split(name)
    text = json.dumps({
        "name": Path(file).stem[:100] or "rover",
        "rover": file,
        "drive": {"strategy": "speed_loop", "proportional": "0.1 V*s/rad", "integral": "1 V/rad"},
        "commands": [{"at": "0 s", "forward": f"{USUAL_SPEED} m/s"}],
        "duration": "1 s",
    })  # fmt: skip
    return scenario_from_text(text, folder or ".", name)


def _limits_table(rover: Rover, ask: Ask, found: Answers, worst: dict[str, int]) -> pd.DataFrame:
    goals = wanted(ask)
    rows = []
    for task, about in TASKS.items():
        row: dict[str, Any] = {"task": task, "unit": about.unit}
        for state in STATES:
            value = found.get((task, state))
            row[state] = math.nan if value is None else value.value
            row[f"{state}_limit"] = "" if value is None else value.name
        row["wheel_up_wheel"] = rover.design.wheels[worst[task]].name if task in worst else ""
        row["asked"] = goals.get(task, math.nan)
        rows.append(row)
    return pd.DataFrame(rows).set_index("task")


def _sorted(levers: pd.DataFrame, focus: str) -> pd.DataFrame:
    """Return the levers with the most effect on the limit that binds first, whole steps and kelvins last."""
    order = levers[focus].abs().fillna(0.0)
    kind = levers["change"].map({"+1 %": 0, "+1 K": 1, "whole": 2})
    return (
        levers.assign(_kind=kind, _order=-order)
        .sort_values(["_kind", "_order"], kind="stable")
        .drop(columns=["_kind", "_order"])
        .reset_index(drop=True)
    )


def _summary(
    rover: Rover, ask: Ask, found: Answers, limits: pd.DataFrame, loading: pd.DataFrame, levers: pd.DataFrame
) -> dict[str, Any]:
    d = rover.design
    pack, first = d.pack, (d.driven or list(d.wheels))[0]
    plain: dict[str, Any] = {
        "name": d.scenario.name,
        "rover": d.scenario.rover.name,
        "charge": pack.charge,
        "open_circuit_V": pack.open_circuit(pack.charge),
        "pack_resistance_ohm": pack.inner(pack.charge),
        "cells_in_series": pack.cells,
        "asked": {"speed_m_s": ask.speed, "slope_rad": ask.slope, "step_m": ask.step, "tow_N": ask.tow},
        "drive": "forced" if d.forced else "self-commutated",
        "limits": {
            task: {
                "unit": TASKS[task].unit,
                **{
                    state: {"value": row[state], "limit": row[f"{state}_limit"]}
                    for state in (NOW, HOT, FOR_EVER, WHEEL_UP)
                    if state in TASKS[task].states
                },
                "wheel_up_wheel": row["wheel_up_wheel"],
                "asked": row["asked"],
            }
            for task, row in limits.iterrows()
        },
        "heat": {
            "limit": first.heat_name,
            "winding_degC": first.hottest,
            "continuous_current_A": first.continuous_current,
            "continuous_amplitude_at_standstill_V": first.continuous_voltage,
        },
        "loading": loading.to_dict("records"),
        "levers": levers.drop(columns=["words"]).to_dict("records"),
    }
    summary = finite(plain)
    assert isinstance(summary, dict)
    return summary
