"""Copper of a printed winding and the way its heat goes, as a builder writes them; imports only quantities."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from drivesim.scenario import quantities as q

#: copper weights that the published table of least thicknesses covers, 1/2 to 4 oz/ft^2 (with room for rounding)
LEAST_WEIGHT, MOST_WEIGHT = 0.15, 1.25  # kg/m^2

#: density [kg/m^3] and specific heat [J/(kg*K)] at room temperature.  Aluminium and carbon steel: Incropera and
#: DeWitt, Fundamentals of Heat and Mass Transfer, table A.1 (from memory); the others: common practice, no source
MATERIALS = {
    "aluminium": (2702.0, 903.0),
    "steel": (7854.0, 434.0),
    "fr4": (1850.0, 1100.0),
    "carbon_fibre": (1600.0, 800.0),
    "nylon": (1140.0, 1700.0),
}


class Layer(q.Model):
    """One copper layer of a phase's conductor, or ``count`` equal ones in series."""

    place: Literal["outer", "inner"]
    """Outer layers are plated, inner ones are not."""
    copper: q.CopperWeight | None = None
    """Nominal weight of the foil; give this or thickness."""
    thickness: q.Length | None = None
    """Thickness as finished, measured."""
    width: q.Length
    """Width of the trace."""
    length: q.Length
    """Length of the trace in this layer."""
    count: int = Field(default=1, strict=True, ge=1, le=64)
    """How many such layers follow each other in series."""

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        if (self.copper is None) == (self.thickness is None):
            found, field = ("neither", "") if self.copper is None else ("both", "thickness")
            q.refuse([(field, f"found {found}; give exactly one of copper, thickness")])
        return self


class Vias(q.Model):
    """Plated holes in series in each phase."""

    count: int = Field(strict=True, ge=1, le=10_000)
    """Plated holes in series in each phase."""
    drill: q.Length
    """Diameter of the drilled hole."""
    plating: q.Length = 20e-6
    """Thickness of the copper in the hole."""
    length: q.Length = 1.6e-3
    """Length of the hole, through the board."""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if 2 * self.plating > self.drill:
            text = f"found {self.plating * 1e6:.3g} um, allowed: at most half the drill's {self.drill * 1e3:.3g} mm"
            q.refuse([("plating", text)])
        return self


class Conductor(q.Model):
    """The copper of one phase, from which its resistance follows; the layers are in series."""

    layers: tuple[Layer, ...] = Field(min_length=1, max_length=64)
    """Layers of one phase, in series."""
    parallel_paths: int = Field(default=1, strict=True, ge=1, le=100)
    """Equal paths side by side."""
    finish: Literal["nominal", "thinnest"] = "nominal"
    """As drawn, or the least thickness that IPC-6012 allows for the weight."""
    vias: Vias | None = None
    """Vias between the layers."""

    @model_validator(mode="after")
    def _weights(self) -> Self:
        problems = []
        for i, layer in enumerate(self.layers if self.finish == "thinnest" else ()):
            if layer.copper is None:
                text = "has no copper weight, which finish: thinnest needs in every layer"
                problems.append((f"layers.{i}", text))
            elif not LEAST_WEIGHT <= layer.copper <= MOST_WEIGHT:
                text = (
                    f"found {layer.copper * 1e3:.4g} g/m^2, allowed with finish: thinnest: "
                    "0.5 to 4 oz/ft^2 (152 to 1221 g/m^2), which the published table covers"
                )
                problems.append((f"layers.{i}.copper", text))
        q.refuse(problems)
        return self


class Housing(q.Model):
    """What the winding's heat passes through: of a material and size, or a thermal resistance and capacity."""

    material: Literal["aluminium", "steel", "fr4", "carbon_fibre", "nylon"] | None = None
    """What it is made of; goes with area and thickness."""
    area: q.Area | None = None
    """Area that gives heat to the air."""
    thickness: q.Length | None = None
    """Thickness of the material."""
    film_coefficient: q.FilmCoefficient = 10.0
    """Heat that the air takes per area and kelvin; 10 is still air, common practice."""
    thermal_resistance: q.ThermalResistance | None = None
    """From the housing to the air; goes with heat_capacity, instead of the material."""
    heat_capacity: q.HeatCapacity | None = None
    """Heat that warms the housing by one kelvin."""
    touch_limit: q.Temperature = 60.0
    """Temperature above which touching it is a caution."""

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        made, known = ("material", "area", "thickness"), ("thermal_resistance", "heat_capacity")
        given = [n for n in (*made, *known) if getattr(self, n) is not None]
        if given not in (list(made), list(known)):
            found = ", ".join(given) or "none"
            field = next((n for n in given if n in known), "") if made[0] in given else ""
            q.refuse([(field, f"found {found}; give {', '.join(made)}, or {' and '.join(known)}")])
        if self.material is None and self.film_coefficient != 10.0:
            q.refuse([("film_coefficient", "belongs to material, area and thickness, which are not given")])
        return self

    @property
    def R_th(self) -> float:  # noqa: N802 - the textbook symbol
        """Thermal resistance to ambient [K/W]: 1/(h·A) where it is not given."""
        if self.thermal_resistance is not None:
            return self.thermal_resistance
        assert self.area is not None
        return 1 / (self.film_coefficient * self.area)

    @property
    def C(self) -> float:  # noqa: N802 - the textbook symbol
        """Heat capacity [J/K]: ρ·c·A·t where it is not given."""
        if self.heat_capacity is not None:
            return self.heat_capacity
        assert self.material is not None
        assert self.area is not None
        assert self.thickness is not None
        density, specific = MATERIALS[self.material]
        return density * specific * self.area * self.thickness
