"""The ground as a builder writes it: features whose heights add up, and a friction field."""

from __future__ import annotations

from math import degrees, radians
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from drivesim import units
from drivesim.errors import UnitError
from drivesim.scenario import quantities as q
from drivesim.scenario.soil import Soil
from drivesim.scenario.surfaces import SURFACES, Surface

STEEPEST = radians(80)  # rad


class _Feature(q.Model):
    """What every feature has; ``label`` is the word a verdict uses for it."""

    label: str | None = Field(default=None, max_length=60)
    """The word that a verdict uses for it."""


class Ramp(_Feature):
    """A slope between two places; the ground stays at the top after it.

    ``slope`` > 0 climbs.  ``cross_slope`` > 0 lifts the left side; it comes in over the first quarter of the
    ramp and goes out over the last, so that the ramp meets level ground at both ends.
    """

    kind: Literal["ramp"]
    """A slope."""
    start: q.Coordinate
    """Where it begins, along x."""
    end: q.Coordinate
    """Where it ends."""
    slope: q.Angle
    """Slope; more than 0 climbs."""
    cross_slope: q.Angle = 0.0
    """Slope across; more than 0 lifts the left side."""

    @model_validator(mode="after")
    def _forward(self) -> Self:
        problems = [("end", "must lie beyond start")] if self.end <= self.start else []
        for name, slope in (("slope", self.slope), ("cross_slope", self.cross_slope)):
            if abs(slope) > STEEPEST:
                problems.append((name, f"found {degrees(slope):.3g} deg, allowed: at most 80 deg either way"))
        q.refuse(problems)
        return self


class Step(_Feature):
    """A sharp edge; the ground stays at ``height`` after it (negative: a drop)."""

    kind: Literal["step"]
    """A sharp edge."""
    at: q.Coordinate
    """Where it stands, along x."""
    height: q.Coordinate
    """Its height; negative: a drop."""


class Pavers(_Feature):
    """A row of slabs with gaps between them, standing ``height`` above the ground."""

    kind: Literal["pavers"]
    """A row of slabs."""
    start: q.Coordinate
    """Where the first begins."""
    count: int = Field(strict=True, ge=1, le=1000)
    """How many slabs."""
    length: q.Length
    """Length of a slab."""
    gap: q.LengthOrZero
    """Gap between two slabs."""
    height: q.Length
    """Height of the slabs above the ground."""
    height_spread: q.LengthOrZero = 0.0
    """Each slab's height is drawn within ± this."""
    gap_depth: q.Length | None = None
    """Depth of the gaps; without it down to the ground."""


class Bumps(_Feature):
    """Half-round bars across the way; the first begins at ``start``, ``spacing`` is from crest to crest."""

    kind: Literal["bumps"]
    """Half-round bars across the way."""
    start: q.Coordinate
    """Where the first begins."""
    count: int = Field(default=1, strict=True, ge=1, le=1000)
    """How many bars."""
    spacing: q.Length = 0.2
    """From crest to crest."""
    radius: q.Length
    """Radius of the bars."""
    side: Literal["both", "left", "right"] = "both"
    """On which side of the way they lie."""


class Twist(_Feature):
    """Left and right rise and fall in opposition: lifts wheels off a stiff frame."""

    kind: Literal["twist"]
    """Left and right rise and fall in opposition."""
    start: q.Coordinate
    """Where it begins."""
    wavelength: q.Length
    """Length of one wave."""
    amplitude: q.Length
    """Height of a crest above the middle."""


class Washboard(_Feature):
    """A sine across the way."""

    kind: Literal["washboard"]
    """Waves across the way."""
    start: q.Coordinate
    """Where they begin."""
    wavelength: q.Length
    """Length of one wave."""
    amplitude: q.Length
    """Height of a crest above the middle."""


class Roughness(_Feature):
    """Band-limited random ground: an ISO 8608 class (or its unevenness), or rms and correlation length."""

    kind: Literal["roughness"]
    """Random ground."""
    iso_class: Literal["A", "B", "C", "D", "E", "F", "G", "H"] | None = None
    """Class of ISO 8608, A (smooth) to H; one of three ways to give it."""
    unevenness: Annotated[float, Field(gt=0), q.Unit("m^3")] | None = None
    """Unevenness G_d(n0) of ISO 8608, at 0.1 cycles per metre."""
    rms: q.Length | None = None
    """Root mean square of the heights; goes with correlation_length."""
    correlation_length: q.Length | None = None
    """Way over which the heights' correlation falls to 1/e; lumps are some four of it apart."""
    longest_wave: q.Length = 2.0
    """Longest wave in it."""
    shortest_wave: q.Length = 0.05
    """Shortest wave in it."""
    start: q.Coordinate = 0.3
    """Where it begins to fade in."""
    fade: q.LengthOrZero = 0.1
    """Way over which it fades in."""
    seed: int | None = Field(default=None, strict=True, ge=0, le=2**63)
    """Seed of its own; without it from the scenario's seed."""

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        problems = []
        given = [n for n in ("iso_class", "unevenness", "rms") if getattr(self, n) is not None]
        if len(given) != 1:
            found = " and ".join(given) or "none"
            text = f"found {found}; give exactly one of iso_class, unevenness, rms"
            problems.append((given[-1] if given else "", text))
        if (self.rms is None) != (self.correlation_length is None):
            alone = "rms" if self.correlation_length is None else "correlation_length"
            problems.append((alone, "rms and correlation_length go together"))
        if self.longest_wave <= self.shortest_wave:
            name = "shortest_wave" if "shortest_wave" in self.model_fields_set else "longest_wave"
            text = (
                f"longest_wave ({self.longest_wave:g} m) must exceed shortest_wave ({self.shortest_wave:g} m)"
            )
            problems.append((name, text))
        q.refuse(problems)
        return self


