"""A fit's numbers and findings in words: values with ±, verdict, warnings, remarks; imports units and the tables."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Any

import pandas as pd
import xarray as xr

from drivesim import units
from drivesim.fitting.identify import Blind
from drivesim.fitting.logs import Log
from drivesim.scenario import Scenario

#: spellings that a value is not written in, though a file may
_NOT_WRITTEN = {
    "deg", "mrad", "rpm", "min", "deg/s", "cm", "cm/s", "cm^2", "oz/ft^2", "N*mm", "Ah", "rpm/V", "rpm/A", "ppm",
    "V/(rad/s)", "",
}  # fmt: skip
A_FEW = 0.1  # ratios below it are written in per cent
MOST_DECIMALS = 9
_OF_WHEEL = re.compile(r"rover\.wheels\.(\w+)\.(\w+)")
CLOSE = 0.9  # correlation from which it is worth a word
WIDER = 1.5  # times the interval from the derivatives, from which the bootstrap's is worth a word

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


def verdict(table: pd.DataFrame, scenario: Scenario) -> str:
    """Return one sentence: what differs from the file beyond chance, and what does not."""
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
    return "; ".join(parts)


def warnings(blind: Sequence[Blind], table: pd.DataFrame, tests: Sequence[dict[str, Any]]) -> list[str]:
    """Return what the numbers must not be trusted for, a line each."""
    found = []
    for spot in blind:
        *others, last = (name_of(path) for path in spot.paths)
        names = f"{', '.join(others)} and {last}" if others else last
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
                "model does not have; go by the wider interval of the bootstrap"
            )
    width = table.bootstrap_high - table.bootstrap_low
    for path in table[table.told & (width > 2 * WIDER * table.plus_minus)].index:
        times = width[path] / (2 * table.plus_minus[path])
        found.append(f"{name_of(str(path))}: the bootstrap's interval is {times:.1f} times as wide")
    return found


def together(correlation: xr.DataArray) -> list[str]:
    """Return which numbers' errors go together, a line each pair."""
    names = correlation["parameter"].values
    values = correlation.values
    return [
        f"the errors of {name_of(str(a))} and {name_of(str(b))} go together (correlation {values[i, j]:.2f})"
        for i, a in enumerate(names)
        for j, b in enumerate(names)
        if i < j and abs(values[i, j]) >= CLOSE
    ]


def remarks(
    scenario: Scenario, logs: Sequence[Log], table: pd.DataFrame, touched: Sequence[str], usual: Sequence[str]
) -> list[str]:
    """Return what was taken for granted, a line each.

    ``touched``: paths that the logs speak of, ``usual``: those that some bench test speaks of.
    """
    found = []
    for log in logs:
        if log.kind in ("no_load", "loaded", "pull_out") or (
            log.kind == "locked_rotor" and "voltage" in log.table
        ):
            told = "winding_temperature" in log.settings or "winding_temperature" in log.table
            if not told:
                found.append(f"{log.name}: no winding_temperature told, {scenario.ambient:g} degC taken")
        if log.kind == "warm_up" and "ambient" not in log.settings:
            found.append(f"{log.name}: no ambient told, {scenario.ambient:g} degC taken")
        if log.kind == "cell_pulse" and "state_of_charge" not in log.settings:
            charge = scenario.rover.battery.state_of_charge
            found.append(f"{log.name}: no state_of_charge told, {charge:.0%} taken")
        if (
            log.kind not in ("cell_pulse", "rover")
            and "wheel" not in log.settings
            and len(scenario.rover.wheels)
        ):
            found.append(f"{log.name}: no wheel told, {scenario.rover.wheel_names[0]} taken")
    kept = [path for path in touched if path not in table.index]
    if kept:
        found.append(f"kept as in the file, though these logs speak of it: {', '.join(kept)}")
    silent = [path for path in usual if path not in table.index and path not in touched]
    if silent:
        found.append(f"kept as in the file, since no log speaks of it: {', '.join(silent)}")
    return found
