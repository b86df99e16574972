"""The STUDY.yaml of a sweep: axes, design, what counts as success; imports the study that all such files extend."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, create_model, model_validator

from drivesim.scenario import quantities as q
from drivesim.scenario.spread import FORMS, Written
from drivesim.scenario.study import Study

MOST_VALUES = 1000  # of one axis
MOST_RUNS = 1_000_000
DEFAULT_BAR = "moving >= 1"
FROM = "The first value; goes with to and count."
DEFAULT_MEASURES = ("success", "progress_share", "stuck", "circulating_power")


def _listed(value: Any) -> Any:
    """Take a list for an axis that has these values."""
    return {"values": value} if isinstance(value, list | tuple) else value


def _one_or_more(value: Any) -> Any:
    """Take a single word for a list of one."""
    return (value,) if isinstance(value, str) else value


class _Axis(q.Model):
    """What a mapping under ``axes`` may hold; the key it stands under is a dotted path, unless ``paths`` are given."""

    values: tuple[Any, ...] | None = Field(default=None, min_length=1, max_length=MOST_VALUES)
    """A list of values."""
    to: Written | None = None
    """The last value; goes with from and count."""
    count: int | None = Field(default=None, strict=True, ge=2, le=MOST_VALUES)
    """How many values from the first to the last."""
    scale: Literal["linear", "log"] = "linear"
    """Whether they follow each other in equal steps or in equal ratios."""
    normal: Written | None = None
    """Standard deviation about the scenario's value."""
    uniform: Written | None = None
    """Greatest deviation from the scenario's value."""
    between: tuple[Written, Written] | None = None
    """Least and greatest value."""
    paths: tuple[str, ...] | None = Field(default=None, min_length=1, max_length=100)
    """Several dotted paths that all get the same value; the key is then a name."""
    also: dict[str, q.Ratio] = Field(default_factory=dict)
    """Other paths, and the share of the value that they get."""
    label: str | None = Field(default=None, min_length=1, max_length=60)
    """A short name for tables and pictures."""

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        begin = getattr(self, "from")
        forms = [*FORMS, "values", "from"]
        given = [form for form in forms if getattr(self, form) is not None]
        problems = []
        if len(given) != 1:
            text = f"found {' and '.join(given) or 'none'}; give exactly one of a list, from … to, {', '.join(FORMS)}"
            problems.append((given[-1] if given else "", text))
        if (begin is None) != (self.to is None):
            problems.append(("to", "goes with from") if begin is None else ("from", "goes with to"))
        for key, needed in (("count", self.count is not None), ("scale", self.scale == "log")):
            if needed and begin is None:
                problems.append((key, f"found without from and to, which {key} is about"))
        if self.also and self.values is not None and any(isinstance(value, dict) for value in self.values):
            problems.append(("also", "goes with numbers only; give each value a change with all its paths"))
        q.refuse(problems)
        return self


#: ``from`` is a word of Python's own, so that no class body can hold it
Axis: Any = create_model(
    "Axis", __base__=_Axis, __doc__=_Axis.__doc__,
    **{"from": (Written | None, Field(default=None, description=FROM))},  # type: ignore[call-overload]
)  # fmt: skip


class SweepFile(Study):
    """Many designs of one scenario, each driven over the same grounds."""

    name: str = Field(default="sweep", min_length=1, max_length=120)
    """Words for the result."""
    grounds: int = Field(default=10, strict=True, ge=1, le=100_000)
    """How many grounds each design drives."""
    axes: dict[str, Annotated[Axis, BeforeValidator(_listed)]] = Field(min_length=1, max_length=20)
    """Dotted path, and the values that it takes."""
    design: Literal["grid", "sobol", "latin_hypercube"] = "grid"
    """Every combination, or so many spread over the axes."""
    designs: int | None = Field(default=None, strict=True, ge=2, le=MOST_RUNS)
    """How many designs, for sobol and latin_hypercube."""
    sensitivity: bool = Field(default=False, strict=True)
    """Whether Sobol' indices are worked out; needs sobol."""
    success: Annotated[tuple[str, ...], BeforeValidator(_one_or_more), Field(min_length=1, max_length=20)] = (
        DEFAULT_BAR,
    )
    """Bars that a run must meet, such as progress_share >= 70 %."""
    measures: Annotated[
        tuple[str, ...], BeforeValidator(_one_or_more), Field(min_length=1, max_length=20)
    ] = DEFAULT_MEASURES
    """Figures to map."""

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        problems: list[tuple[str, str]] = []
        if self.design == "grid":
            if self.designs is not None:
                problems.append(("designs", "a grid has as many designs as its axes give; leave it out"))
        elif self.designs is None:
            problems.append(("design", f"{self.design} needs 'designs' too: how many there shall be"))
        if self.sensitivity:
            problems += self._wrong_for_indices()
        if not problems and self.runs > MOST_RUNS:
            text = f"found {self.runs} runs in all, allowed: at most {MOST_RUNS}"
            problems.append(("grounds", text))
        q.refuse(problems)
        return self

    def _wrong_for_indices(self) -> list[tuple[str, str]]:
        if self.design != "sobol":
            return [("sensitivity", f"found with the design {self.design}, needed: sobol")]
        if len(self.axes) < 2:
            return [("sensitivity", "needs two axes or more")]
        if self.designs is not None and (self.designs & (self.designs - 1) or self.designs < 8):
            text = f"found {self.designs}, needed for sensitivity: a power of two from 8 on, such as 64"
            return [("designs", text)]
        return []

    @property
    def runs(self) -> int:
        """How many runs this asks for in all."""
        if self.design != "grid":
            return (self.designs or 0) * (len(self.axes) + 2 if self.sensitivity else 1) * self.grounds
        found = self.grounds
        for axis in self.axes.values():
            found *= len(axis.values) if axis.values is not None else axis.count or 1
        return found
