"""Quantities at the edges: "180 g" → SI number, SI number → readable text.  The only module that knows units.

Inside drivesim every number is SI, with two exceptions that the trade never writes otherwise: temperatures
are in degC, and angles given in degrees become radians.  An angle is a dimension of its own here, so that
5 Hz is never taken for 5 rad/s.  Imports only errors, and pint once a unit outside the short table turns up.
"""

from __future__ import annotations

import math
import re
from functools import cache, lru_cache
from typing import TYPE_CHECKING

from drivesim.errors import UnitError

if TYPE_CHECKING:
    import pint

_NUMBER = re.compile(r"\s*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)\s*(.*?)\s*", re.DOTALL)
#: words with small powers, joined by * / · or blanks; brackets without powers; nothing slow to read
_WORD = r"[A-Za-z\u00b5\u03bc\u03a9\u2126°%]+(?:(?:\^|\*\*)-?[1-4]|[²³])?"
_JOINED = re.compile(r"\b([mkunµμ]?)Nm\b")  # as data sheets write newton metres
_MISTAKEN = re.compile(r"\bgr\b")  # grains, and meant as grams
_UNIT_TEXT = re.compile(rf"(?:1 ?/ ?)?(?:[( ]*{_WORD}[) ]*(?:[*/·](?!\*)|(?<= )(?=[A-Za-z(])|$))+")
_LONGEST_UNIT = 40
_LONGEST = 80
_RESPELLED = {
    "°C": "degC", "°": "deg", "·": "*", "^": "**", "²": "**2", "³": "**3", "%": "percent",
    "\u00b5": "u", "\u03bc": "u", "\u03a9": "ohm", "\u2126": "ohm",
}  # fmt: skip
SIGNIFICANT_DIGITS = 13  # the same quantity written in other units becomes the same float
A_HAIR = 1e-12  # share by which a value may lie below a whole number of steps and still be one
SMALLEST, LARGEST = 1e-30, 1e30  # nothing is meant beyond these, and products would leave a float's range

#: how a quantity of each unit is written, for messages
EXAMPLES = {
    "kg": "180 g", "m": "35 mm", "m/s": "0.15 m/s", "rad/s": "40 deg/s", "s": "20 ms", "ohm": "2.4 ohm",
    "H": "12 uH", "Wb": "1.6 mWb", "V": "3.7 V", "A": "2 A", "A*h": "800 mAh", "N*m": "1.2 mN*m",
    "N/m": "4 N/mm", "degC": "25 degC", "rad": "15 deg", "1": "0.8 or 80 %", "kg*m^2": "20 g*m^2",
    "W": "0.6 W", "K/W": "30 K/W", "J/K": "12 J/K", "N": "25 N", "m^3": "256e-6 m^3", "F": "220 uF",
    "rad/s^2": "50 rad/s^2", "N*s/m": "3 N*s/m", "N*m*s/rad": "2e-6 N*m*s/rad", "N*m/A": "15 mN*m/A",
    "V*s/rad": "20 mV*s/rad", "rad/s/V": "400 rpm/V", "V/rad": "0.4 V/rad", "V/Hz": "8 mV/Hz",
    "1/s": "3 1/s", "1/K": "0.39 %/K", "m/s^2": "9.81 m/s^2", "m^2": "40 cm^2", "Pa": "1.04 kPa",
    "kg/m^2": "1 oz/ft^2 or 305 g/m^2", "W/m^2/K": "10 W/m^2/K", "N*m/rad": "2 mN*m/deg",
    "rad/s/A": "2 rad/s/A", "A*s/rad": "50 mA*s/rad", "A/rad": "0.2 A/rad",
}  # fmt: skip

