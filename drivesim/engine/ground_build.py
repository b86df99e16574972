"""From the ground a user wrote to the arrays the kernel reads; imports scenario, ground and errors."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drivesim.engine.ground_fields import axis, ground_fields
from drivesim.engine.ground_spans import Span, spans
from drivesim.errors import ScenarioError
from drivesim.ground import dilation, roughness, shapes
from drivesim.scenario import ground as model
from drivesim.scenario.ground_files import read_height_map, read_profile

Array = NDArray[np.float64]

MAX_CELLS = 20_000_000  # nodes of the height grid
MAX_WAVES = 20_000_000  # waves of one random field
MAX_DILATION = 100_000_000_000  # nodes × nodes under the wheel: about ten seconds
PROFILE_CELL = 0.25e-3  # widest spacing along a profile [m]
PROFILE_CELLS_PER_RADIUS = 150
MAP_CELLS_PER_RADIUS = 10
CELLS_PER_WAVE = 5  # of the shortest wave of a random field
LEAST_CELLS_PER_RADIUS = 4  # coarser than this the wheel's roundness is lost
LEAST_CELLS_PER_WAVE = 3
LEAST_BAND_SHARE = 0.5  # of the variance a correlation length asks for (common practice, no source)

#: which spawn key the draws of a kind start from; never renumber: it would change every random ground
_DRAWS = {"pavers": 1, "roughness": 2}


@dataclass(frozen=True, eq=False)
class GroundArrays:
    """Heights and friction on grids, float64 and C-contiguous; node [0, 0] of each lies at its x0, y0 [m].

    heights: the ground itself [m], shape (nx, ny).
    surface: where a wheel's centre rides [m], shape (nx, ny).
    fields: what else the ground is, shape (mx, my, 4), on its own grid fx0, fy0, fdx, fdy [m]; the last axis as in
    drivesim.ground.surface: friction factor, hold, rolling factor, soil.
    features: the stretches that features and patches cover.
    """

    heights: Array
    surface: Array
    x0: float
    y0: float
    dx: float
    dy: float
    fields: Array
    fx0: float
    fy0: float
    fdx: float
    fdy: float
    features: tuple[Span, ...]

    @property
    def x_axis(self) -> Array:
        """The places of the nodes along x [m], shape (nx,)."""
        return self.x0 + self.dx * np.arange(self.heights.shape[0], dtype=np.float64)

    @property
    def y_axis(self) -> Array:
        """The places of the nodes along y [m], shape (ny,)."""
        return self.y0 + self.dy * np.arange(self.heights.shape[1], dtype=np.float64)

    def word_at(self, x: float) -> str | None:
        """Return the word of the shortest stretch that holds x [m], or None on plain ground."""
        around = [span for span in self.features if span.x_from <= x <= span.x_to]
        return min(around, key=lambda span: span.x_to - span.x_from).word if around else None


def build_ground(
    ground: model.Ground,
    wheel_radius: float,
    seed: np.random.SeedSequence,
    folder: str | Path = ".",
    *,
    spikes: bool = False,
) -> GroundArrays:
    """Return the arrays of ``ground`` for wheels of ``wheel_radius`` [m].

    seed: what random features draw from; each has its own share, which features of other kinds do not change,
    and neither does the grid.  folder: what file names are relative to.  spikes: do edges give hold?
    Raises ScenarioError for files that cannot be read and grids that would be too large or too coarse.
    """
    files = {
        i: _read(feature, Path(folder))
        for i, feature in enumerate(ground.features)
        if isinstance(feature, model.Profile | model.HeightMap)
    }
    x, y = _axes(ground, wheel_radius)
    heights = np.zeros((x.size, y.size))
    drawn = dict.fromkeys(_DRAWS, 0)
    for i, feature in enumerate(ground.features):
        rng = np.random.default_rng(_child(feature, seed, drawn))
        heights += _heights(feature, x, y, rng, files.get(i), f"ground.features.{i}")
    dx, dy = float(x[1] - x[0]), float(y[1] - y[0])
    if _alike_across(ground):
        centre = dilation.dilate_profile(np.ascontiguousarray(heights[:, 0]), dx, wheel_radius)
        surface = np.repeat(centre[:, None], y.size, axis=1)
    else:
        surface = dilation.dilate(heights, dx, dy, wheel_radius)
    fields, fx, fy = ground_fields(ground, heights, x, y, spikes)
    return GroundArrays(
        heights, surface, float(x[0]), float(y[0]), dx, dy,
        fields, float(fx[0]), float(fy[0]), float(fx[1] - fx[0]), float(fy[1] - fy[0]),
        spans(ground, wheel_radius, files),
    )  # fmt: skip


def _alike_across(ground: model.Ground) -> bool:
    """Tell whether all features are constant along y, so that a profile says everything."""
    for feature in ground.features:
        match feature:
            case model.Ramp():
                alike = feature.cross_slope == 0.0
            case model.Bumps():
                alike = feature.side == "both"
            case model.Twist() | model.Roughness() | model.HeightMap():
                alike = False
            case _:
                alike = True
        if not alike:
            return False
    return True


def _axes(ground: model.Ground, radius: float) -> tuple[Array, Array]:
    """Return the grid lines along x and y [m], which end exactly where the ground ends."""
    long, wide = ground.length + ground.behind, ground.width
    if not ground.features:
        return axis(-ground.behind, ground.length, long), axis(-wide / 2, wide / 2, wide)
    profile = _alike_across(ground)
    finest = radius / MAP_CELLS_PER_RADIUS
    for feature in ground.features:
        if isinstance(feature, model.Roughness):
            finest = min(finest, feature.shortest_wave / CELLS_PER_WAVE)
    if profile:
        finest = min(PROFILE_CELL, radius / PROFILE_CELLS_PER_RADIUS)
    cell = ground.cell or finest
    _check_grid(ground, radius, cell, wide if profile else cell)
    return (
        axis(-ground.behind, ground.length, cell),
        axis(-wide / 2, wide / 2, wide if profile else cell),
    )


def _check_grid(ground: model.Ground, radius: float, cell: float, cell_y: float) -> None:
    widest = radius / LEAST_CELLS_PER_RADIUS
    if cell > widest:
        raise ScenarioError(
            f"ground.cell: found {cell * 1e3:.3g} mm, allowed at most {widest * 1e3:.3g} mm "
            f"for a wheel of radius {radius * 1e3:.3g} mm"
        )
    long, wide = ground.length + ground.behind, ground.width
    nodes = (long / cell + 1.0) * (wide / cell_y + 1.0)
    under_wheel = math.pi * (radius / cell) ** 2 if cell_y == cell else radius / cell
    size = f"{long:.3g} m by {wide:.3g} m"
    grid = f"found {cell * 1e3:.3g} mm on a ground of {size}, which is {nodes:.3g} cells"
    if nodes > MAX_CELLS:
        raise ScenarioError(
            f"ground.cell: {grid}, allowed are {MAX_CELLS:.3g}: use a larger cell or a smaller ground"
        )
    if nodes * under_wheel > MAX_DILATION:
        raise ScenarioError(
            f"ground.cell: {grid} with {under_wheel:.3g} under each wheel, allowed is a product of "
            f"{MAX_DILATION:.3g}: use a larger cell or a smaller ground"
        )
    for i, feature in enumerate(ground.features):
        if isinstance(feature, model.Roughness):
            _check_waves(feature, long, wide, cell, f"ground.features.{i}")


def _check_waves(feature: model.Roughness, long: float, wide: float, cell: float, field: str) -> None:
    if feature.shortest_wave < LEAST_CELLS_PER_WAVE * cell:
        raise ScenarioError(
            f"{field}.shortest_wave: found {feature.shortest_wave * 1e3:.3g} mm, allowed at least "
            f"{LEAST_CELLS_PER_WAVE} cells of {cell * 1e3:.3g} mm"
        )
    waves = roughness.wave_count(long, wide, _band(feature))
    if waves > MAX_WAVES:
        raise ScenarioError(
            f"{field}.shortest_wave: found {feature.shortest_wave * 1e3:.3g} mm with waves up to "
            f"{feature.longest_wave:.3g} m on a ground of {long:.3g} m by {wide:.3g} m, which is "
            f"{waves / 1e6:.3g} million waves, allowed are {MAX_WAVES / 1e6:.3g} million: "
            "use a longer shortest_wave"
        )


def _band(feature: model.Roughness) -> roughness.Band:
    return roughness.Band(feature.longest_wave, feature.shortest_wave)


def _child(
    feature: model.Feature, seed: np.random.SeedSequence, drawn: dict[str, int]
) -> np.random.SeedSequence:
    """Return the feature's own seed: its own if given, else by its kind and place among those of its kind."""
    if feature.kind not in _DRAWS:
        return seed
    drawn[feature.kind] += 1
    if isinstance(feature, model.Roughness) and feature.seed is not None:
        return np.random.SeedSequence(feature.seed)
    key = (*seed.spawn_key, _DRAWS[feature.kind], drawn[feature.kind])
    return np.random.SeedSequence(seed.entropy, spawn_key=key, pool_size=seed.pool_size)


