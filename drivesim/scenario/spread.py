"""How parts vary: a tolerance on any number of a scenario; imports quantities and variation."""

from __future__ import annotations

from typing import Annotated, Any, Literal, NamedTuple, Self

from pydantic import BeforeValidator, model_validator

from drivesim import units
from drivesim.errors import UnitError
from drivesim.scenario import quantities as q
from drivesim.scenario.variation import Template

SHARE = ("%", "ppm")  # marks of a deviation that is a share of the value itself
FORMS = ("normal", "uniform", "between")


def _quantity(value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError(f"found {units.found(value)}, needed: a quantity such as '5 %' or '20 g'")
    return value


#: a quantity whose unit depends on what it is for
Written = Annotated[Any, BeforeValidator(_quantity)]


class Tolerance(NamedTuple):
    """A spread in numbers: its form, and in SI (mean, standard deviation) if normal, else (least, greatest)."""

    form: Literal["normal", "uniform"]
    first: float
    second: float
    each_wheel: bool


class Spread(q.Model):
    """One tolerance: ``normal`` (standard deviation), ``uniform`` (greatest deviation), or ``between`` two values.

    A deviation in % or ppm is a share of the value itself; otherwise it has the value's own unit.  ``each: wheel``
    draws for each wheel on its own, else one draw holds for the rover.
    """

    normal: Written | None = None
    uniform: Written | None = None
    between: tuple[Written, Written] | None = None
    each: Literal["wheel", "rover"] = "rover"

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        given = [form for form in FORMS if getattr(self, form) is not None]
        if len(given) != 1:
            text = f"found {' and '.join(given) or 'none'}; give exactly one of {', '.join(FORMS)}"
            q.refuse([(given[-1] if given else "", text)])
        return self

    def tolerance(self, template: Template, path: str) -> Tolerance:
        """Return what this means for the number at ``path``.  Raises UnitError with the field that is wrong."""
        value, unit, each = template.number(path), template.unit(path), self.each == "wheel"
        if each:
            template.wheel_path(path, template.scenario.rover.wheel_names[0])
        if self.between is not None:
            least, greatest = (units.parse(end, unit) for end in self.between)
            if least >= greatest:
                raise UnitError(
                    f"between: found {least:g} to {greatest:g}; the first must be the smaller one"
                )
            return Tolerance("uniform", least, greatest, each)
        form = "normal" if self.normal is not None else "uniform"
        deviation = _deviation(getattr(self, form), form, value, unit)
        if form == "normal":
            return Tolerance("normal", value, deviation, each)
        return Tolerance("uniform", value - deviation, value + deviation, each)


def _deviation(written: Written, form: str, value: float, unit: str) -> float:
    share = isinstance(written, str) and written.rstrip().endswith(SHARE)
    try:
        if not share and unit == "degC":  # a difference
            found = units.parse(written, "K")
        else:
            found = units.parse(written, "1" if share else unit)
    except UnitError as error:
        raise UnitError(f"{form}: {error}, or as a share: '5 %'") from None
    if share and unit == "degC":
        raise UnitError(
            f"{form}: found {units.found(written)}, a share of a temperature means nothing; write '5 K'"
        )
    if share and value == 0:
        raise UnitError(f"{form}: found {units.found(written)}, and a share of zero is zero; give it a unit")
    if found <= 0:
        raise UnitError(f"{form}: found {units.found(written)}, allowed: more than 0")
    return found * abs(value) if share else found
