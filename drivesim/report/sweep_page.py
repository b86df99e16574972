"""The page of a sweep: where the bars are met, what matters, every design to sort, filter and chart."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from drivesim.analysis.files import SCENARIO
from drivesim.analysis.measures import MEASURES
from drivesim.errors import RunError
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
    titled,
    unit_word,
)
from drivesim.study.sweep_files import RUNS, SENSITIVITY, STUDY, SUMMARY, TABLE
from drivesim.study.sweep_result import SUCCESS, SUCCESS_WORDS
from drivesim.study.sweep_rows import measure_rows, scope_line, sensitivity_rows

WORD = "sweep"
PICTURES = {
    "map": "the measures over the axes of the sweep",
    "effects": "how the measures follow each axis",
    "sensitivity": "how much each axis explains of each measure",
}
REASONS = 5  # for refused runs, told on the page


def page(folder: Path) -> str:
    """Return the page of the sweep in ``folder``.  Raises RunError, also for a sweep that has not come to its end."""
    if not (folder / SUMMARY).exists() and any(folder.glob(RUNS.format("*"))):
        raise RunError(
            f"{folder}: {SUMMARY} of this sweep is missing, as it has not come to its end; "
            "the same 'drivesim sweep' goes on with it"
        )
    with reading(folder, WORD) as files:
        return _page(files)


def _page(files: Folder) -> str:
    summary = files.summary()
    axes = summary["axes"]
    words = ("refused", *(name for name, axis in axes.items() if axis["unit"] is None))
    runs = files.table(TABLE, words=words, rows=summary["designs"] * summary["grounds"])
    files.table(SENSITIVITY, words=("measure", "axis", "kind"), rows=len(summary["sensitivity"]))
    designs = _designs(runs, list(axes))
    head = Head(
        summary["name"], summary["question"], [summary["verdict"]], [f"{scope_line(summary)}, the same for all"],
        cautions=[*(f"refused: {reason}" for reason in summary["refused"]["reasons"][:REASONS]), *summary["cautions"]],
        foot=[
            f"Grounds from seed {summary['seeds']['first_ground']} on, design and parts with seed "
            f"{summary['seeds']['design_and_parts']}; of {summary['scenario']}; code {summary['sources']}."
        ],
    )  # fmt: skip
    measures = Table("Mean of each design over its grounds", *measure_rows(summary))
    sensitivity = sensitivity_rows(summary)
    matters = (
        [Table("How much each axis explains of each measure", *sensitivity, words=2)]
        if sensitivity[1]
        else []
    )
    study = [Text(STUDY, files.text(STUDY), is_open=False)] if (files.path / STUDY).exists() else []
    return results_page(
        "Many designs over the same grounds",
        head,
        [
            Section("Measures over the designs", tables=[measures]),
            Section("What matters", tables=matters),
            Section("Every design", chart=_chart(summary, designs), tables=[_table(summary, designs)]),
            Section(
                "Pictures", pictures=files.pictures(PICTURES),
                how_to_draw="This folder has no pictures; the same drivesim sweep without --no-pictures draws them.",
            ),
            Section(
                "The study, and the scenario with every value",
                texts=[*study, Text(SCENARIO, files.text(SCENARIO), is_open=False)],
            ),
        ],
    )  # fmt: skip


def _designs(runs: pd.DataFrame, axes: list[str]) -> pd.DataFrame:
    """Return a row a design: its places, and each measure's mean over the grounds that have it."""
    names = [SUCCESS, *(name for name in MEASURES if name in runs)]
    known = runs[["design", *names]].replace([np.inf, -np.inf], np.nan)
    means = known.groupby("design")[names].mean()
    return runs.groupby("design")[axes].first().join(means)


def _chart(summary: dict[str, Any], designs: pd.DataFrame) -> dict[str, Any]:
    """Return the designs' means over each axis, with a choice of the measure."""
    shown, note = thinned(designs)
    mapped = list(dict.fromkeys([*summary["mapped"], SUCCESS, *MEASURES]))
    choices = [
        choice(_words(name), _unit(name), [line("designs", _values(shown, name), 0, dots=True)])
        for name in mapped
        if name in shown and bool(shown[name].notna().any())
    ]  # fmt: skip
    return {
        "label": "Mean of each design over an axis", "point": "design", "choices": choices, "hint": note,
        "across": [_across(shown, name, axis) for name, axis in summary["axes"].items()],
        "points": [f"{number:.0f}" for number in shown.index],
    }  # fmt: skip


def _across(designs: pd.DataFrame, name: str, axis: dict[str, Any]) -> dict[str, Any]:
    if axis["unit"] is not None:
        return across(axis["label"], axis["unit"], designs[name])
    words = list(dict.fromkeys(designs[name]))
    return across(axis["label"], "1", [words.index(word) for word in designs[name]], words=words)


def _table(summary: dict[str, Any], designs: pd.DataFrame) -> Table:
    shown, note = bounded(designs, "designs", TABLE)
    axes, names = summary["axes"], list(dict.fromkeys([*summary["mapped"], SUCCESS]))
    heads = ["design", *(titled(axis["label"], axis["unit"] or "1") for axis in axes.values())]
    heads += [f"{_words(name)} [{unit}]" if (unit := _unit(name)) else _words(name) for name in names]
    columns = {name: _values(shown, name) for name in names}
    rows = [
        [
            f"{design:.0f}",
            *(str(row[name]) if axis["unit"] is None else number(row[name]) for name, axis in axes.items()),
            *(number(columns[name][design]) for name in names),
        ]
        for design, row in shown.iterrows()
    ]  # fmt: skip
    caption = "Every design: its place on the axes, and means over its grounds"
    return Table(caption, heads, rows, tools=True, note=note)


def _words(name: str) -> str:
    return SUCCESS_WORDS if name == SUCCESS else MEASURES[name].words


def _unit(name: str) -> str:
    return "%" if name == SUCCESS else unit_word(MEASURES[name].unit)


def _values(designs: pd.DataFrame, name: str) -> pd.Series:
    return designs[name] * (100.0 if name == SUCCESS else 1.0)
