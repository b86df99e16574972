"""The page of a tuning: verdict, gains to flash, costs and margins before and after, every held-out ground."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

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
    versions,
)
from drivesim.tuning import rows as told
from drivesim.tuning.files import GAINS, HEADER, HELD_OUT, MAP
from drivesim.tuning.held_out import NOMINAL, SPREAD
from drivesim.tuning.problem import SHIPPED

WORD = "tuning"
PICTURES = {
    "tune_before_after": "shipped and tuned gains on held-out grounds, part by part",
    "tune_map": "the gains that were looked at, by their cost",
    "tune_loop": "gain and phase of the linear loop, with their margins",
}
NO_LOOP = "This drive has no loop that feeds a speed back."
MOST_GROUNDS = 1000  # in the chart


def page(folder: Path) -> str:
    """Return the page of the tuning in ``folder``.  Raises RunError."""
    with reading(folder, WORD) as files:
        return _page(files)


def _page(files: Folder) -> str:
    summary = files.summary()
    held = files.table(HELD_OUT, words=("case", "parts"), rows=_held_out_rows(summary))
    tried = files.table(MAP, words=("reason", "found_by"), rows=summary["tried"]["looked_at"])
    head = Head(
        summary["name"], summary["question"], [summary["verdict"]], told.verdict_lines(summary), told.cautions(summary),
        foot=[f"{versions(summary)}."],
    )  # fmt: skip
    loop = summary["linear_loop"] is not None
    return results_page(
        "Gains tuned, and proven on other grounds",
        head,
        [
            Section(
                "Gains to use",
                tables=[Table("Gains of each case, and between what they were searched", *told.gains_rows(summary))],
                texts=[
                    Text(f"{GAINS}: lines for a scenario", files.text(GAINS)),
                    Text(f"{HEADER}: C header for the wheel controller", files.text(HEADER)),
                ],
            ),
            Section(
                "Before and after", chart=_chart(summary, held),
                tables=[Table(told.cost_title(summary), *told.cost_rows(summary, held))],
                after=told.gap_lines(summary),
            ),
            Section(
                "Margins and whole numbers",
                tables=[Table(told.MARGINS_TITLE, *told.margin_rows(summary))] if loop else [],
                after=told.loop_lines(summary), lines=() if loop else [NO_LOOP],
            ),
            Section("Gains looked at", chart=_tried_chart(summary, tried), tables=[_tried(summary, tried)]),
            Section("Every held-out ground", tables=[_grounds(held)]),
            Section(
                "Pictures", pictures=files.pictures(PICTURES),
                how_to_draw="This folder has no pictures; the same drivesim tune without --no-pictures draws them.",
            ),
            Section(
                "The tuned scenario, with every value",
                texts=[Text("scenario.yaml", files.text("scenario.yaml"), is_open=False)],
            ),
        ],
    )  # fmt: skip


def _held_out_rows(summary: dict[str, Any]) -> int:
    """Return how many rows the table of held-out grounds has to have."""
    first, last = summary["held_out"]["seeds"]
    return (last - first + 1) * (len(summary["held_out"]["cost"]) + 2 * (summary["tolerances"] is not None))


def _chart(summary: dict[str, Any], held: pd.DataFrame) -> dict[str, Any]:
    """Return cost and its parts ground by ground, a row of dots a case."""
    choices = []
    for parts in (NOMINAL, SPREAD):
        own = held[held["parts"] == parts]
        cases = list(dict.fromkeys(own["case"]))
        if not cases:
            continue
        grounds = own[own["case"] == cases[0]]["ground"].tolist()[:MOST_GROUNDS]
        by_case = {case: own[own["case"] == case].set_index("ground").loc[grounds] for case in cases}
        level = across("ground", "1", grounds, is_name=True)
        for part, words in told.PART_WORDS.items():
            factor = told.FACTOR.get(part, 1.0)
            lines = [line(case, factor * by_case[case][part], i, dots=True) for i, case in enumerate(cases)]
            tail = f" ({parts})" if parts != NOMINAL else ""
            choices.append(
                choice(words + tail, "1", lines, across=level, points=[f"{ground:.0f}" for ground in grounds])
            )
    return {
        "label": "Cost and its parts on held-out grounds, gains by gains", "point": "ground", "choices": choices,
        "against": [*summary["gains"]].index(SHIPPED),
    }  # fmt: skip


def _tried_chart(summary: dict[str, Any], tried: pd.DataFrame) -> dict[str, Any] | None:
    """Return the cost of all gains looked at over each gain."""
    driven, note = thinned(tried[tried["cost"] == tried["cost"]])
    if not len(driven):
        return None
    ways = list(dict.fromkeys(driven["found_by"]))
    lines = [
        line(way, driven["cost"].where(driven["found_by"] == way), i, dots=True) for i, way in enumerate(ways)
    ]
    hint = "Cost over the training grounds; gains found wanting early were driven over fewer of them, or over none."
    return {
        "label": "Cost of the gains looked at", "point": "row", "hint": f"{hint} {note}".strip(),
        "choices": [choice("cost", "1", lines)], "points": [str(place + 1) for place in driven.index],
        "across": [
            across(path, about["unit"], driven[path], log=about["scale"] == "log")
            for path, about in summary["searched"].items()
        ],
    }  # fmt: skip


def _tried(summary: dict[str, Any], tried: pd.DataFrame) -> Table:
    shown, note = bounded(tried, "gains", MAP)
    searched = summary["searched"]
    heads = ["row", "found by", *(titled(path, about["unit"]) for path, about in searched.items())]
    rows = [
        [
            str(place + 1), row["found_by"], *(number(row[path]) for path in searched), number(row["cost"]),
            number(row["grounds"]), row["reason"] or "–",
        ]
        for place, row in zip(shown.index, shown.to_dict("records"), strict=True)
    ]  # fmt: skip
    heads += ["cost", "grounds", "not taken because"]
    return Table(
        "Gains looked at, in the order of looking; cost over the training grounds", heads, rows, 2, True, note
    )


def _grounds(held: pd.DataFrame) -> Table:
    shown, note = bounded(held, "rows", HELD_OUT)
    heads = ["case", "parts", "ground", *told.PART_WORDS.values()]
    rows = [
        [
            row["case"], row["parts"], f"{row['ground']:.0f}",
            *(number(told.FACTOR.get(part, 1.0) * row[part]) for part in told.PART_WORDS),
        ]
        for row in shown.to_dict("records")
    ]  # fmt: skip
    return Table("Every held-out ground with each case's gains", heads, rows, 2, True, note)
