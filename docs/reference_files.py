"""The reference of every key of every file, made from the models that read the files, and of bench logs."""

from __future__ import annotations

import re
from collections.abc import Iterator
from math import degrees
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

import annotated_types
from pydantic import BaseModel
from pydantic.fields import FieldInfo
from reference_words import cell, plain

from drivesim import units
from drivesim.fitting import kinds
from drivesim.scenario import quantities as q
from drivesim.scenario.compare_file import Comparison
from drivesim.scenario.conditions import LIKE, Condition
from drivesim.scenario.drive import Drive
from drivesim.scenario.expected import INCLUDABLE, bare, choices, is_choice, is_model, unit_of
from drivesim.scenario.meanings import meanings
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.sweep_file import SweepFile
from drivesim.scenario.tune_file import TuneFile

ROOTS = {Scenario: "", Comparison: "compare", TuneFile: "tune", SweepFile: "sweep"}
#: page → its title, a word about it, and the keys of a scenario whose models stand on it
PAGES = {
    "scenario_file": ("Scenario", "The file that `drivesim run` takes.", ()),
    "rover_file": ("Rover", "What stands under `rover`, or in a file of its own.", ("rover",)),
    "ground_file": ("Ground", "What stands under `ground`, or in a file of its own.", ("ground",)),
    "drive_file": ("Drive", "What stands under `drive`, or in a file of its own.", ("drive",)),
    "event_file": ("Events", "What stands in the list under `events`.", ("events",)),
    "study_files": ("Files of many runs", "What `drivesim compare`, `tune` and `sweep` take.", ()),
}
LOADER = {
    "base": ("name of a scenario's file", "Keys are taken from there where this file has none of its own."),
    "change": ("dotted paths and values", "Applied last: `rover.mass: 520 g`, `ground.features.0.height: 9 mm`."),
}  # fmt: skip
WORDS = {"gt": "more than", "ge": "at least", "lt": "less than", "le": "at most"}
ABOUT = {
    Scenario: "Everything that one run needs."
}  # where the model's own words are for who reads the source
HEAD = "| key | written like | default | allowed | meaning |\n| --- | --- | --- | --- | --- |\n"


def file_pages() -> dict[str, str]:
    """Return page → text for the reference of all files."""
    places = {model: place for model, place in placed().items() if model is not Drive}
    texts = {}
    for name, (title, about, _) in PAGES.items():
        own = [model for model, place in places.items() if page_of(place) == name]
        texts[name] = f"# {title}\n\n{about}\n\n" + "\n".join(section(model, places[model]) for model in own)
    links = "\n".join(f"- [{title}]({name}.md): {about}" for name, (title, about, _) in PAGES.items())
    tree = "\n".join([*PAGES, "bench_logs"])
    texts["files"] = (
        "# Every key of every file\n\nMade from the very models that read the files, so that nothing is missing "
        "and nothing is out of date. How the parts fit together is told in [scenario files](../scenarios.md).\n\n"
        f"{links}\n- [Bench logs](bench_logs.md): What `drivesim fit` takes.\n\n"
        "A key without a default must be given, unless another way to say the same stands beside it. A quantity "
        "is written with its unit, any unit of its kind. `drivesim check --schema` writes the same for editors, as "
        f"JSON Schema.\n\n```{{toctree}}\n:hidden:\n\n{tree}\n```\n"
    )
    return texts


def placed() -> dict[type[BaseModel], tuple[str, ...]]:
    """Return model → where it stands: the file of many runs or "", and the keys that lead to it."""
    found: dict[type[BaseModel], tuple[str, ...]] = {}

    def visit(model: type[BaseModel], place: tuple[str, ...]) -> None:
        if model in found:
            return
        found[model] = place
        for key, field in model.model_fields.items():
            inner = place if (model, key) == (Drive, "all_wheels") else (*place, key)
            for part in models_in(field.annotation):
                visit(part, inner)

    for root, file in ROOTS.items():
        visit(root, (file,))
    return found


