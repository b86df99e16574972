"""The result of a fit: ``Fit``, its tables, and the words of its summary; imports the pieces of the fit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from drivesim.engine.simulate import versions
from drivesim.fitting.bootstrap import hangs_together
from drivesim.fitting.cells import file_voltage
from drivesim.fitting.hanging import hanging
from drivesim.fitting.joint import Joint
from drivesim.fitting.kinds import KINDS, quantity
from drivesim.fitting.logs import Array, Log
from drivesim.fitting.parameters import Parameter, default_paths, parameter, usual_paths
from drivesim.fitting.places import changed
from drivesim.fitting.remarks import remarks, together
from drivesim.fitting.solve import LEVEL, Data, Solution
from drivesim.fitting.told import Round, at_limit
from drivesim.fitting.words import (
    hanging_words,
    plus_minus,
    share_words,
    verdict,
    warnings,
)
from drivesim.scenario import Scenario


@dataclass(frozen=True)
class Fit:
    """What bench logs say of a rover.

    ``parameters``: a row a parameter, by its path, values in the column ``unit``; ``file`` is what the file says,
    ``low`` to ``high`` the 95 % interval from the derivatives, ``bootstrap_low`` to ``bootstrap_high`` that from
    residuals drawn anew; ``told`` is False where the logs do not tell it.  ``covariance``: dims parameter and other.
    ``residuals``: a row a reading, with its log, line of the file and channel.  ``summary``: plain numbers and texts.
    ``scenario`` is as it was given, ``fitted`` the same with the numbers that the logs tell.
    """

    scenario: Scenario
    fitted: Scenario
    logs: tuple[Log, ...]
    parameters: pd.DataFrame
    covariance: xr.DataArray
    residuals: pd.DataFrame
    summary: dict[str, Any]

    @property
    def verdict(self) -> str:
        """In a few words: which numbers differ from the file's, and by how much."""
        return str(self.summary["verdict"])

    @property
    def correlation(self) -> xr.DataArray:
        """The correlation of the parameters' errors, by parameter and other."""
        return correlation_of(self.covariance)


def correlation_of(covariance: xr.DataArray) -> xr.DataArray:
    """Return covariances over the standard errors; NaN of what is not told at all."""
    spread = np.sqrt(np.diag(covariance.values))
    with np.errstate(invalid="ignore"):
        values = covariance.values / np.outer(spread, spread)
    return covariance.copy(data=values).rename("correlation").assign_attrs(long_name="correlation", units="1")


def result_of(rounds: Sequence[Round], draws: Array, seed: int) -> Fit:
    """Return the result of a finished fit, that of its last round; ``draws`` are the bootstrap's parameters."""
    last = rounds[-1]
    joint, solution = last.joint, last.solution
    table = parameter_table(rounds, draws)
    paths = [p.path for p in joint.parameters]
    told = {p.path: float(x) for p, x in zip(joint.parameters, solution.x, strict=True) if table.told[p.path]}
    fitted = changed(
        joint.scenario, {p.path: told[p.path] for p in joint.parameters if not p.log and p.path in told}
    )
    covariance = xr.DataArray(
        solution.covariance, dims=("parameter", "other"), coords={"parameter": paths, "other": paths},
        name="covariance", attrs={"long_name": "covariance, in the product of the parameters' units"},
    )  # fmt: skip
    residuals = residual_table(joint, last.data, solution)
    summary = summary_of(rounds, table, residuals)
    correlation = correlation_of(covariance)
    summary["remarks"] += together(correlation)
    summary["correlation"] = {
        a: {b: _finite(float(value)) for b, value in zip(paths, row, strict=True)}
        for a, row in zip(paths, correlation.values, strict=True)
    }
    summary |= {"bootstrap": len(draws), "seed": seed, "versions": versions()}
    return Fit(joint.scenario, fitted, joint.logs, table, covariance, residuals, summary)


def parameter_table(rounds: Sequence[Round], draws: Array) -> pd.DataFrame:
    """Return the table of parameters, see ``Fit``; each from the last round that it was free in."""
    none = np.zeros((0, 0))
    tables = [_table_of(one, draws if one is rounds[-1] else none) for one in rounds]
    paths = tables[0].index
    return pd.concat(
        [table[~table.index.isin(later.index)] for table, later in pairwise(tables)] + [tables[-1]]
    ).loc[paths]


def _table_of(one: Round, draws: Array) -> pd.DataFrame:
    solution = one.solution
    ends = (50 - 50 * LEVEL, 50 + 50 * LEVEL)
    low, high = np.percentile(draws, ends, axis=0) if len(draws) else np.full((2, solution.x.size), np.nan)
    half = solution.half_width
    rows = []
    for i, (p, told) in enumerate(zip(one.joint.parameters, one.told, strict=True)):
        x, file = float(solution.x[i]), file_value(one.joint, p)
        interval = (x - float(half[i]), x + float(half[i]))
        rows.append({
            "path": p.path, "unit": p.unit, "file": file, "fitted": x, "plus_minus": float(half[i]),
            "low": interval[0], "high": interval[1],
            "bootstrap_low": float(low[i]), "bootstrap_high": float(high[i]), "difference": x - file,
            "beyond_chance": told and beyond(file, interval, (float(low[i]), float(high[i]))), "told": told,
            "at_limit": at_limit(p, x),
            "degrees_of_freedom": float(solution.freedom[i]), "log": p.log,
        })  # fmt: skip
    return pd.DataFrame(rows).set_index("path")


def beyond(file: float, *intervals: tuple[float, float]) -> bool:
    """Tell whether the file's number lies outside all intervals that there are."""
    return all(math.isnan(low) or file < low or file > high for low, high in intervals)


