"""A sizing as rows of words, for the tables of the command line and of the page; plain text only."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from drivesim.sizing.answers import FOR_EVER, NOW, STATE_WORDS, STATES, TASKS, WHEEL_UP
from drivesim.sizing.levers import column_name
from drivesim.sizing.verdict import shown

Rows = tuple[list[str], list[list[str]]]  # heads, and the texts of each row

NOTHING = 0.05  # %; a lever that changes no limit by more is not shown
SHORT = {
    "grade": "grade", "step_front": "front step", "step_rear": "rear step", "turn": "turn", "tow": "pull",
    "top_speed": "top speed", "endurance": "endurance",
}  # fmt: skip
LIMITS_TITLE = "limits, and what sets them"
LOADING_TITLE = "currents and heat, windings cold at first"
LEVERS_TITLE = "levers: change of each limit in %"


def about_line(summary: Mapping[str, Any]) -> str:
    """Return what has been sized: rover, drive, battery, speed."""
    pack = (
        f"{summary['cells_in_series']} in series at {summary['charge']:.0%}: {summary['open_circuit_V']:.2f} V behind "
        f"{summary['pack_resistance_ohm']:.2g} ohm"
    )
    speed = f"{summary['asked']['speed_m_s']:.3g} m/s"
    ground = "on even ground as it is away from features and patches"
    return f"{summary['rover']}, {summary['drive']}, {pack}; at {speed}, {ground}"


def limit_rows(limits: pd.DataFrame) -> Rows:
    """Return each limit with what sets it, a column a state."""
    rows = []
    for task, row in limits.iterrows():
        cells = []
        for state in STATES:
            text = shown(str(task), row[state])
            cells.append(text if text == "–" else f"{text} {row[f'{state}_limit']}".strip())
        if any(cell != "–" for cell in cells):
            rows.append([TASKS[str(task)].words, *cells, asked_text(str(task), row["asked"])])
    return ["", *(STATE_WORDS[state] for state in STATES), "asked"], rows


def asked_text(task: str, value: float) -> str:
    """Return what is asked of a limit, rounded as the verdict rounds it; a limit itself is rounded down."""
    about = TASKS[task]
    if math.isnan(value):
        return "–"
    number = value * about.factor
    text = f"{number:.3g}" if abs(number) < 1000 else f"{number:.0f}"
    return text if about.shown_unit == "×" else f"{text} {about.shown_unit}"


def loading_rows(loading: pd.DataFrame) -> Rows:
    """Return currents, bus and heat of each situation."""
    rows = []
    for _, row in loading.iterrows():
        after = row["limit_after_s"]
        bus = f"{row['bus_V']:.2f} V" if math.isfinite(row["bus_V"]) else "–"
        rows.append(
            [
                row["words"] + ("" if row["possible"] else " (cannot)"), f"{row['torque_Nm'] * 1e3:.3g} mN·m",
                f"{row['phase_current_A']:.2f} A", f"{row['pack_current_A']:.2f} A", bus,
                f"{row['settles_degC']:.0f} degC", f"after {after:.0f} s" if math.isfinite(after) else "never",
                row["over"] or "–",
            ]
        )  # fmt: skip
    heads = ["", "a wheel", "phase, peak", "pack", "bus", "settles at", "at its limit", "over"]
    return heads, rows


def heat_line(heat: Mapping[str, Any]) -> str:
    """Return what heat lets the wheels hold for ever."""
    amplitude = heat["continuous_amplitude_at_standstill_V"]
    return (
        f"for ever at standstill: {heat['continuous_current_A']:.2f} A, {amplitude:.2f} V peak in a phase "
        f"({heat['limit']}, winding then at {heat['winding_degC']:.0f} degC)"
    )


def lever_rows(levers: pd.DataFrame) -> Rows:
    """Return by how many per cent each limit changes, a row a lever; those that change nothing are left out."""
    columns = [(column_name(task, NOW), words) for task, words in SHORT.items()]
    columns += [
        (column_name("grade", FOR_EVER), "grade for ever"),
        (column_name("grade", WHEEL_UP), "grade, wheel up"),
    ]
    rows = []
    for _, row in levers.iterrows():
        values = [float(row[name]) for name, _ in columns]
        if any(abs(value) >= NOTHING for value in values if math.isfinite(value)):
            by = "the whole" if row["change"] == "whole" else row["change"]
            rows.append([row["words"], by, *(_percent(value) for value in values)])
    return ["", "by", *(words for _, words in columns)], rows


def swap_lines(levers: pd.DataFrame) -> list[str]:
    """Return where another limit takes over within a lever's step."""
    return [
        f"{row['lever'].replace('_', ' ')}: another limit takes over, {row['swaps']}"
        for _, row in levers.iterrows()
        if row["swaps"]
    ]


def _percent(value: float) -> str:
    if not math.isfinite(value):
        return "–"
    return "0" if abs(value) < NOTHING else f"{value:+.2f}" if abs(value) < 10 else f"{value:+.0f}"
