"""What a fit took for granted, in words; imports the words of the fit, places and the logs."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import xarray as xr

from drivesim.fitting.bench import WHEEL_TESTS
from drivesim.fitting.hanging import Hanging
from drivesim.fitting.logs import Log
from drivesim.fitting.places import WHEEL, overridden
from drivesim.fitting.sure import left_out
from drivesim.fitting.words import name_of
from drivesim.scenario import Scenario

CLOSE = 0.9  # correlation from which it is worth a word


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
    scenario: Scenario,
    logs: Sequence[Log],
    table: pd.DataFrame,
    touched: Sequence[str],
    kept: Sequence[str],
    hung: Sequence[Hanging],
) -> list[str]:
    """Return what was taken for granted, a line each.

    ``touched``: paths that the logs speak of, ``kept``: those that are as in the file, ``hung``: what hangs on these.
    """
    found = []
    for log in logs:
        if log.kind in ("no_load", "loaded", "pull_out", "locked_rotor"):
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
        found += left_out(log)
    found += _wheels(scenario, logs, table)
    told_of = {one.kept.path for one in hung} | set(table.index)
    rest = [path for path in kept if path not in told_of]
    spoken = [path for path in rest if path in touched]
    if spoken:
        found.append(f"kept as in the file, though these logs speak of it: {', '.join(spoken)}")
    silent = [path for path in rest if path not in touched]
    if silent:
        found.append(f"kept as in the file, since no log speaks of it: {', '.join(silent)}")
    return found


def _wheels(scenario: Scenario, logs: Sequence[Log], table: pd.DataFrame) -> list[str]:
    """Return which wheel was measured for all, and which wheels have numbers of their own instead."""
    rover = scenario.rover
    shared = [str(path) for path in table[table.told].index if str(path).startswith(WHEEL)]
    found = []
    measured = {
        str(log.settings.get("wheel", rover.wheel_names[0])) for log in logs if log.kind in WHEEL_TESTS
    }
    if (
        shared
        and len(measured) == 1
        and len(rover.wheel_names) > 1
        and not any(log.kind == "rover" for log in logs)
    ):
        found.append(f"measured on {measured.pop()}, taken for all wheels")
    for path in map(str, table.index):
        for wheel, own in overridden(rover, path):
            found.append(f"{wheel} has its own {own} in the file, which {path} does not change")
    return found
