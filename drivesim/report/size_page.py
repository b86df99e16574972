"""The page of a sizing: verdict, limits, torque–speed lines, currents and heat, levers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from drivesim.analysis.files import SCENARIO
from drivesim.plots.style import wheel_word
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
)
from drivesim.sizing import rows as told

WORD = "sizing"
PICTURES = {
    "size_lines": "what the wheels give at the rim over the speed, and what the ground demands",
    "size_limits": "each limit now, hot, for ever and with a wheel up, beside what is asked",
    "size_levers": "by how much each limit changes with each design number",
}
#: lines of the rover: name in lines.csv, words
GIVEN = {
    "now": "full bus, windings cold",
    "hot": "full bus, windings at their limit",
    "for_ever": "for ever, by heat and ratings",
    "pull_out": "pull-out of a forced field",
}
DEMANDS = {
    "level": "demand: level",
    "slope": "demand: the slope asked for",
    "tow": "demand: the pull asked for",
    "turn": "demand: turn on the spot",
    "step": "demand: front wheels up the step",
}
HINT = (
    "All wheels loaded alike at once, so that the bus sags. Demands are told as if there were grip enough; "
    "the table of limits says where grip, not torque, ends it."
)


def page(folder: Path) -> str:
    """Return the page of the sizing in ``folder``.  Raises RunError."""
    with reading(folder, WORD) as files:
        return _page(files)


def _page(files: Folder) -> str:
    summary = files.summary()
    limits = files.table(
        "limits.csv", words=("task", "unit", "wheel_up_wheel", *_limit_words()), rows=len(summary["limits"])
    )
    loading = files.table(
        "loading.csv", words=("case", "words", "limit", "over"), rows=len(summary["loading"])
    )
    levers = files.table(
        "levers.csv", words=("lever", "words", "change", "swaps"), rows=len(summary["levers"])
    )
    lines = files.table("lines.csv")
    head = Head(
        summary["name"], "", [summary["verdict"]], [told.about_line(summary)], summary["cautions"],
        ["Statics on even ground, without a time step."],
    )  # fmt: skip
    return results_page(
        "What a drive can do at all",
        head,
        [
            Section("Limits", tables=[Table(told.LIMITS_TITLE, *told.limit_rows(limits.set_index("task")))]),
            Section("Torque and speed", chart=_chart(summary, lines), tables=[_lines(summary, lines)]),
            Section(
                "Currents and heat", tables=[Table(told.LOADING_TITLE, *told.loading_rows(loading))],
                after=[told.heat_line(summary["heat"])],
            ),
            Section(
                "Which change pays", tables=[Table(told.LEVERS_TITLE, *told.lever_rows(levers), tools=True)],
                after=told.swap_lines(levers),
            ),
            Section(
                "Pictures", pictures=files.pictures(PICTURES),
                how_to_draw="This folder has no pictures; the same drivesim size without --no-pictures draws them.",
            ),
            Section(
                "What was sized, with every value", texts=[Text(SCENARIO, files.text(SCENARIO), is_open=False)]
            ),
        ],
    )  # fmt: skip


def _limit_words() -> list[str]:
    return [f"{state}_limit" for state in told.STATES]


def _given(summary: dict[str, Any]) -> dict[str, str]:
    """Return the drive's lines and their words: a pull-out only where the field is forced."""
    return {
        name: words for name, words in GIVEN.items() if name != "pull_out" or summary["drive"] == "forced"
    }


def _chart(summary: dict[str, Any], lines: pd.DataFrame) -> dict[str, Any]:
    """Return what rover and wheels give over the speed, and what the ground demands."""
    lines, note = thinned(lines)
    given = _given(summary)
    rover = [line(words, lines[f"force_{name}"], i) for i, (name, words) in enumerate(given.items())]
    demanded = {name: words for name, words in DEMANDS.items() if f"demand_{name}" in lines}
    rover += [line(words, lines[f"demand_{name}"], 4 + i) for i, (name, words) in enumerate(demanded.items())]
    choices = [choice("force at the rim, rover", "N", rover)]
    wheels = [name.removeprefix("torque_now ") for name in lines if str(name).startswith("torque_now ")]
    choices += [
        choice(
            f"torque, {wheel_word(wheel)}", "mN·m",
            [line(words, 1e3 * lines[f"torque_{name} {wheel}"], i) for i, (name, words) in enumerate(given.items())],
        )
        for wheel in wheels
    ]  # fmt: skip
    choices.append(choice("bus, every wheel at its limit", "V", [line("bus", lines["bus_now"], 0)]))
    return {
        "label": "What the drive gives over the speed", "point": "speed", "choices": choices,
        "hint": f"{HINT} {note}".strip(),
        "across": [across("rim speed", "m/s", lines["speed"])],
    }  # fmt: skip


def _lines(summary: dict[str, Any], lines: pd.DataFrame) -> Table:
    """Return the rover's lines at every fourth speed."""
    names = {f"force_{name}": words for name, words in _given(summary).items()}
    names |= {f"demand_{name}": words for name, words in DEMANDS.items()}
    names = {name: words for name, words in names.items() if name in lines}
    shown, left = bounded(lines.iloc[::4], "rows", "lines.csv")
    rows = [
        [number(row["speed"]), *(number(row[name]) for name in names), number(row["bus_now"])]
        for row in shown.to_dict("records")
    ]
    heads = ["rim speed [m/s]", *(titled(words, "N") for words in names.values()), "bus [V]"]
    note = f"{left} Every fourth speed; all of them, and each wheel's torque, are in lines.csv.".strip()
    return Table("Force at the rim, all wheels together", heads, rows, note=note)
