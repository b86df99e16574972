"""The result of a sweep as tables: dataset, data frame, sensitivity; imports pandas, xarray and the design."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from drivesim.analysis.headlines import Requirement
from drivesim.analysis.measures import MEASURES
from drivesim.study import sweep_sensitivity as sensitivity
from drivesim.study.sweep_axes import Array, Axis, Design

SUCCESS = "success"  # the share of grounds on which all bars were met
SUCCESS_WORDS = "share of grounds that meet the bars"
FIRST, TOTAL, SHARE, RANK = "first order", "total", "share of variance", "rank correlation"


@dataclass(frozen=True)
class Sweep:
    """What a sweep found.

    ``dataset``: every measure over the axes of a grid, or over ``design``, and over ``ground``; units in attrs.
    ``table``: the same, a row a run.  ``sensitivity``: how much each axis explains of each measure mapped, with
    intervals.  ``summary``: plain numbers and texts, among them the verdict.  ``mapped``: measures for pictures.
    ``notes``: what was done now and what was there already; in no file, so that files do not depend on it.
    """

    name: str
    design: Design
    dataset: xr.Dataset
    table: pd.DataFrame
    sensitivity: pd.DataFrame
    summary: dict[str, Any]
    mapped: tuple[str, ...]
    notes: tuple[str, ...] = ()

    @property
    def verdict(self) -> str:
        """In a few words: where it moves, which axis matters most, and where the data do not decide."""
        return str(self.summary["verdict"])

    def means(self, measure: str) -> Array:
        """Return ``measure`` of each design, shape (designs,): the mean over the grounds that have it."""
        return mean_of_known(per_design(self.dataset, self.design, measure))


@dataclass(frozen=True)
class Outcomes:
    """All runs in order: ``values`` (designs, grounds, measures), and why some could not be made."""

    values: Array
    refused: dict[tuple[int, int], str]


def measure_words(name: str) -> tuple[str, str]:
    """Return what a measure is in words, and its unit ("1" for a plain ratio)."""
    if name == SUCCESS:
        return SUCCESS_WORDS, "1"
    measure = MEASURES[name]
    return measure.words, measure.unit


def met(outcomes: Outcomes, bars: Sequence[Requirement]) -> Array:
    """Return 1 where a run met all ``bars``, 0 where not, NaN where it could not be made; (designs, grounds)."""
    names = list(MEASURES)
    found = np.ones(outcomes.values.shape[:2])
    for bar in bars:
        column = outcomes.values[..., names.index(bar.name)]
        found *= np.reshape([float(bar.met({bar.name: value})) for value in column.ravel()], found.shape)
    for place in outcomes.refused:
        found[place] = np.nan
    return found


def dataset(design: Design, seeds: Sequence[int], outcomes: Outcomes, success: Array) -> xr.Dataset:
    """Return all outcomes labelled: over the axes of a grid, or over the designs, and over the grounds' seeds."""
    on_grid = design.shape is not None
    dims = (*(axis.name for axis in design.axes), "ground") if on_grid else ("design", "ground")
    shape = (*(design.shape or (len(design),)), len(seeds))
    variables: dict[str, Any] = {
        SUCCESS: (dims, success.reshape(shape), {"units": "1", "long_name": "1 where the bars were met"})
    }
    for i, (name, measure) in enumerate(MEASURES.items()):
        about = {"units": measure.unit, "long_name": measure.words}
        variables[name] = (dims, outcomes.values[..., i].reshape(shape), about)
    if outcomes.refused:
        reasons = np.full((len(design), len(seeds)), "", dtype=object)
        for place, reason in outcomes.refused.items():
            reasons[place] = reason
        about = {"long_name": "why a run could not be made"}
        variables["refused"] = (dims, reasons.astype(str).reshape(shape), about)
    coords: dict[str, Any] = {"ground": ("ground", np.array(seeds), {"long_name": "seed of the ground"})}
    for i, axis in enumerate(design.axes):
        about = {"long_name": axis.label} | ({} if axis.unit is None else {"units": axis.unit})
        if on_grid:
            coords[axis.name] = (axis.name, _coordinate(axis, [one.place for one in axis.levels]), about)
        else:
            coords[axis.name] = ("design", _coordinate(axis, design.places[:, i]), about)
    return xr.Dataset(variables, coords=coords, attrs={"design": design.kind})