def file_value(joint: Joint, parameter: Parameter) -> float:
    """Return what the file says of a parameter; NaN of what only a log knows."""
    if not parameter.log:
        return parameter.value
    log = next(log for log in joint.logs if log.name == parameter.log)
    if log.kind != "cell_pulse":
        return math.nan
    battery = joint.scenario.rover.battery
    return file_voltage(battery, log.number("state_of_charge", battery.state_of_charge))


def residual_table(joint: Joint, data: Data, solution: Solution) -> pd.DataFrame:
    """Return a row a reading: measured, model, residual, and in standard deviations of its channel."""
    as_filed = joint.predicted({})
    frames = []
    at = 0
    for number, ((log, name), own) in enumerate(zip(joint.channels, joint.rows, strict=True)):
        rows = slice(at, at + own.size)
        at += own.size
        measured, model = data.measured[rows], solution.model[rows]
        frames.append(pd.DataFrame({
            "log": log.name, "kind": log.kind, "row": own + 1, "line": [log.line(int(i)) for i in own], "channel": name,
            "unit": quantity(log.kind, name)[0], "measured": measured, "model": model,
            "by_the_file": as_filed[rows], "residual": measured - model,
            "scaled": (measured - model) / solution.noise[number], "outlier": ~solution.kept[rows],
        }))  # fmt: skip
    return pd.concat(frames, ignore_index=True)


def summary_of(rounds: Sequence[Round], table: pd.DataFrame, residuals: pd.DataFrame) -> dict[str, Any]:
    """Return plain numbers and texts, ready for JSON."""
    last = rounds[-1]
    joint, solution = last.joint, last.solution
    tests = []
    for log in joint.logs:
        mine = residuals[residuals.log == log.name]
        noise = {
            name: {"sd": float(solution.noise[i]), "unit": quantity(log.kind, name)[0]}
            for i, (one, name) in enumerate(joint.channels)
            if one is log
        }
        alike = [
            str(name)
            for name, part in mine[~mine.outlier].groupby("channel", sort=False)
            if hangs_together(_in_order(log, part))
        ]
        tests.append({
            "name": log.name, "kind": log.kind, "file": log.path, "rows": log.rows, "noise": noise,
            "residuals_hang_together": alike,
        })  # fmt: skip
    touched = default_paths(joint.scenario, joint.logs)
    kept = [
        p for p in dict.fromkeys([*usual_paths(joint.scenario), *touched]) if not table.told.get(p, False)
    ]
    hung = hanging(last, [parameter(joint.scenario, path) for path in kept])
    blind = [spot for one in rounds for spot in one.blind]
    return {
        "name": joint.scenario.name,
        "verdict": verdict(table, hung),
        "tests": tests,
        "parameters": {path: _plain(row) for path, row in table.iterrows()},
        "outliers": [_told_row(joint, row) for row in residuals[residuals.outlier].itertuples()],
        "condition_number": _finite(rounds[0].condition),
        "warnings": warnings(blind, table, tests) + [hanging_words(one) for one in hung],
        "remarks": remarks(joint.scenario, joint.logs, table, touched, kept, hung),
        "hangs_on_the_file": {one.kept.path: list(one.results) for one in hung},
        "cautions": cautions(joint.logs),
        "intervals": f"{LEVEL:.0%}",
    }


def _in_order(log: Log, rows: pd.DataFrame) -> Array:
    """Return residuals in the order of what was set, or of time."""
    across = log.table.get(KINDS[log.kind].across)
    residual = rows.residual.to_numpy()
    if across is None:
        return residual
    return np.asarray(residual[np.argsort(across[rows["row"].to_numpy() - 1], kind="stable")])


def _told_row(joint: Joint, row: Any) -> dict[str, Any]:
    """Return a reading that was left out, by the file's own column."""
    log = next(log for log in joint.logs if log.name == row.log)
    column, measured = log.as_written(row.channel, float(row.measured))
    return {
        "log": row.log, "file": log.path, "line": int(row.line), "column": column, "unit": row.unit,
        "measured": measured, "model": log.as_written(row.channel, float(row.model))[1], "sds": float(row.scaled),
    }  # fmt: skip


def _plain(row: pd.Series) -> dict[str, Any]:
    found: dict[str, Any] = {
        str(name): value
        if isinstance(value, str | bool)
        else bool(value)
        if isinstance(value, np.bool_)
        else _finite(value)
        for name, value in row.items()
    }
    found["text"] = plus_minus(row.fitted, row.plus_minus, row.unit)
    found["difference_text"] = share_words(row.fitted, row.file)
    return found


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


#: what can hurt in each kind of test; the maker's data and local rules come first
CAUTIONS = {
    "hot": "locked-rotor and warm-up tests heat board and magnets and can burn: use a current-limited supply, stay "
    "below the maker's temperature limits, never leave it unattended; the maker's data and local rules come first",
    "cells": "pulse cells only within their maker's limits of current, voltage and temperature, on a surface that "
    "does not burn, never unattended; the maker's data and local rules come first",
    "moving": "keep fingers, hair and cables away from turning wheels; clamp what is braked or driven",
}
_OF_KINDS = {
    "locked_rotor": "hot", "warm_up": "hot", "pull_out": "moving", "cell_pulse": "cells", "no_load": "moving",
    "loaded": "moving", "spin_down": "moving", "back_emf": "moving", "rover": "moving",
}  # fmt: skip


def cautions(logs: tuple[Log, ...]) -> list[str]:
    """Return what to beware of when these tests are made again."""
    return [CAUTIONS[name] for name in CAUTIONS if any(_OF_KINDS[log.kind] == name for log in logs)]
