"""A fit's numbers and findings in words: values with ±, verdict and warnings; imports units and the tables."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Any

import pandas as pd

from drivesim import units
from drivesim.fitting.hanging import Hanging
from drivesim.fitting.identify import Blind
from drivesim.fitting.kinds import KINDS

#: spellings that a value is not written in, though a file may
_NOT_WRITTEN = {
    "deg", "mrad", "rpm", "min", "deg/s", "cm", "cm/s", "cm^2", "oz/ft^2", "N*mm", "Ah", "rpm/V", "rpm/A", "ppm",
    "V/(rad/s)", "",
}  # fmt: skip
A_FEW = 0.1  # ratios below it are written in per cent
MOST_DECIMALS = 9
_OF_WHEEL = re.compile(r"rover\.wheels\.(\w+)\.(\w+)")
WIDER = 1.5  # times the interval from the derivatives, from which the bootstrap's is worth a word

_HOW_WIDE = {
    True: "go by the wider interval of the bootstrap",
    False: "the true errors are greater than the intervals",
}

#: what each number is called, by the end of its path
NAMES = {
    "motor.terminal_resistance": "the winding's resistance between two terminals",
    "motor.phase_resistance": "the resistance of a phase",
    "motor.flux_linkage": "the magnets' flux linkage",
    "motor.torque_constant": "the torque constant",
    "motor.back_emf_constant": "the back-EMF constant",
    "motor.speed_constant": "the speed constant",
    "bearing.dry": "the bearing's dry drag",
    "bearing.viscous": "the bearing's viscous drag",
    "wheel.inertia": "the wheel's inertia",
    "winding.thermal_resistance": "the thermal resistance of the winding",
    "winding.heat_capacity": "the winding's heat capacity",
    "housing.thermal_resistance": "the thermal resistance of the housing",
    "housing.heat_capacity": "the housing's heat capacity",
    "housing.film_coefficient": "the film coefficient of the housing",
    "housing.thickness": "the housing's thickness",
    "battery.cell_resistance": "the resistance of a cell",
    "battery.diffusion_resistance": "the diffusion resistance of a cell",
    "battery.diffusion_time": "the diffusion time of a cell",
    "tyre.rolling_resistance": "the rolling resistance",
    "tyre.friction": "the tyre's friction",
    ": open_circuit": "the rested voltage of a cell",
    ": start_speed": "the speed when let go",
}


def name_of(path: str) -> str:
    """Return what a parameter is called."""
    wheel = _OF_WHEEL.fullmatch(path)
    if wheel:
        return f"the {wheel[2].replace('_', ' ')} of {wheel[1].replace('_', ' ')}"
    own = next((words for end, words in NAMES.items() if path.endswith(end)), None)
    return own or path


def written_unit(value: float, unit: str) -> tuple[str, float]:
    """Return the spelling of ``unit`` in which ``value`` reads well, and its factor."""
    if unit == "1":
        return ("%", 0.01) if 0 < abs(value) < A_FEW else ("", 1.0)
    spelled = {name: f for name, f in units.COMMON.get(unit, {}).items() if name not in _NOT_WRITTEN}
    choices = sorted(({unit: 1.0} | spelled).items(), key=lambda item: -item[1])
    return next(
        ((n, f) for n, f in choices if f <= 1 and abs(value) >= f), choices[-1] if value else (unit, 1.0)
    )


def decimals_for(error: float) -> int:
    """Return how many decimals show two digits of ``error``."""
    if not math.isfinite(error) or error <= 0:
        return 3
    return min(MOST_DECIMALS, max(0, 1 - math.floor(math.log10(error))))


def _size(value: float, error: float) -> float:
    """Return what the unit is chosen by."""
    return max(abs(value), error if math.isfinite(error) else 0.0)


def number_text(value: float, error: float, unit: str) -> str:
    """Return ``value`` with its unit, in as many digits as ``error`` leaves sure; a scenario reads it back."""
    spelled, factor = written_unit(_size(value, error), unit)
    if math.isfinite(error) and error > 0:
        digits = f"{value / factor:.{decimals_for(error / factor)}f}"
    else:
        digits = f"{value / factor:.4g}"
    return f"{digits} {spelled}".strip()


def plus_minus(value: float, error: float, unit: str) -> str:
    """Return 'value ± error unit' with two digits of the error."""
    if not math.isfinite(error):
        return f"{number_text(value, error, unit)} (not told)"
    spelled, factor = written_unit(_size(value, error), unit)
    places = decimals_for(error / factor)
    return f"{value / factor:.{places}f} ± {error / factor:.{places}f} {spelled}".strip()


def size_text(value: float, unit: str) -> str:
    """Return ``value`` with its unit in two digits, or in whole numbers."""
    spelled, factor = written_unit(value, unit)
    size = value / factor
    return f"{size:.0f} {spelled}".strip() if size >= 10 else f"{size:.2g} {spelled}".strip()


def share_words(fitted: float, file: float) -> str:
    """Return how far ``fitted`` lies from ``file``, in words."""
    if not math.isfinite(file):
        return ""
    if file == 0:
        return "the file says none"
    share = fitted / file - 1
    if abs(share) >= 1:
        times = fitted / file
        return (
            f"{times:.0f} times what the file says"
            if times >= 10
            else f"{times:.2g} times what the file says"
        )
    return _per_cent(share)


def _per_cent(share: float) -> str:
    size = abs(share) * 100
    text = f"{size:.0f}" if size >= 9.5 else f"{size:.1f}"
    return f"{text} % {'more' if share > 0 else 'less'} than the file says"


def verdict(table: pd.DataFrame, hung: Sequence[Hanging]) -> str:
    """Return one sentence: what differs from the file beyond chance, what does not, and what both hang on."""
    compared = table[table.file.notna() & table.told]
    off = compared[compared.beyond_chance]
    same = compared[~compared.beyond_chance]
    parts = [
        f"{name_of(str(path))} is {plus_minus(row.fitted, row.plus_minus, row.unit)}, "
        f"{share_words(row.fitted, row.file)}"
        for path, row in off.iterrows()
    ]
    if not len(compared):
        return "these logs tell none of the numbers that were to be fitted"
    if not parts:
        parts = ["nothing that was measured differs from the file beyond chance"]
    if len(same):
        parts.append(
            f"as the file says, within chance: {', '.join(name_of(str(path)) for path in same.index)}"
        )
    if hung:
        parts.append(f"as far as the file is right about {_and([name_of(one.kept.path) for one in hung])}")
    return "; ".join(parts)


def _and(names: Sequence[str]) -> str:
    *others, last = names
    return f"{', '.join(others)} and {last}" if others else last


def hanging_words(one: Hanging) -> str:
    """Return which results hang on a number kept as in the file, and how far."""
    kept, many = one.kept, len(one.results) > 1
    more = (
        f"{one.step:.0%} more of it".replace("%", " %")
        if kept.value
        else f"{number_text(one.step * kept.scale, 0.0, kept.unit)} of it"
    )
    text = (
        f"{_and([name_of(path) for path in one.results])} {'hang' if many else 'hangs'} on what the "
        f"file says of {name_of(kept.path)}, whose error is in no interval: {more} would move "
        f"{'them' if many else 'it'} by up to {one.moves * 100:.2g} %"
    )
    return f"{text}; {one.tells} would tell it" if one.tells else text


def warnings(blind: Sequence[Blind], table: pd.DataFrame, tests: Sequence[dict[str, Any]]) -> list[str]:
    """Return what the numbers must not be trusted for, a line each."""
    found = []
    for spot in blind:
        names = _and([name_of(path) for path in spot.paths])
        if len(spot.paths) > 1:
            how = "" if math.isinf(spot.condition) else f" (condition index {spot.condition:.0f})"
            text = f"these logs cannot tell {names} apart{how}; the file's numbers are kept"
        elif math.isinf(spot.condition) or not math.isfinite(table.plus_minus[spot.paths[0]]):
            text = f"these logs say nothing about {names}; the file's number is kept"
        else:
            row = table.loc[spot.paths[0]]
            half = plus_minus(row.fitted, row.plus_minus, row.unit)
            text = f"these logs hardly tell {names}: {half}; the file's number is kept"
        found.append(f"{text}; {spot.mend} would help" if spot.mend else text)
    for path, row in table[table.at_limit].iterrows():
        what = "its interval is not to be trusted" if row.told else "the file's number is kept"
        found.append(f"{name_of(str(path))} stands at its limit; {what}")
    for test in tests:
        if test["residuals_hang_together"]:
            what = ", ".join(name.replace("_", " ") for name in test["residuals_hang_together"])
            found.append(
                f"{test['name']}: neighbouring residuals are alike ({what}), so that something is left that the "
                "model does not have; " + _HOW_WIDE[KINDS[test["kind"]].series]
            )
    width = table.bootstrap_high - table.bootstrap_low
    for path in table[table.told & (width > 2 * WIDER * table.plus_minus)].index:
        times = width[path] / (2 * table.plus_minus[path])
        found.append(f"{name_of(str(path))}: the bootstrap's interval is {times:.1f} times as wide")
    return found
