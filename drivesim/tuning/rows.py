"""A tuning as rows of words, for the tables of the command line and of the page; plain text only."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from drivesim.tuning.held_out import NOMINAL, signed
from drivesim.tuning.problem import REAL, SHIPPED, TUNED, WHOLE
from drivesim.tuning.rule import BASE
from drivesim.units import readable

Rows = tuple[list[str], list[list[str]]]  # heads, and the texts of each row

CAUTIONS = (
    "first run new gains with the wheels off the ground, on a current-limited supply, with a way to cut the power",
    "motor, driver and cells: their makers' data and local rules come first; this is a simulation",
)
HOT = (
    "a forced field draws its current at standstill too: watch board and winding for heat, see drivesim check"
)
PART_WORDS = {
    "cost": "cost",
    "way_missed": "way missed, share",
    "stuck": "stuck [s]",
    "failed": "not moving at the end, share",
    "tracking": "speed error, rms [rad/s]",
    "circulating_power": "circulating power [mW]",
    "slip_energy": "slip [J]",
    "copper_energy": "heat in the windings [J]",
    "peak_temperature": "warmest winding above ambient [K]",
    "energy": "energy drawn [J]",
    "voltage_limited": "time at full voltage, share",
}
FACTOR = {"circulating_power": 1e3}
PAID = "paid for with, decided: "
#: told even where they are no part of the cost
ALSO = ("way_missed", "stuck", "failed", "energy", "voltage_limited")


def cautions(summary: Mapping[str, Any]) -> list[str]:
    """Return what to beware of when these gains are used."""
    forced = any(BASE in gains for gains in summary["gains"].values())
    return [*CAUTIONS, *((HOT,) if forced else ())]


def verdict_lines(summary: Mapping[str, Any]) -> list[str]:
    """Return what goes with the verdict: with tolerances, and what the tuned gains are paid for with."""
    lines = []
    if summary["tolerances"] is not None:
        lines.append("with tolerances: " + summary["tolerances"]["verdict"])
    worse = {part: mean for part, mean in summary["held_out"]["decided"].items() if mean > 0}
    if worse:
        told = ", ".join(
            f"{PART_WORDS[part]} {signed(mean * FACTOR.get(part, 1.0))}" for part, mean in worse.items()
        )
        lines.append(f"{PAID}{told}")
    return lines


def gains_rows(summary: Mapping[str, Any]) -> Rows:
    """Return the gains, a column a case."""
    cases = summary["gains"]
    rows = [
        [
            path, *(readable(float(gains[path]), about["unit"], 4) for gains in cases.values()),
            f"{about['low']:.3g} … {about['high']:.3g}",
        ]
        for path, about in summary["searched"].items()
    ]  # fmt: skip
    return ["", *cases, "searched between"], rows


def cost_title(summary: Mapping[str, Any]) -> str:
    """Return what the table of costs shows."""
    first, last = summary["held_out"]["seeds"]
    return f"means over {last - first + 1} held-out grounds (seeds {first} to {last}); * decided"


def cost_rows(summary: Mapping[str, Any], held_out: pd.DataFrame) -> Rows:
    """Return means over the held-out grounds, a column a case, and the tuned gains' difference with its interval.

    Differences of parts are marked where they are decided, all parts together (Holm).
    """
    held = held_out[held_out["parts"] == NOMINAL]
    cases = [case for case in (*summary["gains"], WHOLE, REAL) if (held["case"] == case).any()]
    weights, found = summary["cost"]["weights"], summary["held_out"]["tuned_less_shipped"]
    parts = [*weights, *(part for part in ALSO if part not in weights)]
    rows = []
    for part in ("cost", *parts):
        factor = FACTOR.get(part, 1.0)
        means = [float(held[held["case"] == case][part].mean()) * factor for case in cases]
        weight = f" ×{weights[part]:g}" if part in weights and weights[part] != 1 else ""
        rows.append(
            [
                PART_WORDS[part] + weight, *(_number(mean) for mean in means),
                "* " * (part in summary["held_out"]["decided"]) + _interval(found[part], factor),
            ]
        )  # fmt: skip
    return ["", *cases, f"{TUNED} − {SHIPPED} (95 %)"], rows


def gap_lines(summary: Mapping[str, Any]) -> list[str]:
    """Return how much of the gain is left on held-out grounds, and what the search took."""
    gap, tried = summary["gap"], summary["tried"]
    return [
        f"cost as a multiple of the shipped gains': {_number(gap['training'], '.2f')} on the training grounds, "
        f"{_number(gap['held_out'], '.2f')} on the held-out ones",
        f"{tried['looked_at']} gains looked at, {tried['not_taken']} not taken, {summary['runs']['all']} runs",
    ]


MARGINS_TITLE = "linear loop at the crawl speed: gain margin, phase margin"


def margin_rows(summary: Mapping[str, Any]) -> Rows:
    """Return gain and phase margin of the linear loop, a row for each case and a column for each plant."""
    wheels = summary["linear_loop"]["wheels"]
    rows = []
    for case in summary["gains"]:
        own = {row["wheel"]: row for row in summary["margins"] if row["case"] == case}
        rows.append([case, *(_margin(own[wheel]) for wheel in reversed(wheels))])
    return ["", *(wheels[wheel]["words"] for wheel in reversed(wheels))], rows


def _margin(row: Mapping[str, Any]) -> str:
    gain, phase = row["gain_margin"], row["phase_margin_deg"]
    if not row["stable"]:
        return f"{_number(gain, '.2f')}, swings by itself"
    return f"{gain:.2f}, {phase:.0f} deg" if gain is not None and phase is not None else "any"


def loop_lines(summary: Mapping[str, Any]) -> list[str]:
    """Return where the loop's delay comes from, what the shipped gains miss, and lines about whole numbers."""
    lines = [delay_line(summary["linear_loop"])] if summary["linear_loop"] is not None else []
    if summary["shipped_misses"]:
        lines.append(f"the shipped gains miss what is required: {summary['shipped_misses']}")
    return [*lines, whole_line(summary["whole_numbers"])]


