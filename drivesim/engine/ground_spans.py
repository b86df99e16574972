"""The stretches of the way that a verdict can name; imports the scenario's models only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drivesim.scenario import ground as model

LEANING = 1.1  # of the radius: how far from a wall a wheel stands that pushes against it

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Span:
    """A stretch of the way [m] and the word a verdict uses for it."""

    x_from: float
    x_to: float
    word: str


def spans(ground: model.Ground, radius: float, files: dict[int, tuple[Array, Array]]) -> tuple[Span, ...]:
    """Return the stretches on which a wheel's centre has to do with each feature or patch."""
    found = []
    for i, f in enumerate(ground.features):
        for x_from, x_to, word in _stretches(f, ground.length, radius, files.get(i)):
            found.append(Span(x_from, x_to, f.label or word))
    for patch in ground.patches:
        word = "the slippery patch" if patch.factor < 1.0 else "the patch"
        found.append(Span(patch.x[0], patch.x[1], patch.label or word))
    return tuple(found)


def _stretches(
    f: model.Feature, end: float, radius: float, file: tuple[Array, Array] | None
) -> list[tuple[float, float, str]]:
    match f:
        case model.Ramp():
            return [(f.start, f.end, "the ramp" if f.slope != 0.0 else "the side slope")]
        case model.Step():
            reach = LEANING * radius
            return [(f.at - reach, f.at + reach, "the step" if f.height > 0.0 else "the drop")]
        case model.Pavers():
            last = f.start + f.count * (f.length + f.gap) - f.gap
            edge = (f.start - radius, f.start + radius, "the slab edge")
            return [edge, (f.start - radius, last + radius, "the slabs")]
        case model.Bumps():
            last = f.start + (f.count - 1) * f.spacing + 2.0 * f.radius
            return [(f.start - radius, last + radius, "the bump" if f.count == 1 else "the bumps")]
        case model.Twist():
            return [(f.start, end, "the twisted ground")]
        case model.Washboard():
            return [(f.start, end, "the washboard")]
        case model.Roughness():
            return [(f.start, end, "the rough ground")]
        case model.Profile() | model.HeightMap():
            assert file is not None
            return [(f.start + file[0][0], f.start + file[0][-1], "the measured ground")]
