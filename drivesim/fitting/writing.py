"""A fit's folder: the YAML fragment, the tables and the summary; imports the result and analysis.files' names."""

from __future__ import annotations

import json
import os
from pathlib import Path

from drivesim.fitting.places import dropped
from drivesim.fitting.result import Fit
from drivesim.fitting.words import number_text, plus_minus

FRAGMENT, PARAMETERS, RESIDUALS = "fitted.yaml", "parameters.csv", "residuals.csv"
SUMMARY = "summary.json"  # by which a folder is known as one that may be replaced
MOTOR = "rover.wheel.motor."


def fragment(fit: Fit, *, base: str = "") -> str:
    """Return the fitted numbers as YAML: what stands under ``change:`` of a scenario.

    With ``base``, the name of a scenario's file as seen from where this is written, it is a whole scenario.  What
    the logs do not tell is left out, with a comment.
    """
    table = fit.parameters[fit.parameters.log == ""]
    lines = [
        f"# {fit.scenario.name}: fitted to {', '.join(log.name for log in fit.logs)}; ± is the "
        f"{fit.summary['intervals']} interval"
    ]
    if base:
        lines += [f"base: {json.dumps(base, ensure_ascii=False)}"]
        lines += [f"name: {json.dumps(fit.scenario.name + ', as measured', ensure_ascii=False)}"]
    told = table[table.told]
    lines.append("change:" if len(told) else "# nothing is told that could be changed")
    for path, row in told.iterrows():
        error = plus_minus(row.fitted, row.plus_minus, row.unit).partition(" ± ")[2]
        file = number_text(row.file, 0.0, row.unit)
        lines.append(
            f"  {path}: {number_text(row.fitted, row.plus_minus, row.unit)}  # ± {error}; file: {file}"
        )
    values = {str(path).removeprefix(MOTOR): 0.0 for path in told.index if str(path).startswith(MOTOR)}
    lines += [
        f"  {MOTOR}{name}: null  # said the same" for name in dropped(fit.scenario.rover.wheel.motor, values)
    ]
    for path, row in table[~table.told].iterrows():
        lines.append(f"  # {path}: not told by these logs; file: {number_text(row.file, 0.0, row.unit)}")
    return "\n".join(lines) + "\n"


def write_fit(fit: Fit, folder: Path, *, target: Path | None = None, final: Path | None = None) -> None:
    """Write fragment, tables and summary into an existing ``folder``.

    ``target`` is the scenario's file on which the fragment builds, None for a rover's alone; ``final`` where the
    folder will stand, if not where it is.
    """
    base = ""
    if target is not None:
        base = os.path.relpath(os.path.realpath(target), os.path.realpath(final or folder))
    (folder / FRAGMENT).write_text(fragment(fit, base=base), encoding="utf-8")
    fit.parameters.to_csv(folder / PARAMETERS)
    fit.residuals.to_csv(folder / RESIDUALS, index=False)
    summary = json.dumps(fit.summary, indent=2, ensure_ascii=False)
    (folder / SUMMARY).write_text(summary + "\n", encoding="utf-8")