def delay_line(loop: Mapping[str, Any]) -> str:
    """Return where the loop's delay comes from."""
    parts = [f"{loop['of_edges_s'] * 1e3:.3g} ms from edge to edge"] if loop["of_edges_s"] else []
    parts += [f"{loop['of_hold_s'] * 1e3:.3g} ms half a sample"]
    parts += [f"{loop['latency_s'] * 1e3:.3g} ms latency"] if loop["latency_s"] else []
    lags = [f"{wheel['words']} {wheel['lag_s']:.3g} s" for wheel in loop["wheels"].values() if wheel["lag_s"]]
    tail = f"; time constant: {', '.join(lags)}" if lags else ""
    return f"delay at {loop['speed_rad_s']:.3g} rad/s: {loop['delay_s'] * 1e3:.3g} ms ({' + '.join(parts)}){tail}"


def whole_line(whole: Mapping[str, Any] | None) -> str:
    """Return what whole numbers make of the gains."""
    if whole is None:
        return "no whole numbers: drivesim has this drive, or these gains in such words, in real numbers only"
    worst = max(whole["gains"].items(), key=lambda item: item[1]["rounding"])
    return (
        f"in words of {whole['word_bits']} bits, {whole['fraction_bits']} of fraction, "
        f"{whole['gain_fraction_bits']} in gains: rounding changes {worst[0]} by {worst[1]['rounding']:.2%}, "
        f"the cost on held-out grounds by {_interval(whole['less_real_numbers'])}"
    )


def _number(value: float | None, form: str = ".3g") -> str:
    """Return a number, or a dash where there is none."""
    return "–" if value is None or math.isnan(value) else f"{value:{form}}"


def _interval(found: Mapping[str, Any], factor: float = 1.0) -> str:
    if found["mean"] is None:
        return "–"
    if found["low"] is None:
        return signed(found["mean"] * factor)
    mean, low, high = (found[key] * factor for key in ("mean", "low", "high"))
    return f"{signed(mean)} ({signed(low)} … {signed(high)})"
