"""The axes of a sweep and the designs made from them: which places are driven, in which order; numpy and scipy only."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from drivesim.study.sweep_sensitivity import matrices

Array = NDArray[np.float64]

DIGITS = 13  # as a quantity is read: what a run gets is what the table says


@dataclass(frozen=True)
class Level:
    """One value of an axis that has a list: its word, its place along the axis, and what it sets."""

    label: str
    place: float
    changes: dict[str, Any]  # dotted path → value as a user writes it, or SI number


@dataclass(frozen=True)
class Axis:
    """One direction of a sweep.

    ``unit``: of the places, SI; None for an axis of words, whose places count from 0.  ``levels``: all places of a
    list or counted range.  ``spread``: share from 0 to 1 → place, for axes with a range or a distribution.
    ``shared``: dotted path → factor: what a place without a level of its own sets.  ``shown``: the unit for people, and
    how many of it one SI unit is.
    """

    name: str
    label: str
    unit: str | None
    shown: tuple[str, float]
    levels: tuple[Level, ...] = ()
    spread: Callable[[Array], Array] | None = None
    shared: tuple[tuple[str, float], ...] = ()
    logarithmic: bool = False

    def places_of(self, shares: Array) -> Array:
        """Return the places at ``shares`` of the way along the axis (0 to 1): for a list, its values in equal parts."""
        if self.spread is not None:
            return rounded(self.spread(shares))
        index = np.minimum((shares * len(self.levels)).astype(int), len(self.levels) - 1)
        return np.array([level.place for level in self.levels])[index]

    def changes(self, place: float) -> dict[str, Any]:
        """Return what a run at ``place`` changes of the scenario."""
        for level in self.levels:
            if level.place == place:
                return level.changes
        return {path: float(rounded(np.array(place * factor))) for path, factor in self.shared}

    def word(self, place: float) -> str:
        """Return ``place`` for people, with its unit."""
        if self.unit is None:
            return self.levels[int(place)].label
        unit, factor = self.shown
        return f"{place * factor:.4g} {unit}".strip()


def rounded(values: Array) -> Array:
    """Return ``values`` to as many digits as a quantity in a file is read to."""
    return np.vectorize(lambda value: float(f"{value:.{DIGITS}g}"), otypes=[float])(values)


def counted(start: float, end: float, count: int, logarithmic: bool) -> Array:
    """Return ``count`` places from ``start`` to ``end``, both included, evenly or by equal factors."""
    even = np.geomspace if logarithmic else np.linspace
    return rounded(even(start, end, count))


def between(start: float, end: float, logarithmic: bool) -> Callable[[Array], Array]:
    """Return the even distribution from ``start`` to ``end``, or of the logarithm, as share → place."""
    if logarithmic:
        low, high = math.log(start), math.log(end)
        return lambda share: np.exp(low + share * (high - low))
    return lambda share: start + share * (end - start)


@dataclass(frozen=True)
class Design:
    """All places of a sweep in order; ``places`` (designs, axes), ``shape`` of a grid, ``base`` points for indices."""

    kind: str
    axes: tuple[Axis, ...]
    places: Array
    shape: tuple[int, ...] | None = None
    base: int | None = None

    def __len__(self) -> int:
        return len(self.places)

    def changes(self, index: int) -> dict[str, Any]:
        """Return what the runs of one design change of the scenario."""
        merged: dict[str, Any] = {}
        for axis, place in zip(self.axes, self.places[index], strict=True):
            merged |= axis.changes(float(place))
        return merged

    def words(self, index: int) -> str:
        """Return one design for people."""
        pairs = zip(self.axes, self.places[index], strict=True)
        return ", ".join(f"{axis.label} {axis.word(float(place))}" for axis, place in pairs)


def grid(axes: Sequence[Axis]) -> Design:
    """Return every combination of all levels; the last axis changes fastest."""
    levels = [np.array([level.place for level in axis.levels]) for axis in axes]
    mesh = np.meshgrid(*levels, indexing="ij")
    places = np.stack([part.ravel() for part in mesh], axis=1)
    return Design("grid", tuple(axes), places, shape=tuple(len(part) for part in levels))


def sampled(kind: str, axes: Sequence[Axis], runs: int, seed: int, *, sensitivity: bool = False) -> Design:
    """Return ``runs`` designs of a scrambled Sobol' sequence or a Latin hypercube; same seed, same designs.

    With ``sensitivity`` there are ``runs`` base points, and (number of axes + 2) designs for each.
    """
    if sensitivity:
        shares = matrices(len(axes), runs, seed)
    elif kind == "sobol":
        shares = sobol_points(len(axes), runs, seed)
    else:
        shares = qmc.LatinHypercube(d=len(axes), seed=np.random.default_rng(seed)).random(runs)
    shares = np.clip(shares, 1e-9, 1 - 1e-9)  # the ends of a normal distribution lie at infinity
    places = np.stack([axis.places_of(shares[:, i]) for i, axis in enumerate(axes)], axis=1)
    return Design(kind, tuple(axes), places, base=runs if sensitivity else None)


def sobol_points(axes: int, count: int, seed: int) -> Array:
    """Return the first ``count`` points of a scrambled Sobol' sequence; more of them begin with the same ones."""
    sequence = qmc.Sobol(d=axes, seed=np.random.default_rng(seed), bits=30)
    points: Array = sequence.random_base2(max(0, (count - 1).bit_length()))[:count]
    return points
