"""The page of a comparison: verdict, cases, paired differences, every ground's figures."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from drivesim.analysis.files import TRACES
from drivesim.analysis.measures import MEASURES
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
    titled,
    versions,
)
from drivesim.study.compare_result import SHOWN, SUCCESS
from drivesim.study.compare_rows import DECIDED_NOTE, case_rows, difference_rows, scope_line

WORD = "comparison"
PICTURES = {
    "differences": "paired differences, a dot a ground, with mean and 95 % interval",
    "way": "how far each case came over time",
    "conditions": "share of time of each wheel in each condition, case by case",
}
MOST_GROUNDS, MOST_DOTS = 1000, 6000  # in the chart, of one figure
TABLED = (SUCCESS, "finished", *SHOWN)
#: what can be shown ground by ground, first what cases are judged by
CHARTED = (*SHOWN, *(name for name in MEASURES if name not in (*SHOWN, "finished", "moving", "commanded")))


def page(folder: Path) -> str:
    """Return the page of the comparison in ``folder``.  Raises RunError."""
    with reading(folder, WORD) as files:
        return _page(files)


def _page(files: Folder) -> str:
    summary = files.summary()
    runs = files.table("runs.csv", words=("case",), rows=len(summary["cases"]) * summary["grounds"])
    count = sum(len(own) for own in summary["differences"].values())
    files.table("differences.csv", words=("case", "measure", "unit"), rows=count)
    heads, rows = difference_rows(summary)
    head = Head(
        summary["name"], summary["question"], [summary["verdict"]], cautions=[*summary["notes"], *summary["cautions"]],
        foot=[f"Parts drawn with seed {summary['seed']}; {versions(summary)}."],
    )  # fmt: skip
    scenarios = [(name, files.text(f"case_{i}.yaml")) for i, name in enumerate(summary["cases"])]
    return results_page(
        "Cases compared on the same grounds",
        head,
        [
            Section("Cases", tables=[Table(scope_line(summary), *case_rows(summary))]),
            Section(
                f"Differences: less {summary['against']}",
                tables=[
                    Table(
                        f"Paired differences, each case less {summary['against']} on the same grounds (95 % interval)",
                        heads,
                        rows,
                        words=2,
                        note=DECIDED_NOTE,
                    )
                ],
            ),
            Section(
                "Every ground",
                chart=_chart(summary, runs),
                tables=[_runs(runs)],
                after=_kept(files, len(scenarios)),
            ),
            Section(
                "Pictures",
                pictures=files.pictures(PICTURES),
                how_to_draw="This folder has no pictures; the same drivesim compare without --no-pictures draws them.",
            ),
            Section(
                "The cases, with every value",
                texts=[Text(f"Scenario of the case {name}", text, is_open=False) for name, text in scenarios],
            ),
        ],
    )


def _kept(files: Folder, count: int) -> list[str]:
    """Return how to look at the whole runs that were kept of a ground, if any were."""
    told = []
    grounds = {path.name.removeprefix("ground_"): path for path in files.path.glob("ground_*")}
    for seed in sorted(filter(str.isdecimal, grounds), key=int):  # no other name goes into a command
        ground = grounds[seed]
        kept = [f"{ground.name}/case_{i}" for i in range(count) if (ground / f"case_{i}" / TRACES).is_file()]
        if kept:
            told.append(f"Ground {seed} is kept to look at: in this folder, drivesim report {' '.join(kept)}")
    return told


def _chart(summary: dict[str, Any], runs: pd.DataFrame) -> dict[str, Any]:
    """Return the figures ground by ground, a row of dots a case, with a choice of the measure."""
    names = list(summary["cases"])
    grounds = runs[runs["case"] == names[0]]["ground"].tolist()
    grounds = grounds[: max(1, min(MOST_GROUNDS, MOST_DOTS // len(names)))]
    by_case = {name: runs[runs["case"] == name].set_index("ground").loc[grounds] for name in names}
    choices = [
        choice(
            MEASURES[measure].words, MEASURES[measure].unit,
            [line(name, by_case[name][measure], i, dots=True) for i, name in enumerate(names)],
        )
        for measure in CHARTED
    ]  # fmt: skip
    hint = "" if len(grounds) == summary["grounds"] else f"The first {len(grounds)} grounds are shown."
    return {
        "label": "Figures of each case, ground by ground", "point": "ground", "choices": choices, "hint": hint,
        "across": [across("ground", "1", grounds, is_name=True)], "points": [f"{ground:.0f}" for ground in grounds],
        "against": names.index(summary["against"]),
    }  # fmt: skip


def _runs(runs: pd.DataFrame) -> Table:
    shown, note = bounded(runs, "runs", "runs.csv")
    heads = ["case", "ground", *(_head(name) for name in TABLED)]
    rows = [
        [row["case"], f"{row['ground']:.0f}", *(number(row[name]) for name in TABLED)]
        for row in shown.to_dict("records")
    ]
    return Table(
        "Every run; success and finished: 1 yes, 0 no", heads, rows, tools=True,
        note=" ".join([note, "All figures are in runs.csv; the way over time, and conditions, in runs.nc."]).strip(),
    )  # fmt: skip


def _head(name: str) -> str:
    return name if name in (SUCCESS, "finished") else titled(MEASURES[name].words, MEASURES[name].unit)