def _read(feature: model.Profile | model.HeightMap, folder: Path) -> tuple[Array, Array]:
    """Return the places along x, counted from the feature's start, and the heights [m]."""
    if isinstance(feature, model.Profile):
        return read_profile(folder / feature.file)
    heights = read_height_map(folder / feature.file, feature.unit)
    return feature.spacing * np.arange(heights.shape[0], dtype=np.float64), heights


def _heights(
    f: model.Feature,
    x: Array,
    y: Array,
    rng: np.random.Generator,
    file: tuple[Array, Array] | None,
    field: str,
) -> Array:
    """Return what one feature adds to the ground [m], shape (nx, ny)."""
    match f:
        case model.Ramp():
            return shapes.ramp(x, y, f.start, f.end, f.slope, f.cross_slope)
        case model.Step():
            return shapes.step(x, y, f.at, f.height)
        case model.Pavers():
            tops = shapes.draw_heights(f.count, f.height, f.height_spread, rng)
            floor = 0.0 if f.gap_depth is None else f.height - f.gap_depth
            return shapes.pavers(x, y, f.start, f.length, f.gap, tops, floor)
        case model.Bumps():
            return shapes.bumps(x, y, f.start, f.count, f.spacing, f.radius, f.side)
        case model.Twist():
            return shapes.twist(x, y, f.start, f.wavelength, f.amplitude)
        case model.Washboard():
            return shapes.washboard(x, y, f.start, f.wavelength, f.amplitude)
        case model.Roughness():
            return _rough(f, x, y, rng, field) * shapes.fade_in(x, f.start, f.fade)[:, None]
        case model.Profile():
            assert file is not None
            return shapes.profile(x, y, f.start, *file)
        case model.HeightMap():
            assert file is not None
            return shapes.height_map(x, y, f.start, f.spacing, file[1])


def _rough(f: model.Roughness, x: Array, y: Array, rng: np.random.Generator, field: str) -> Array:
    band = _band(f)
    if f.rms is None or f.correlation_length is None:
        unevenness = f.unevenness or roughness.ISO_CLASSES[str(f.iso_class)]
        return roughness.iso_field(x, y, unevenness, band, rng)
    low, high = 1.0 / band.longest, 1.0 / band.shortest
    share = float(roughness.gaussian_variance(1.0, f.correlation_length, low, high))
    if share < LEAST_BAND_SHARE:
        raise ScenarioError(
            f"{field}.correlation_length: found {f.correlation_length * 1e3:.3g} mm, whose variance lies to "
            f"{share:.0%} in waves from {band.shortest * 1e3:.3g} mm to {band.longest:.3g} m, allowed is "
            f"{LEAST_BAND_SHARE:.0%} or more: change shortest_wave or longest_wave"
        )
    return roughness.gaussian_field(x, y, f.rms, f.correlation_length, band, rng)