def models_in(kind: Any) -> Iterator[type[BaseModel]]:
    """Yield the models that a key of type ``kind`` may hold."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        yield kind
    for part in get_args(kind):
        if part is not Ellipsis:
            yield from models_in(part)


def page_of(place: tuple[str, ...]) -> str:
    """Return the page on which what stands at ``place`` is told."""
    if place[0]:
        return "study_files"
    return next(
        (name for name, (*_, keys) in PAGES.items() if place[1:2] and place[1] in keys), "scenario_file"
    )


def label(model: type[BaseModel]) -> str:
    """Return the label by which the section of ``model`` is linked to."""
    return "file-" + re.sub(r"(?<=[a-z])(?=[A-Z])", "-", model.__name__).lower()


def section(model: type[BaseModel], place: tuple[str, ...]) -> str:
    """Return the section of one mapping: what it is, where it stands, and its table."""
    rows = [row(model, key, words) for key, words in meanings(model).items()]
    if model is Scenario:
        rows += [f"| `{key}` | {how} | – | | {words} |" for key, (how, words) in LOADER.items()]
    if place[:2] == ("", "drive") and "strategy" in model.model_fields:
        rows += [row(Drive, key, meanings(Drive)[key]) for key in ("coordination", "overrides")]
    path = ".".join(place[1:])
    where = f"Stands at `{path}`." if path else ""
    about = ABOUT.get(model) or plain(model.__doc__ or "")
    return (
        f"({label(model)})=\n## {heading(model, place)}\n\n{about} {where}\n\n{HEAD}" + "\n".join(rows) + "\n"
    )


def heading(model: type[BaseModel], place: tuple[str, ...]) -> str:
    """Return the heading of a mapping: its kind, its key, or its name."""
    for key in ("kind", "strategy"):
        if key in model.model_fields and len(get_args(model.model_fields[key].annotation)) == 1:
            return f"`{key}: {get_args(model.model_fields[key].annotation)[0]}`"
    if len(place) == 1:
        return f"The file for {place[0]}" if place[0] else "The file"
    return f"`{place[-1]}`"


def row(model: type[BaseModel], key: str, words: str) -> str:
    """Return the row of one key."""
    field = model.model_fields[key]
    kind = typed(field)
    cells = (f"`{key}`", written(kind), default(field, kind), allowed(field, kind), plain(words))
    return "| " + " | ".join(cell(one) for one in cells) + " |"


def typed(field: FieldInfo) -> Any:
    """Return the type of a key with its unit and limits."""
    return Annotated[(field.annotation, *field.metadata)] if field.metadata else field.annotation


def written(kind: Any) -> str:
    """Return in words how a value of type ``kind`` is written."""
    if unit := unit_of(kind):
        return f"`{example(kind, unit)}`"
    kind = bare(kind)
    if is_choice(kind):
        key, models = choices(kind)
        return f"mapping with `{key}`: " + ", ".join(link(model, word) for word, model in models.items())
    if kind is Drive:
        return (
            "mapping with `strategy`, or a file: "
            + written(Drive.model_fields["all_wheels"].annotation).split(": ")[1]
        )
    if is_model(kind):
        return link(kind, "mapping") + (", or a file" if kind in INCLUDABLE.values() else "")
    if get_origin(kind) is Literal:
        return ", ".join(f"`{str(word).lower() if word is True else word}`" for word in get_args(kind))
    if get_origin(kind) is tuple:
        args = get_args(kind)
        return (
            f"list of: {written(args[0])}"
            if args[-1] is Ellipsis
            else f"[{', '.join(written(a) for a in args)}]"
        )
    if get_origin(kind) is dict:
        return f"name → {written(get_args(kind)[1])}"
    words = {
        int: "whole number",
        float: "number",
        str: "text",
        bool: "`true` or `false`",
        Condition: f"`{LIKE}`",
    }
    return words.get(kind, "value, or quantity of what it is for")


def example(kind: Any, unit: str) -> str:
    """Return how a quantity is written; a share has its own mark."""
    mark = next((m for m in marks(kind) if isinstance(m, q.Unit)), None)
    return mark.example if mark else units.example(unit)


def link(model: type[BaseModel], words: str) -> str:
    """Return a link to the section of ``model``."""
    return f"[{words}](#{label(model)})"


def marks(kind: Any) -> list[Any]:
    """Return what is written beside a type about its unit and limits, also of a part of it."""
    own = [*get_args(kind)[1:]] if get_origin(kind) is Annotated else []
    choice = get_origin(kind) in (Union, UnionType)
    parts = get_args(kind)[:1] if own else [a for a in get_args(kind) if a is not NoneType] if choice else []
    own += [mark for part in parts for mark in marks(part)]
    return [inner for mark in own for inner in (mark.metadata if isinstance(mark, FieldInfo) else (mark,))]


def default(field: FieldInfo, kind: Any) -> str:
    """Return the default in words; empty where a value must be given."""
    if field.is_required():
        return "must be given"
    value = field.get_default(call_default_factory=True)
    return "–" if value is None else shown(value, unit_of(kind))


def shown(value: Any, unit: str | None) -> str:
    """Return a value as it would be written."""
    if isinstance(value, bool):
        return f"`{str(value).lower()}`"
    if isinstance(value, BaseModel):
        parts = [
            f"{key}: {shown(getattr(value, key), unit_of(typed(field))).strip('`')}"
            for key, field in type(value).model_fields.items()
            if key in value.model_fields_set and getattr(value, key) is not None
        ]
        return f"`{{{', '.join(parts)}}}`" if parts else "its defaults"
    if isinstance(value, tuple | dict):
        return f"`[{', '.join(shown(one, unit).strip('`') for one in value)}]`" if value else "none"
    if unit == "F":
        return f"`{value * 1e6:.6g} uF`"
    if unit == "rad" and value:
        return f"`{degrees(value):.6g} deg`"
    if isinstance(value, float) and unit:
        return f"`{units.readable(value, unit, 6)}`"
    return (f"`{value:g}`" if isinstance(value, float) else f"`{value}`") if value != "" else "none"


def allowed(field: FieldInfo, kind: Any) -> str:
    """Return the range in words."""
    unit = unit_of(kind)
    limits: dict[str, Any] = {}
    sizes: dict[str, int] = {}
    for mark in marks(kind):
        if isinstance(
            mark, annotated_types.Gt | annotated_types.Ge | annotated_types.Lt | annotated_types.Le
        ):
            name = type(mark).__name__.lower()
            limits[name] = getattr(mark, name)
        elif isinstance(mark, annotated_types.MinLen):
            sizes["least"] = mark.min_length
        elif isinstance(mark, annotated_types.MaxLen):
            sizes["most"] = mark.max_length
    if sizes:
        what = "characters" if bare(field.annotation) is str else "items"
        return (
            f"{sizes.get('least', 0)} to {sizes['most']} {what}"
            if "most" in sizes
            else f"at least {sizes['least']} {what}"
        )
    if unit:
        return " and ".join(
            f"{word} {units.readable(limits[key], unit, 6)}" for key, word in WORDS.items() if key in limits
        )
    if {"ge", "le"} <= set(limits):
        return f"{number(limits['ge'])} to {number(limits['le'])}"
    return " and ".join(f"{word} {number(limits[key])}" for key, word in WORDS.items() if key in limits)


def number(value: float) -> str:
    """Return a limit as people write it; large powers of two as such."""
    power = int(value).bit_length() - 1
    return (
        f"2^{power}"
        if value == 2**power and power > 20
        else f"{value:,g}"
        if value < 1e6
        else f"{int(value):,}"
    )


def log_page() -> str:
    """Return the page of all columns of all kinds of bench log."""
    parts = [
        "# Bench logs\n\nWhat `drivesim fit` takes, a kind of test each. How a file looks, and what each test tells, "
        "is on the page of [fit](../fit.md); how to do the tests, on [the bench](../bench.md). Of the columns named "
        "together one is needed; a unit may be any of its kind.\n"
    ]
    for kind in kinds.KINDS.values():
        wheels = kinds.OF_WHEELS if kind.name == "rover" else ()
        rows = [
            *(f"| {columns(group)} | {unit(group)} | needed |" for group in kind.needs),
            *(f"| {columns(group)} | {unit(group)} | may be there |" for group in kind.may),
            *(f"| `{c.name} WHEEL` | {c.unit} | may be there, a wheel each |" for c in wheels),
        ]
        settings = ", ".join(f"`# {name}:`" for name in kind.settings)
        parts.append(
            f"(log-{kind.name.replace('_', '-')})=\n## `# test: {kind.name}`\n\n{kind.words.capitalize()}. At least "
            f"{kind.least_rows} rows. Lines before the header: {settings}.\n\n| column | unit, or its like | |\n"
            "| --- | --- | --- |\n" + "\n".join(rows) + "\n"
        )
    return "\n".join(parts)


def columns(group: tuple[kinds.Column, ...]) -> str:
    """Return the names of the columns of which one is taken."""
    return " or ".join(f"`{column.name}`" for column in group)


def unit(group: tuple[kinds.Column, ...]) -> str:
    """Return the units of these columns, each once."""
    return ", ".join(dict.fromkeys(column.unit for column in group))
