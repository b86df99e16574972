"""What a comparison found: figures of each case, paired differences, what is decided; imports statistics."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from drivesim.analysis.cautions import ALWAYS
from drivesim.analysis.headlines import Requirement
from drivesim.analysis.measures import MEASURES
from drivesim.analysis.plain import finite
from drivesim.engine.simulate import versions
from drivesim.scenario import resolved
from drivesim.scenario.compare_file import Comparison
from drivesim.scenario.scenario import Scenario
from drivesim.study import statistics
from drivesim.study.compare_words import notes, verdict

SUCCESS = "success"
#: the figures that cases are judged by, besides success
JUDGED = ("progress", "stuck", "circulating_power", "energy_per_metre", "peak_temperature")
SHOWN = (*JUDGED, "lowest_bus_voltage")


@dataclass(frozen=True)
class Compared:
    """The result of a comparison.

    ``runs``: every figure of every run, dims case and ground, with units; ``cases``: mean and 95 % interval of each
    figure shown, a row a case and measure; ``differences``: each case less ``against``, on the same grounds, a row a
    case and measure, with p, whether that is decided, how much pairing gained, and how many grounds would decide;
    ``summary``: all of it as plain numbers and texts.
    """

    scenarios: dict[str, Scenario]
    runs: xr.Dataset
    cases: pd.DataFrame
    differences: pd.DataFrame
    summary: dict[str, Any]

    @property
    def verdict(self) -> str:
        """What is decided, what is not, and how many grounds would decide it."""
        return str(self.summary["verdict"])

    def write(self, folder: Path) -> None:
        """Write summary.json, runs.nc, runs.csv, differences.csv and each case's scenario into ``folder``."""
        from drivesim.scenario.yaml_lines import write_text

        text = json.dumps(self.summary, indent=2, ensure_ascii=False)
        (folder / "summary.json").write_text(text + "\n", encoding="utf-8")
        self.runs.to_netcdf(folder / "runs.nc", engine="scipy")
        plain = self.runs.drop_dims(["wheel", "condition", "time"]).to_dataframe()
        units = {name: f"{name} [{self.runs[name].attrs['units']}]" for name in plain}
        plain.rename(columns=units).to_csv(folder / "runs.csv", float_format="%.9g")
        self.differences.to_csv(folder / "differences.csv", float_format="%.6g")
        for number, scenario in enumerate(self.scenarios.values()):
            (folder / f"case_{number}.yaml").write_text(write_text(resolved(scenario)), encoding="utf-8")


def result(
    runs: xr.Dataset, study: Comparison, scenarios: dict[str, Scenario], bars: Sequence[Requirement]
) -> Compared:
    """Return what ``runs`` say."""
    names = [str(name) for name in runs["case"].values]
    against = study.against or names[0]
    cases = pd.concat([_case_rows(runs, name) for name in names])
    others = [name for name in names if name != against]
    differences = pd.concat([_difference_rows(runs, name, against) for name in others])
    ends = list(zip(differences["low"], differences["high"], strict=True))
    differences["decided"] = statistics.decided(list(differences["p"]), ends)
    _needed(differences, runs, against)
    summary = {
        "name": study.name,
        "question": study.question,
        "verdict": verdict(runs, cases, differences, against),
        "notes": notes(runs, scenarios),
        "cautions": [ALWAYS],
        "against": against,
        "success": str(runs[SUCCESS].attrs["long_name"]),
        "grounds": study.grounds,
        "first_ground": study.first_ground,
        "most_different_ground": most_different(runs),
        "seed": study.seed,
        "spread": [*study.spread],
        "cases": _nested(cases),
        "differences": _nested(differences),
        "versions": versions(),
    }
    plain = finite(summary)
    assert isinstance(plain, dict)
    return Compared(scenarios, runs, cases, differences, plain)


def most_different(runs: xr.Dataset) -> int:
    """Return the ground on which the cases' ways along what was commanded lie farthest apart."""
    ways = np.nan_to_num(runs["progress"].values)
    return int(runs["ground"].values[np.argmax(np.ptp(ways, axis=0))])


def _case_rows(runs: xr.Dataset, name: str) -> pd.DataFrame:
    """Return the rows of one case: success first."""
    own = runs.sel(case=name)
    success = own[SUCCESS].values
    rows = {SUCCESS: (*statistics.wilson(int(success.sum()), success.size), "1")}
    for measure in SHOWN:
        rows[measure] = (*statistics.bootstrap_mean(judged(own, measure)), MEASURES[measure].unit)
    return _frame(name, rows, ["mean", "low", "high", "unit"])


def _difference_rows(runs: xr.Dataset, name: str, against: str) -> pd.DataFrame:
    """Return the paired differences of one case from the one it is held against."""
    own, other = runs.sel(case=name), runs.sel(case=against)
    test = statistics.mcnemar(own[SUCCESS].values, other[SUCCESS].values)
    rows: dict[str, tuple[Any, ...]] = {
        SUCCESS: (
            *statistics.success_difference(own[SUCCESS].values, other[SUCCESS].values), test.p,
            statistics.paired(own[SUCCESS].values, other[SUCCESS].values).gain, own.sizes["ground"], "1",
        )
    }  # fmt: skip
    for measure in JUDGED:
        a, b = judged(own, measure), judged(other, measure)
        found = statistics.paired(a, b)
        pairs = int((np.isfinite(a) & np.isfinite(b)).sum())
        rows[measure] = (*found.mean, found.p, found.gain, pairs, MEASURES[measure].unit)
    return _frame(name, rows, ["mean", "low", "high", "p", "gain", "pairs", "unit"])


def judged(own: xr.Dataset, measure: str) -> np.ndarray:
    """Return one case's figures that can be compared: the way of every run, all else of runs that came to their end."""
    values: np.ndarray = own[measure].values
    return values if measure == "progress" else np.where(own["finished"].values > 0.5, values, np.nan)


def _frame(case: str, rows: Mapping[str, tuple[Any, ...]], columns: list[str]) -> pd.DataFrame:
    index = pd.MultiIndex.from_tuples([(case, measure) for measure in rows], names=["case", "measure"])
    return pd.DataFrame(list(rows.values()), index=index, columns=columns)


def _needed(differences: pd.DataFrame, runs: xr.Dataset, against: str) -> None:
    """Add how many grounds in all would decide what is not decided, if the difference found is the true one."""
    error = statistics.DECIDED / max(1, int(differences["p"].notna().sum()))
    needed: list[int | None] = []
    for (case, measure), row in differences.iterrows():
        a, b = (judged(runs.sel(case=name), str(measure)) for name in (case, against))
        if row["decided"]:
            needed.append(None)
        elif measure == SUCCESS:
            own, other = (runs[SUCCESS].sel(case=name).values for name in (case, against))
            needed.append(statistics.successes_needed(own, other, error))
        else:
            needed.append(statistics.grounds_needed(a - b, error))
    differences["grounds_needed"] = pd.array(needed, dtype="Int64")


def _nested(frame: pd.DataFrame) -> dict[str, Any]:
    """Return a frame as case → measure → column → plain value."""
    found: dict[str, Any] = {}
    for (case, measure), row in frame.iterrows():
        found.setdefault(case, {})[measure] = {name: _plain(value) for name, value in row.items()}
    return found


def _plain(value: Any) -> Any:
    return None if value is pd.NA else value.item() if hasattr(value, "item") else value
