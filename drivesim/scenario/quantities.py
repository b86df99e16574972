"""Field types that read "180 g" and hold SI floats, and how models refuse; imports only units and errors."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    ValidationError,
    ValidatorFunctionWrapHandler,
)
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from drivesim import units
from drivesim.errors import UnitError

PER_CENT, PPM = "%", "ppm"


@dataclass(frozen=True)
class Unit:
    """Marks a float field as a quantity of ``name``: text with a unit outside, SI number inside.

    ``per`` is the mark that a plain ratio is mostly written with, such as %, where one is meant.
    """

    name: str
    per: str = ""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Parse the text, check the number's own limits, and write it back with its unit."""
        schema = handler(source)
        allowed = allowed_range(schema, self.name)

        def parse(value: object, inner: ValidatorFunctionWrapHandler) -> float:
            try:
                number = units.parse(value, self.name)
            except UnitError as error:
                text = str(error)
                if self.per == PPM:
                    text = text.replace(f"'{units.example(self.name)}'", f"'{self.example}'")
                raise PydanticCustomError("quantity", "{text}", {"text": text}) from None
            try:
                checked: float = inner(number)
            except ValidationError:
                text = f"found {units.found(value)}, allowed: {allowed}"
                if self.per and not isinstance(value, str) and number > 0:
                    text += f"; write it like '{value} {self.per}'"
                raise PydanticCustomError("quantity", "{text}", {"text": text}) from None
            return checked

        def show(value: float) -> str | float:
            return value if self.name == "1" else units.show(value, self.name)

        return core_schema.no_info_wrap_validator_function(
            parse, schema, serialization=core_schema.plain_serializer_function_ser_schema(show)
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Describe the field for editors as text with a unit."""
        kind: dict[str, Any] = {"type": ["number", "string"] if self.name == "1" else "string"}
        return kind | {"description": f"quantity, such as '{self.example}'", "examples": [self.example]}

    @property
    def example(self) -> str:
        """How such a quantity is written, for messages."""
        return "40 ppm" if self.per == PPM else units.example(self.name)


def allowed_range(limits: Mapping[str, Any], unit: str = "1") -> str:
    """Return the words for gt, ge, le in ``limits``, such as 'more than 0 kg'."""
    words = (("gt", "more than"), ("ge", "at least"), ("lt", "less than"), ("le", "at most"))
    parts = [f"{word} {units.readable(limits[key], unit, 17)}" for key, word in words if key in limits]
    return " and ".join(parts)


def refuse(problems: Sequence[tuple[str, str]]) -> None:
    """Raise one error for all ``problems`` (dotted field below the model, or "", and text), if any."""
    if problems:
        text = "; ".join(f"{field}: {text}" if field else text for field, text in problems)
        raise PydanticCustomError("rule", "{text}", {"text": text, "problems": list(problems)})


def unknown(name: object, allowed: Sequence[str]) -> str:
    """Return the words for a name that is not in ``allowed``, with the nearest one that is."""
    return f"found {units.found(name)}; {nearest(name, allowed)}allowed: {', '.join(allowed)}"


def nearest(name: object, allowed: Sequence[str]) -> str:
    """Return "did you mean '…'? " for the nearest of ``allowed``, or nothing."""
    if not isinstance(name, str):
        return ""
    close = difflib.get_close_matches(name[:60].lower().replace("-", "_"), allowed, n=1, cutoff=0.6)
    return f"did you mean '{close[0]}'? " if close else ""


class Model(BaseModel):
    """Base of everything a user writes: frozen, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=False)


_POSITIVE = Field(gt=0)
_NOT_NEGATIVE = Field(ge=0)

