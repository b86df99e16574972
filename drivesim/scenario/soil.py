"""Soft ground as a builder writes it: Bekker's pressure-sinkage and Mohr-Coulomb's shear; imports quantities."""

from __future__ import annotations

from math import degrees, isfinite, radians, tan
from typing import Any, Literal, NamedTuple, Self

from pydantic import Field, field_validator, model_validator

from drivesim import units
from drivesim.scenario import quantities as q

#: Wong, Theory of Ground Vehicles, table of terrain values (from memory): exponent n, k_c [kN/m^(n+1)],
#: k_phi [kN/m^(n+2)], cohesion [kPa], friction angle [deg]; last the shear modulus [mm], which is not in that table:
#: common practice, no source (10 sand and loam, 8 clay, 30 snow)
PRESETS = {
    "dry_sand": (1.1, 0.99, 1528.43, 1.04, 28.0, 10.0),
    "sandy_loam_15": (0.7, 5.27, 1515.04, 1.72, 29.0, 10.0),
    "sandy_loam_22": (0.2, 2.56, 43.12, 1.38, 38.0, 10.0),
    "sandy_loam_michigan_11": (0.9, 52.53, 1127.97, 4.83, 20.0, 10.0),
    "sandy_loam_michigan_23": (0.4, 11.42, 808.96, 9.65, 35.0, 10.0),
    "clay_thailand_38": (0.5, 13.19, 692.15, 4.14, 13.0, 8.0),
    "clay_thailand_55": (0.7, 16.03, 1262.53, 2.07, 10.0, 8.0),
    "heavy_clay": (0.13, 12.70, 1555.95, 68.95, 34.0, 8.0),
    "lean_clay": (0.2, 16.43, 1724.69, 68.95, 20.0, 8.0),
    "lete_sand": (0.79, 102.0, 5301.0, 1.3, 31.1, 10.0),
    "snow": (1.6, 4.37, 196.72, 1.03, 19.7, 30.0),
}
_MOST = 1e6  # kN and m: no soil is stiffer


class SoilNumbers(NamedTuple):
    """A soil with nothing left open: k_c [N/m^(n+1)], k_phi [N/m^(n+2)], cohesion [Pa], shear_modulus [m]."""

    exponent: float
    k_c: float
    k_phi: float
    cohesion: float
    tan_phi: float
    shear_modulus: float


class Soil(q.Model):
    """A preset, own numbers, or a preset with some numbers of its own."""

    preset: Literal[
        "dry_sand", "sandy_loam_15", "sandy_loam_22", "sandy_loam_michigan_11", "sandy_loam_michigan_23",
        "clay_thailand_38", "clay_thailand_55", "heavy_clay", "lean_clay", "lete_sand", "snow",
    ] | None = None  # fmt: skip
    """A soil of the published table; own numbers win over its numbers."""
    exponent: q.Exponent | None = None
    """Sinkage exponent n of Bekker's law."""
    k_c: float | None = Field(default=None, ge=0, le=_MOST)
    """Cohesive modulus in kN/m^(n+1), a plain number."""
    k_phi: float | None = Field(default=None, gt=0, le=_MOST)
    """Frictional modulus in kN/m^(n+2), a plain number."""
    cohesion: q.Pressure | None = None
    """Cohesion."""
    friction_angle: q.Angle | None = None
    """Angle of internal friction."""
    shear_modulus: q.Length | None = None
    """Shear deformation modulus K of Janosi and Hanamoto's law."""

    @field_validator("k_c", "k_phi", mode="before")
    @classmethod
    def _plain(cls, value: Any) -> Any:
        """Take nothing but numbers: the unit depends on the exponent, so that none can be written."""
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if value is not None and not (number and abs(value) <= _MOST and isfinite(value)):
            found = units.found(value)
            raise ValueError(f"found {found}, needed: a number without unit, in kN and m, such as 1528.43")
        return value

    @model_validator(mode="after")
    def _whole(self) -> Self:
        problems = []
        if self.preset is None:
            missing = [n for n in type(self).model_fields if n != "preset" and getattr(self, n) is None]
            if missing:
                problems.append(("", f"lacks {', '.join(missing)}; give all numbers, or a preset"))
        phi = self.friction_angle
        if phi is not None and not 0 <= phi < radians(90):
            text = f"found {degrees(phi):.3g} deg, allowed: at least 0 and less than 90 deg"
            problems.append(("friction_angle", text))
        q.refuse(problems)
        return self

    @property
    def numbers(self) -> SoilNumbers:
        """The soil's own numbers, and for what it leaves open those of its preset, all in SI."""
        n, k_c, k_phi, kPa, deg, mm = PRESETS[self.preset] if self.preset else (0.0,) * 6

        def own(value: float | None, preset: float) -> float:
            return preset if value is None else value

        return SoilNumbers(
            exponent=own(self.exponent, n),
            k_c=1e3 * own(self.k_c, k_c),
            k_phi=1e3 * own(self.k_phi, k_phi),
            cohesion=own(self.cohesion, 1e3 * kPa),
            tan_phi=tan(own(self.friction_angle, radians(deg))),
            shear_modulus=own(self.shear_modulus, 1e-3 * mm),
        )