class Profile(_Feature):
    """Heights along the way from a CSV file with a header such as 'x [m], z [mm]'.

    The file's x counts from ``start``; before its first and after its last row the ground stays level.
    """

    kind: Literal["profile"]
    """Measured heights along the way."""
    file: str
    """CSV file with a header such as x [m], z [mm]."""
    start: q.Coordinate = 0.0
    """Where the file's x = 0 lies."""


class HeightMap(_Feature):
    """Heights on a square grid from a CSV file without header.

    Rows run along x, the first at ``start``; columns run from right (-y) to left (+y), centred on y = 0.
    Beyond the map the ground stays as at its border.  Lines that start with '#' are comments.
    """

    kind: Literal["height_map"]
    """Measured heights on a grid."""
    file: str
    """CSV file of numbers: rows along x, columns from right to left."""
    spacing: q.Length
    """Way between two heights."""
    unit: str = "m"
    """Unit of the numbers in the file."""
    start: q.Coordinate = 0.0
    """Where the first row lies."""

    @model_validator(mode="after")
    def _length_unit(self) -> Self:
        try:
            units.parse(f"1 {self.unit}", "m")
        except UnitError:
            q.refuse([("unit", f"found {units.found(self.unit)}, allowed: a unit of length such as mm")])
        return self


Feature = Annotated[
    Ramp | Step | Pavers | Bumps | Twist | Washboard | Roughness | Profile | HeightMap,
    Field(discriminator="kind"),
]


class Patch(q.Model):
    """A rectangle where friction is multiplied by ``factor``, or where the ground is of another kind."""

    x: tuple[q.Coordinate, q.Coordinate]
    """From and to, along the way."""
    y: tuple[q.Coordinate, q.Coordinate]
    """From and to, across; positive is left."""
    factor: q.Ratio = 1.0
    """Factor on the tyre's friction, where the ground is hard."""
    hold: q.ShareOrZero = 0.0
    """Hold that it offers to spikes, as a share of the tyre's bite."""
    rolling_factor: q.Ratio = 1.0
    """Factor on rolling resistance."""
    soil: Soil | None = None
    """Soft ground of its own; without it the patch is hard."""
    label: str | None = Field(default=None, max_length=60)
    """The word that a verdict uses for it."""

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        spans = (("x", self.x), ("y", self.y))
        problems = [(name, "needs [from, to] with from < to") for name, (a, b) in spans if a >= b]
        if not {"factor", "hold", "rolling_factor", "soil"} & self.model_fields_set:
            problems.append(("", "changes nothing; give one of factor, hold, rolling_factor, soil"))
        q.refuse(problems)
        return self


class Ground(q.Model):
    """A rectangle of ground: x from ``-behind`` to ``length``, y within ± width/2; flat without features."""

    name: str = "ground"
    """Words for it, in results."""
    length: q.Length = 4.0
    """How far it reaches ahead of x = 0."""
    behind: q.Length = 0.5
    """How far it reaches behind x = 0."""
    width: q.Length = 1.5
    """Its width, half of it on either side."""
    cell: q.Length | None = None
    """Spacing of the grid; without it fine where all is alike across, else a tenth of the wheel's radius or finer."""
    friction_factor: q.Ratio = 1.0
    """Factor on every tyre's friction, where the ground is hard."""
    rolling_factor: q.Ratio = 1.0
    """Factor on every tyre's rolling resistance."""
    surface: Surface | None = None
    """A kind of hard ground, which multiplies both factors; without it dry concrete."""
    hold: q.ShareOrZero = 0.0
    """Hold that it offers to spikes everywhere, as a share of the tyre's bite."""
    soil: Soil | None = None
    """Soft ground; without it hard."""
    features: tuple[Feature, ...] = ()
    """What stands on it; heights add up."""
    patches: tuple[Patch, ...] = ()
    """Rectangles where friction or ground differ."""

    @model_validator(mode="after")
    def _hard_or_soft(self) -> Self:
        if self.surface is not None and self.soil is not None:
            q.refuse([("surface", "is hard ground, and soil is given too; give one of them")])
        return self

    @property
    def friction(self) -> float:
        """Factor on the tyre's friction away from all patches [1]."""
        return self.friction_factor * (SURFACES[self.surface].friction if self.surface else 1.0)

    @property
    def rolling(self) -> float:
        """Factor on the tyre's rolling resistance away from all patches [1]."""
        return self.rolling_factor * (SURFACES[self.surface].rolling if self.surface else 1.0)

    @property
    def soils(self) -> tuple[Soil, ...]:
        """The soft ground and that of the patches, each once, in this order."""
        all_soils = (self.soil, *(patch.soil for patch in self.patches))
        return tuple(dict.fromkeys(soil for soil in all_soils if soil is not None))
