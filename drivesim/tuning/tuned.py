"""``Tuned``, the result of a tuning; imports pandas, xarray, the problem and what was found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from drivesim.scenario.scenario import Scenario
from drivesim.tuning.plant import Loop
from drivesim.tuning.problem import Problem
from drivesim.tuning.search import Found
from drivesim.tuning.whole_numbers import WholeNumber


@dataclass(frozen=True)
class Tuned:
    """The result of a tuning.

    ``gains``: a row a gain, a column a case, in SI (unit in the column ``unit``).  ``held_out``: a row for each case
    and held-out ground.  ``margins``: a row for each case and plant of the linear loop.  ``map``: every point that was
    looked at, with its cost and over how many grounds, or why it is not taken.  ``header``: the C header.
    ``change``: what to write under ``change:`` to get the tuned gains, quantities as text.  ``whole``: gains in the
    whole numbers of the header.  ``scenario``: the scenario with the tuned gains.
    """

    scenario: Scenario
    gains: pd.DataFrame
    held_out: pd.DataFrame
    margins: pd.DataFrame
    map: xr.Dataset
    header: str
    change: dict[str, str | float]
    whole: list[WholeNumber]
    linear: Loop | None
    summary: dict[str, Any]

    @property
    def verdict(self) -> str:
        """Whether the tuned gains beat the shipped ones on held-out grounds, in a sentence."""
        return str(self.summary["verdict"])


def gains_table(problem: Problem, cases: dict[str, tuple[float, ...]]) -> pd.DataFrame:
    """Return a row a gain and a column a case."""
    rows = {
        gain.path: {
            "unit": gain.unit, **{name: point[i] for name, point in cases.items()}, "low": gain.low, "high": gain.high,
        }
        for i, gain in enumerate(problem.space.gains)
    }  # fmt: skip
    table = pd.DataFrame.from_dict(rows, orient="index")
    table.index.name = "gain"
    return table


def map_of(problem: Problem, found: Found) -> xr.Dataset:
    """Return every point that was looked at, in the order of looking."""
    tried = list(found.tried.values())
    data = xr.Dataset(
        {
            "cost": ("point", [t.cost for t in tried], {"units": "1", "long_name": "cost over the training grounds"}),
            "grounds": ("point", [t.grounds for t in tried], {"long_name": "grounds driven over"}),
            "reason": ("point", np.array([t.reason for t in tried], dtype=object), {"long_name": "why not taken"}),
            "found_by": ("point", np.array([t.found_by for t in tried], dtype=object)),
            "finalist_cost": (
                "point", [found.finalists.get(t.point, np.nan) for t in tried],
                {"units": "1", "long_name": "cost over training and as many new grounds"},
            ),
        }
    )  # fmt: skip
    for i, gain in enumerate(problem.space.gains):
        data = data.assign_coords(
            {gain.path: ("point", [t.point[i] for t in tried], {"units": gain.unit, "scale": gain.scale})}
        )
    return data
