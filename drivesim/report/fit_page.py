"""The page of a fit: numbers with intervals beside the file's, lines for a scenario, measured against simulated."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from drivesim.fitting import rows as told
from drivesim.fitting.writing import FRAGMENT, PARAMETERS, RESIDUALS
from drivesim.report.folder import Folder, reading
from drivesim.report.results import (
    Head,
    Section,
    Table,
    Text,
    across,
    bounded,
    choice,
    line,
    number,
    results_page,
    thinned,
    unit_word,
    versions,
)

WORD = "fit"
PICTURES = {
    "fit_measured": "what was measured, with the model as fitted and as the file has it",
    "fit_residuals": "what is left over, in standard deviations of each quantity's noise",
}
HINT = "Readings in the order of the log; residuals.csv has all of them."


def page(folder: Path) -> str:
    """Return the page of the fit in ``folder``.  Raises RunError."""
    with reading(folder, WORD) as files:
        return _page(files)


def _page(files: Folder) -> str:
    summary = files.summary()
    files.table(PARAMETERS, words=("path", "unit", "log"), rows=len(summary["parameters"]))
    residuals = files.table(RESIDUALS, words=("log", "kind", "channel", "unit"))
    head = Head(
        summary["name"], "", told.verdict_clauses(summary["verdict"]), cautions=told.remark_lines(summary),
        foot=[
            f"{summary['bootstrap']} bootstrap draws with seed {summary['seed']}; {versions(summary)}."
        ],
    )  # fmt: skip
    numbers = Table(told.NUMBERS_TITLE[0].upper() + told.NUMBERS_TITLE[1:], *told.number_rows(summary))
    tests = Table("Tests, with the noise that is left in each", *told.log_rows(summary), words=2)
    return results_page(
        "A rover's own numbers, from bench logs",
        head,
        [
            Section(
                "Numbers", tables=[numbers, tests],
                after=told.outlier_lines(summary),
            ),
            Section("Numbers to use", texts=[Text(f"{FRAGMENT}: lines for a scenario", files.text(FRAGMENT))]),
            Section("Measured and simulated", chart=_chart(residuals), tables=[_readings(residuals)]),
            Section(
                "Pictures", pictures=files.pictures(PICTURES),
                how_to_draw="This folder has no pictures; the same drivesim fit without --no-pictures draws them.",
            ),
        ],
    )  # fmt: skip


def _chart(residuals: pd.DataFrame) -> dict[str, Any]:
    """Return measured, fitted and the file's values, with a choice of log and quantity."""
    choices = []
    for (log, channel), part in residuals.groupby(["log", "channel"], sort=False):
        own, note = thinned(part)
        outlier = own["outlier"].astype(bool)
        lines = [
            line("measured", own["measured"].where(~outlier), 0, dots=True),
            {**line("left out: beyond chance", own["measured"].where(outlier), 1, dots=True), "mark": "x"},
            {**line("model, fitted", own["model"], 4), "dash": []},
            {**line("model by the file", own["by_the_file"], 4), "dash": [6, 3], "colour": "#6b6b6b"},
        ]
        if not outlier.any():
            lines.pop(1)
        words = f"{log}: {str(channel).replace('_', ' ')}"
        level = across("line of the log", "1", own["line"], is_name=True)
        hint = f"{HINT} {note}".strip()
        names = [f"{place:.0f}" for place in own["line"]]
        choices.append(choice(words, own["unit"].iloc[0], lines, across=level, points=names, hint=hint))
    return {"label": "Measured and simulated readings", "point": "line", "choices": choices}


def _readings(residuals: pd.DataFrame) -> Table:
    """Return the readings that fit worst."""
    order = np.argsort(-residuals["scaled"].abs().to_numpy(), kind="stable")
    shown, note = bounded(residuals.iloc[order], "readings", RESIDUALS)
    heads = ["log", "quantity", "line", "measured", "model, fitted", "model by the file"]
    heads += ["measured less fitted", "in standard deviations", "left out"]
    rows = [
        [
            row["log"], row["channel"].replace("_", " "), f"{row['line']:.0f}",
            *(_reading(row[name], row["unit"]) for name in ("measured", "model", "by_the_file", "residual")),
            number(row["scaled"]), "yes" if row["outlier"] else "no",
        ]
        for row in shown.to_dict("records")
    ]  # fmt: skip
    return Table("Readings, those that fit worst first", heads, rows, 2, True, note)


def _reading(value: float, unit: str) -> str:
    return f"{number(value)} {unit_word(unit)}".strip()