Mass = Annotated[float, _POSITIVE, Unit("kg")]
Length = Annotated[float, _POSITIVE, Unit("m")]
LengthOrZero = Annotated[float, _NOT_NEGATIVE, Unit("m")]
Coordinate = Annotated[float, Unit("m")]
Inertia = Annotated[float, _POSITIVE, Unit("kg*m^2")]
Duration = Annotated[float, _POSITIVE, Unit("s")]
DurationOrZero = Annotated[float, _NOT_NEGATIVE, Unit("s")]
Speed = Annotated[float, Unit("m/s")]
SpeedLimit = Annotated[float, _POSITIVE, Unit("m/s")]
TurnRate = Annotated[float, Unit("rad/s")]
SlewRate = Annotated[float, _POSITIVE, Unit("rad/s^2")]
Angle = Annotated[float, Unit("rad")]
AngleOrZero = Annotated[float, _NOT_NEGATIVE, Unit("rad")]
Force = Annotated[float, _POSITIVE, Unit("N")]
Stiffness = Annotated[float, _POSITIVE, Unit("N/m")]
Damping = Annotated[float, _NOT_NEGATIVE, Unit("N*s/m")]
Torque = Annotated[float, _NOT_NEGATIVE, Unit("N*m")]
ViscousTorque = Annotated[float, _NOT_NEGATIVE, Unit("N*m*s/rad")]
Resistance = Annotated[float, _POSITIVE, Unit("ohm")]
ResistanceOrZero = Annotated[float, _NOT_NEGATIVE, Unit("ohm")]
Inductance = Annotated[float, _POSITIVE, Unit("H")]
FluxLinkage = Annotated[float, _POSITIVE, Unit("Wb")]
TorqueConstant = Annotated[float, _POSITIVE, Unit("N*m/A")]
BackEmfConstant = Annotated[float, _POSITIVE, Unit("V*s/rad")]
SpeedConstant = Annotated[float, _POSITIVE, Unit("rad/s/V")]
Voltage = Annotated[float, _POSITIVE, Unit("V")]
VoltageOrZero = Annotated[float, _NOT_NEGATIVE, Unit("V")]
VoltagePerSpeed = Annotated[float, _NOT_NEGATIVE, Unit("V*s/rad")]
VoltagePerAngle = Annotated[float, _NOT_NEGATIVE, Unit("V/rad")]
VoltagePerFrequency = Annotated[float, _NOT_NEGATIVE, Unit("V/Hz")]
Current = Annotated[float, _POSITIVE, Unit("A")]
Charge = Annotated[float, _POSITIVE, Unit("A*h")]
Power = Annotated[float, _NOT_NEGATIVE, Unit("W")]
Capacitance = Annotated[float, _POSITIVE, Unit("F")]
Temperature = Annotated[float, Field(ge=-273.15), Unit("degC")]
TemperatureCoefficient = Annotated[float, _NOT_NEGATIVE, Unit("1/K")]
Acceleration = Annotated[float, _POSITIVE, Unit("m/s^2")]
ThermalResistance = Annotated[float, _POSITIVE, Unit("K/W")]
HeatCapacity = Annotated[float, _POSITIVE, Unit("J/K")]
Ratio = Annotated[float, _POSITIVE, Unit("1")]
RatioOrZero = Annotated[float, _NOT_NEGATIVE, Unit("1")]
Share = Annotated[float, Field(gt=0, le=1), Unit("1", PER_CENT)]
ShareOrZero = Annotated[float, Field(ge=0, le=1), Unit("1", PER_CENT)]
Rate = Annotated[float, _NOT_NEGATIVE, Unit("1/s")]
ShareBelowOne = Annotated[float, Field(ge=0, lt=1), Unit("1", PER_CENT)]
Spread = Annotated[float, Field(ge=0, lt=0.5), Unit("1", PER_CENT)]  # a standard deviation, as a share
GrowthFactor = Annotated[float, Field(ge=1), Unit("1")]
ClockError = Annotated[float, Field(ge=-1e-3, le=1e-3), Unit("1", PPM)]
Exponent = Annotated[float, Field(gt=0, lt=3), Unit("1")]
Area = Annotated[float, _POSITIVE, Unit("m^2")]
CopperWeight = Annotated[float, _POSITIVE, Unit("kg/m^2")]
FilmCoefficient = Annotated[float, _POSITIVE, Unit("W/m^2/K")]
Pressure = Annotated[float, _NOT_NEGATIVE, Unit("Pa")]
TorquePerAngle = Annotated[float, _NOT_NEGATIVE, Unit("N*m/rad")]
SpeedPerCurrent = Annotated[float, _POSITIVE, Unit("rad/s/A")]
CurrentPerSpeed = Annotated[float, _NOT_NEGATIVE, Unit("A*s/rad")]
CurrentPerAngle = Annotated[float, _NOT_NEGATIVE, Unit("A/rad")]