#: common spellings, unit → {spelling: factor}: a file that uses no others loads without pint (both agree)
COMMON = {
    "kg": {"g": 1e-3}, "m": {"mm": 1e-3, "cm": 1e-2, "um": 1e-6}, "m/s": {"mm/s": 1e-3, "cm/s": 1e-2},
    "s": {"ms": 1e-3, "us": 1e-6, "min": 60.0}, "rad": {"deg": math.pi / 180, "mrad": 1e-3},
    "rad/s": {"deg/s": math.pi / 180, "rpm": math.pi / 30}, "rad/s/V": {"rpm/V": math.pi / 30},
    "ohm": {"mohm": 1e-3}, "H": {"uH": 1e-6, "mH": 1e-3}, "Wb": {"mWb": 1e-3, "uWb": 1e-6},
    "V": {"mV": 1e-3}, "A": {"mA": 1e-3}, "A*h": {"mAh": 1e-3, "Ah": 1.0}, "W": {"mW": 1e-3},
    "N*m": {"mN*m": 1e-3, "uN*m": 1e-6, "N*mm": 1e-3}, "N*m/A": {"mN*m/A": 1e-3}, "N/m": {"N/mm": 1e3},
    "N*m*s/rad": {"mN*m*s/rad": 1e-3, "uN*m*s/rad": 1e-6}, "kg*m^2": {"g*m^2": 1e-3, "g*cm^2": 1e-7},
    "V*s/rad": {"mV*s/rad": 1e-3, "V/(rad/s)": 1.0}, "V/rad": {"mV/rad": 1e-3}, "V/Hz": {"mV/Hz": 1e-3},
    "F": {"uF": 1e-6}, "1": {"": 1.0, "%": 1e-2, "ppm": 1e-6}, "Pa": {"kPa": 1e3},
    "m^2": {"cm^2": 1e-4, "mm^2": 1e-6}, "kg/m^2": {"oz/ft^2": 0.028349523125 / 0.3048**2, "g/m^2": 1e-3},
    "A*s/rad": {"mA*s/rad": 1e-3}, "A/rad": {"mA/rad": 1e-3}, "rad/s/A": {"rpm/A": math.pi / 30},
}  # fmt: skip


@cache
def registry() -> pint.UnitRegistry:
    """Return the one unit registry, with the angle as a dimension (built at first use: it takes a moment)."""
    import pint

    ureg: pint.UnitRegistry
    try:
        ureg = pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=":auto:")
    except Exception:  # no folder to keep the parsed definitions in, or a damaged one: read them afresh
        ureg = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    ureg.define("radian = [angle] = rad")
    ureg._build_cache()  # what was worked out before still takes an angle for a plain number
    return ureg


@lru_cache(maxsize=512)
def _scale(unit_text: str, unit: str) -> tuple[float, float]:
    """Return (factor, offset) so that value_in_unit = factor · value + offset."""
    if unit_text == unit:
        return 1.0, 0.0
    common = COMMON.get(unit, {}).get(unit_text)
    return (common, 0.0) if common is not None else scale_by_pint(unit_text, unit)


def scale_by_pint(unit_text: str, unit: str) -> tuple[float, float]:
    """Return (factor, offset) for a unit that the short table does not hold.  Raises UnitError."""
    import pint

    if _MISTAKEN.search(unit_text):
        raise _unknown(unit_text, unit)
    text = _JOINED.sub(r"\1N*m", unit_text)
    for old, new in _RESPELLED.items():
        text = text.replace(old, new)
    if text != "degC":  # in °C/W and the like a difference is meant
        text = text.replace("degC", "K")
    try:
        ureg = registry()
        given = ureg.Unit(text or "dimensionless")
        wanted = ureg.Unit(unit.replace("^", "**") if unit != "1" else "dimensionless")
        zero, one, two = (float(ureg.Quantity(x, given).to(wanted).magnitude) for x in (0.0, 1.0, 2.0))
    except pint.DimensionalityError:
        kind = f"'{unit_text}' is not a unit of this kind" if unit_text else "a unit is needed"
        raise UnitError(f"{kind}; {_how(unit)}") from None
    except Exception:  # the unit parser raises whatever its tokenizer meets
        raise _unknown(unit_text, unit) from None
    if not abs(two - 2 * one + zero) <= 1e-9 * abs(two - zero):  # decibels and their like
        raise _unknown(unit_text, unit)
    return one - zero, zero


def _unknown(unit_text: str, unit: str) -> UnitError:
    return UnitError(f"unit '{unit_text}' is not known; {_how(unit)}")


