"""What the models expect at a place of a scenario, in words; imports the models only.

A location in an error of pydantic names inner things too (the choice made in a union, ``all_wheels``).
Walking the types along a location tells which steps the user wrote, and what was expected there.
"""

from __future__ import annotations

from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from drivesim import units
from drivesim.scenario import quantities as q
from drivesim.scenario.conditions import LIKE, Condition
from drivesim.scenario.drive import Drive
from drivesim.scenario.ground import Ground
from drivesim.scenario.motor import Battery, Driver, Motor, Winding
from drivesim.scenario.problems import Path
from drivesim.scenario.rover import Bearing, Rover, Tyre, Wheel
from drivesim.scenario.scenario import Scenario

LOADER_KEYS = ("base", "change")  # keys of a scenario that only the loader knows
#: models that may stand in a file of their own, and where; a place comes after those around it
INCLUDABLE: dict[Path, type[q.Model]] = {
    ("rover",): Rover, ("ground",): Ground, ("drive",): Drive, ("rover", "wheel"): Wheel,
    ("rover", "battery"): Battery, ("rover", "wheel", "tyre"): Tyre, ("rover", "wheel", "bearing"): Bearing,
    ("rover", "wheel", "motor"): Motor, ("rover", "wheel", "winding"): Winding,
    ("rover", "wheel", "driver"): Driver,
}  # fmt: skip


class Spot:
    """What stands at a location: its path as the user writes it, the type expected there and around."""

    def __init__(self, location: tuple[str | int, ...], root: type[q.Model] = Scenario) -> None:
        self.path: Path = ()
        self.kind: Any = root
        self.around: Any = None
        for step in location:
            self.around = bare(self.kind)
            if not is_choice(self.around) and (self.around, step) != (Drive, "all_wheels"):
                self.path = (*self.path, step)
            self.kind = _inside(self.around, step)

    @property
    def allowed_keys(self) -> list[str]:
        """The keys of the mapping around, those that must be given first."""
        fields = self.around.model_fields if is_model(self.around) else {}
        keys = sorted(fields, key=lambda key: not fields[key].is_required())
        if self.around is Scenario:
            keys += LOADER_KEYS
        return [*keys, "coordination", "overrides"] if self.path[:-1] == ("drive",) else keys

    @property
    def limits(self) -> str:
        """The range allowed for the number here, in words."""
        marks = get_args(self.kind)[1:] if get_origin(self.kind) is Annotated else ()
        names = ("gt", "ge", "lt", "le")
        return q.allowed_range({name: getattr(m, name) for m in marks for name in names if hasattr(m, name)})


def part_of(keys: set[str]) -> Path | None:
    """Return where a file with such ``keys`` belongs that is no scenario but one part of one; None where it is one."""
    own = keys & {*Scenario.model_fields, *LOADER_KEYS}
    if own & {"rover", "drive", "commands", "duration", "base"}:
        return None
    drives = choices(Drive.model_fields["all_wheels"].annotation)[1].values()
    fields = {path: set(model.model_fields) for path, model in INCLUDABLE.items()}
    fields["drive",] |= {key for model in drives for key in model.model_fields}
    best = max(fields, key=lambda path: len(keys & fields[path]))
    known = len(keys & fields[best])
    return best if known > len(own) and 2 * known > len(keys) else None


def bare(kind: Any) -> Any:
    """Return ``kind`` without annotations and without 'or None'."""
    if get_origin(kind) is Annotated:
        return bare(get_args(kind)[0])
    if get_origin(kind) in (Union, UnionType):
        rest = [arg for arg in get_args(kind) if arg is not type(None)]
        return bare(rest[0]) if len(rest) == 1 else kind
    return kind


def is_choice(kind: Any) -> bool:
    """Tell whether ``kind`` (bare) is one of several mappings, told apart by a word such as strategy."""
    return get_origin(kind) in (Union, UnionType) and all(is_model(bare(arg)) for arg in get_args(kind))


def is_model(kind: Any) -> bool:
    """Tell whether ``kind`` (bare) is a mapping with keys of its own."""
    return isinstance(kind, type) and issubclass(kind, q.Model)


def choices(kind: Any) -> tuple[str, dict[str, type[q.Model]]]:
    """Return the key that tells the mappings of a choice apart, and its words with their mappings."""
    models = get_args(bare(kind))
    key = "strategy" if "strategy" in models[0].model_fields else "kind"
    return key, {get_args(model.model_fields[key].annotation)[0]: model for model in models}


def _inside(kind: Any, step: str | int) -> Any:
    """Return the type at ``step`` of ``kind`` (bare), or None where nothing is known."""
    if is_model(kind):
        field = kind.model_fields.get(step)
        return field and (
            Annotated[field.annotation, *field.metadata] if field.metadata else field.annotation
        )
    if is_choice(kind):
        return choices(kind)[1].get(str(step))
    if get_origin(kind) is tuple:
        args = get_args(kind)
        return args[0] if args[-1] is Ellipsis else dict(enumerate(args)).get(int(step))
    return get_args(kind)[1] if get_origin(kind) is dict else None


def needed(kind: Any) -> str:
    """Return in words what is to be written where ``kind`` is expected."""
    unit = unit_of(kind)
    if unit:
        return f"a quantity such as '{units.example(unit)}'"
    kind = bare(kind)
    by_file = "the name of a YAML file or " if kind in INCLUDABLE.values() else ""
    if kind is Drive:
        kind = bare(Drive.model_fields["all_wheels"].annotation)
    if is_choice(kind):
        key, words = choices(kind)
        return f"{by_file}a mapping with '{key}': {', '.join(words)}"
    if is_model(kind):
        required = [key for key, field in kind.model_fields.items() if field.is_required()]
        return f"{by_file}a mapping with {', '.join(required or kind.model_fields)}"
    if get_origin(kind) is Literal:
        return f"one of {', '.join(str(word) for word in get_args(kind))}"
    if get_origin(kind) is tuple:
        args = get_args(kind)
        return f"a list; in each place {needed(args[0])}" if args[-1] is Ellipsis else _row(args)
    words_for = {int: "a whole number", float: "a number", str: "text", bool: "true or false"}
    words_for[Condition] = f"a condition such as '{LIKE}'"
    return words_for.get(kind, "a mapping")


def _row(args: tuple[Any, ...]) -> str:
    return f"[{', '.join(needed(arg).removeprefix('a quantity such as ').strip(chr(39)) for arg in args)}]"


def unit_of(kind: Any) -> str | None:
    """Return the unit of a quantity, also of one that may be left out."""
    if get_origin(kind) is Annotated:
        base, *marks = get_args(kind)
        return next((mark.name for mark in marks if isinstance(mark, q.Unit)), None) or unit_of(base)
    if get_origin(kind) in (Union, UnionType):
        return next((name for arg in get_args(kind) if (name := unit_of(arg))), None)
    return None
