"""The words after ``when`` of an event: "front_left temperature > 110 degC for 0.5 s"; imports units and quantities.

[WHEEL] QUANTITY (> or <) NUMBER UNIT [for DURATION]
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from drivesim import units
from drivesim.errors import UnitError
from drivesim.scenario import quantities as q

#: what can be watched, and its unit
OF_A_WHEEL = {
    "temperature": "degC",
    "housing_temperature": "degC",
    "speed": "rad/s",
    "current": "A",
    "load": "N",
}
OF_THE_ROVER = {
    "x": "m", "y": "m", "speed": "m/s", "bus_voltage": "V", "battery_current": "A", "state_of_charge": "1",
    "stuck": "s",
}  # fmt: skip
LIKE = "front_left temperature > 110 degC for 0.5 s"
LONGEST = 160  # characters

_FOR = re.compile(r"^(.*\S)\s+for\s+(\S.*)$")


@dataclass(frozen=True)
class Condition:
    """A limit to watch: of a wheel, or of the rover where ``wheel`` is None.

    ``above`` tells whether going above the ``threshold`` (SI, degC) counts, ``hold`` [s] for how long it must last.
    """

    wheel: str | None
    quantity: str
    above: bool
    threshold: float
    hold: float
    text: str

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Read the text, and write it back as it was."""
        return core_schema.no_info_plain_validator_function(
            parse, serialization=core_schema.plain_serializer_function_ser_schema(lambda value: value.text)
        )

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Describe the field for editors."""
        return {"type": "string", "description": f"a condition, such as '{LIKE}'"}


def parse(text: object) -> Condition:
    """Return the condition in ``text``.  Raises ValueError with the mend in its text."""
    if isinstance(text, Condition):
        return text
    if not isinstance(text, str) or len(text) > LONGEST:
        raise ValueError(f"found {units.found(text)}, needed: a condition such as '{LIKE}'")
    sides = re.split(r"\s*([<>])\s*", text.strip())
    if len(sides) != 3 or not sides[0] or not sides[2] or "=" in text:
        raise ValueError(f"found {units.found(text)}, needed: a quantity, > or < and a value, as in '{LIKE}'")
    wheel, quantity, unit = _subject(sides[0].split())
    value, hold = sides[2], 0.0
    if held := _FOR.match(value):
        value = held[1]
        hold = _number(held[2], "s", "for")
        if hold < 0:
            raise ValueError(f"for: found {units.found(held[2])}, allowed: at least 0 s")
    threshold = _number(value, unit, quantity)
    if unit == "1" and not 0 <= threshold <= 1:
        percent = value if value.replace(".", "", 1).isdecimal() and threshold <= 100 else "20"
        raise ValueError(
            f"{quantity}: found {units.found(value)}, allowed: 0 to 1, or 0 to 100 %; write it like '{percent} %'"
        )
    return Condition(wheel, quantity, sides[1] == ">", threshold, hold, text)


def _subject(words: list[str]) -> tuple[str | None, str, str]:
    """Return wheel, quantity and its unit for the words before the sign."""
    if len(words) not in (1, 2):
        raise ValueError(f"found {units.found(' '.join(words))} before the sign, {_allowed()}")
    name = words[-1]
    known = OF_A_WHEEL if len(words) == 2 else OF_THE_ROVER
    if name not in known:
        if name in OF_A_WHEEL:
            raise ValueError(f"{name} needs the name of a wheel before it, as in '{LIKE}'")
        if name in OF_THE_ROVER:
            raise ValueError(
                f"{name} is the rover's, found {units.found(words[0])} before it; write '{name}' alone"
            )
        raise ValueError(
            f"found {units.found(name)}; {q.nearest(name, [*OF_A_WHEEL, *OF_THE_ROVER])}{_allowed()}"
        )
    if len(words) == 2 and not words[0].isidentifier():
        raise ValueError(f"found {units.found(words[0])}, needed: the name of a wheel, as in '{LIKE}'")
    return (words[0] if len(words) == 2 else None), name, known[name]


def _allowed() -> str:
    return f"allowed: of a wheel (its name first) {', '.join(OF_A_WHEEL)}; of the rover {', '.join(OF_THE_ROVER)}"


def _number(text: str, unit: str, what: str) -> float:
    try:
        return units.parse(text, unit)
    except UnitError as error:
        raise ValueError(f"{what}: {error}") from None