def _how(unit: str) -> str:
    return f"write it like '{example(unit)}'"


def example(unit: str) -> str:
    """Return how a quantity of ``unit`` is written, for messages."""
    return EXAMPLES.get(unit, f"1 {unit}")


def found(value: object) -> str:
    """Return ``value`` in the words of someone who wrote it in a file, short and for messages."""
    if isinstance(value, str):
        shown = value[:_LONGEST_UNIT].encode("utf-8", "backslashreplace").decode()
        return f"'{shown}{'…' if len(value) > _LONGEST_UNIT else ''}'"
    kinds: dict[type, str] = {dict: "a mapping", list: "a list", tuple: "a list", type(None): "nothing"}
    if type(value) in kinds:
        return kinds[type(value)]
    if isinstance(value, int) and abs(value) > LARGEST:
        return "a huge number"
    return str(value).lower() if isinstance(value, bool) else str(value)[:_LONGEST_UNIT]


def parse(text: object, unit: str) -> float:
    """Read a quantity such as "180 g" and return it in ``unit`` (SI; "1" for a plain ratio).

    A bare number is accepted only where ``unit`` is "1".  Raises UnitError with the mend in its text.
    """
    how = _how(unit)
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise UnitError(f"found {found(text)}, a quantity is needed; {how}")
    if isinstance(text, int | float):
        if unit != "1":
            raise UnitError(f"found the bare number {found(text)}, a unit is needed; {how}")
        return _in_range(float(text) if abs(text) < LARGEST else math.inf, text, unit)
    match = _NUMBER.fullmatch(text) if len(text) <= _LONGEST else None
    if match is None or not _is_unit(match[2]):
        comma = " (decimals have a point, not a comma)" if re.search(r"\d,\d", text[:_LONGEST]) else ""
        raise UnitError(f"found {found(text)}, which is not a number and a unit{comma}; {how}")
    number, unit_text = match.groups()
    if not unit_text and unit != "1":
        raise UnitError(f"found the bare number {found(number)}, a unit is needed; {how}")
    try:
        factor, offset = _scale(unit_text, unit)
    except UnitError as error:
        raise UnitError(f"found {found(text)}, but {error}") from None
    return _in_range(float(number) * factor + offset, text, unit)


def _is_unit(text: str) -> bool:
    return text == "" or (len(text) <= _LONGEST_UNIT and _UNIT_TEXT.fullmatch(text) is not None)


def _in_range(value: float, text: object, unit: str) -> float:
    if not math.isfinite(value):
        raise UnitError(f"found {found(text)}, a finite number is needed; {_how(unit)}")
    if value != 0 and not SMALLEST <= abs(value) <= LARGEST:
        size = "small" if abs(value) < 1 else "large"
        raise UnitError(f"found {found(text)}, which is too {size} to be meant; {_how(unit)}")
    return float(f"{value:.{SIGNIFICANT_DIGITS}g}")


_PREFIXES = {"m": (("mm", 1e3),), "kg": (("g", 1e3),), "ohm": (("mohm", 1e3),), "s": (("ms", 1e3),)}


def show(value: float, unit: str) -> str:
    """Return ``value`` (in ``unit``) as text that ``parse`` reads back to the same number."""
    return repr(value) if unit == "1" else f"{value!r} {unit}"


def rounded_down(value: float, step: float) -> float:
    """Return the greatest multiple of ``step`` that is not above ``value``, both of one unit.

    A value that a float holds a hair below a multiple counts as that: 4.35 V is 435 steps of 0.01 V, not 434.
    """
    steps = value / step
    return math.floor(steps + abs(steps) * A_HAIR) * step


def readable(value: float, unit: str, digits: int = 3) -> str:
    """Return ``value`` rounded for people, with a small prefix where that reads better (0.032 m → 32 mm)."""
    for name, factor in _PREFIXES.get(unit, ()):
        if value != 0 and abs(value) < 1:
            return f"{value * factor:.{digits}g} {name}"
    return f"{value:.{digits}g}" if unit == "1" else f"{value:.{digits}g} {unit}"
