"""The figures on docs/size.md are the program's own."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from sizing_rovers import SCENARIOS, limits

from drivesim import load_scenario
from drivesim.sizing.answers import FOR_EVER, NOW, STATES, TASKS, WHEEL_UP
from drivesim.sizing.ask import charged
from drivesim.sizing.size import rover_scenario, size
from drivesim.sizing.verdict import shown

PAGE = (Path(__file__).parents[2] / "docs" / "size.md").read_text(encoding="utf-8")
ASK = {"slope": math.radians(15), "step": 0.008}


WANTED = {
    "steepest grade": ("grade", NOW), "… with a wheel up": ("grade", WHEEL_UP), "for ever": ("grade", FOR_EVER),
    "highest step, front wheels": ("step_front", NOW), "turn on the spot, margin": ("turn", NOW),
    "pull on the level": ("tow", NOW), "level at 0.1 m/s lasts": ("endurance", NOW),
}  # fmt: skip


@pytest.fixture(scope="module")
def two():
    return size(rover_scenario(SCENARIOS / "rovers" / "crawler.yaml"), **ASK)


def rows() -> dict[str, list[str]]:
    found = [line.strip("|").split("|") for line in PAGE.splitlines() if line.startswith("| ")]
    return {cells[0].strip(): [cell.strip() for cell in cells[1:]] for cells in found}


def quotes() -> list[str]:
    return [
        " ".join(text.replace("\n> ", " ").split())
        for text in re.findall(r"^> (.+(?:\n> .+)*)", PAGE, re.MULTILINE)
    ]


def test_the_verdicts(two):
    assert quotes()[0] == f"→ {two.verdict}"
    locked = size(load_scenario(SCENARIOS / "rubble_locked.yaml"), slope=ASK["slope"])
    assert f"→ {locked.verdict}".startswith(quotes()[1].removesuffix("."))
    assert "2.95 V peak in a phase" in PAGE
    assert locked.summary["heat"]["continuous_amplitude_at_standstill_V"] == pytest.approx(2.95, abs=5e-3)


def test_the_limits(two):
    told = rows()
    for task in ("step_rear", "top_speed"):  # the other rows are told twice
        assert told[TASKS[task].words] == cells(two, task)
    text = PAGE.split("## The lines")[0]
    for task in ("grade", "step_front", "turn", "tow"):
        assert f"| {TASKS[task].words} | {' | '.join(cells(two, task))} |" in text


def cells(sizing, task: str) -> list[str]:
    row = sizing.limits.loc[task]
    return [
        "–" if math.isnan(row[state]) else f"{shown(task, row[state])}, {row[f'{state}_limit']}"
        for state in STATES
    ]


def test_one_cell_or_two(two):
    scenario = rover_scenario(SCENARIOS / "rovers" / "crawler.yaml")
    others = (charged(scenario, None, 1), charged(scenario, 0.03))
    each = [
        {(task, state): two.limits.loc[task, state] for task, state in WANTED.values()},
        *({key: found.value for key, found in limits(other).items()} for other in others),
    ]
    told = rows()
    for words, (task, state) in WANTED.items():
        if words != "for ever":
            assert told[words] == [shown(task, found[task, state]) for found in each], words
    names = [
        two.limits.loc["grade", "for_ever_limit"],
        *(limits(other)["grade", FOR_EVER].name for other in others),
    ]
    ever = [
        f"{shown('grade', found['grade', FOR_EVER])}, {name}" for found, name in zip(each, names, strict=True)
    ]
    assert told["for ever: steepest grade"] == ever
