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


class Spread(q.Model):
    """One tolerance: ``normal`` (standard deviation), ``uniform`` (greatest deviation), or ``between`` two values.

    A deviation in % or ppm is a share of the value itself; otherwise it has the value's own unit.  ``each: wheel``
    draws for each wheel on its own, else one draw holds for the rover.
    """

    normal: Written | None = None
    """Standard deviation, in the value's unit, or in % of it."""
    uniform: Written | None = None
    """Greatest deviation, in the value's unit, or in % of it."""
    between: tuple[Written, Written] | None = None
    """The least and the greatest value."""
    each: Literal["wheel", "rover"] = "rover"
    """Whether each wheel is drawn on its own."""

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        given = [form for form in FORMS if getattr(self, form) is not None]
        if len(given) != 1:
            text = f"found {' and '.join(given) or 'none'}; give exactly one of {', '.join(FORMS)}"
            q.refuse([(given[-1] if given else "", text)])
        return self

    def tolerances(self, template: Template, path: str) -> dict[str, Tolerance]:
        """Return the tolerance of each number that is drawn for ``path``: its own, or that of each wheel there.

        A wheel that has a value of its own is drawn around that.  Raises UnitError with the field that is wrong.
        """
        unit = template.unit(path)
        if template.whole(path):
            raise UnitError("is a count, and parts do not vary by counts; compare cases, or sweep an axis")
        if self.each == "rover":
            return {path: self.tolerance(template.number(path), unit)}
        return {
            template.wheel_path(path, wheel): self.tolerance(template.wheel_number(path, wheel), unit)
            for wheel in template.scenario.rover.wheel_names
        }

    def tolerance(self, value: float, unit: str) -> Tolerance:
        """Return what this means for a number of ``value`` and ``unit``.  Raises UnitError."""
        if self.between is not None:
            least, greatest = (units.parse(end, unit) for end in self.between)
            if least >= greatest:
                text = f"between: found {least:g} to {greatest:g}; the first must be the smaller one"
                raise UnitError(text)
            return Tolerance("uniform", least, greatest)
        form = "normal" if self.normal is not None else "uniform"
        deviation = _deviation(getattr(self, form), form, value, unit)
        if form == "normal":
            return Tolerance("normal", value, deviation)
        return Tolerance("uniform", value - deviation, value + deviation)


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