def _coordinate(axis: Axis, places: Sequence[float] | Array) -> np.ndarray:
    return np.array(places if axis.unit is not None else [axis.word(float(place)) for place in places])


def table(design: Design, seeds: Sequence[int], outcomes: Outcomes, success: Array) -> pd.DataFrame:
    """Return a row a run in the order of the designs, units in the header."""
    count, grounds = success.shape
    columns: dict[str, Any] = {
        "design": np.repeat(np.arange(count), grounds),
        "ground": np.tile(np.array(seeds), count),
    }
    for i, axis in enumerate(design.axes):
        values = np.repeat(_coordinate(axis, design.places[:, i]), grounds)
        columns[header(axis.name, axis.unit)] = values
    columns[SUCCESS] = success.ravel()
    for i, (name, measure) in enumerate(MEASURES.items()):
        columns[header(name, measure.unit)] = outcomes.values[..., i].ravel()
    if outcomes.refused:
        flat = [""] * (count * grounds)
        for (i, j), reason in outcomes.refused.items():
            flat[i * grounds + j] = reason
        columns["refused"] = flat
    return pd.DataFrame(columns)


def header(name: str, unit: str | None) -> str:
    """Return the head of a column."""
    return name if unit in (None, "1", "") else f"{name} [{unit}]"


def per_design(data: xr.Dataset, design: Design, measure: str) -> Array:
    """Return a measure as (designs, grounds)."""
    return np.asarray(data[measure].values, dtype=float).reshape(len(design), -1)


def mean_of_known(values: Array, over: int | tuple[int, ...] = -1) -> Array:
    """Return the mean of what is a number ``over`` some axes, the last one if not said; NaN where nothing is."""
    known = np.isfinite(values)
    count = known.sum(axis=over)
    with np.errstate(invalid="ignore"):
        return np.where(count > 0, np.where(known, values, 0.0).sum(axis=over) / np.maximum(count, 1), np.nan)


def sensitivities(design: Design, data: xr.Dataset, mapped: Sequence[str]) -> pd.DataFrame:
    """Return how much each axis explains of each of the ``mapped`` measures, a row for each number.

    ``kind``: first-order and total Sobol' indices where the design was made for them; the share of variance on a
    full grid; else Spearman's rank correlation, for axes of numbers.
    """
    rows = [row for name in mapped for row in _sensitivity(design, per_design(data, design, name), name)]
    return pd.DataFrame(rows, columns=["measure", "axis", "kind", "value", "low", "high", "p"])


def _sensitivity(design: Design, values: Array, name: str) -> list[tuple[Any, ...]]:
    means, axes = mean_of_known(values), design.axes
    known = means[np.isfinite(means)]
    if len(known) < 4 or np.ptp(known) == 0:
        return []
    if design.base is not None:
        found = sensitivity.sobol(means, len(axes))
        parts = [] if found is None else [(FIRST, found.first), (TOTAL, found.total)]
        return [row for kind, shares in parts for row in _rows(name, axes, kind, shares)]
    if design.shape is not None and np.isfinite(values).all():
        return _rows(name, axes, SHARE, sensitivity.grid_shares(values.reshape(*design.shape, -1)))
    numbers = [i for i, axis in enumerate(axes) if axis.unit is not None]
    if not numbers:
        return []
    shares = sensitivity.rank_correlations(design.places[:, numbers], means)
    return _rows(name, [axes[i] for i in numbers], RANK, shares)


def _rows(name: str, axes: Sequence[Axis], kind: str, shares: sensitivity.Shares) -> list[tuple[Any, ...]]:
    p = np.full(len(axes), np.nan) if shares.p is None else shares.p
    numbers = zip(shares.value, shares.low, shares.high, p, strict=True)
    return [
        (name, axis.name, kind, *(float(number) for number in row))
        for axis, row in zip(axes, numbers, strict=True)
    ]
