"""What ``drivesim tune`` prints: gains side by side, what they cost on held-out grounds, margins, whole numbers."""

from __future__ import annotations

import math
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from drivesim.cli.console import show, table
from drivesim.tuning.held_out import NOMINAL, signed
from drivesim.tuning.problem import REAL, SHIPPED, TUNED, WHOLE
from drivesim.tuning.rule import BASE
from drivesim.tuning.tuned import Tuned
from drivesim.units import readable

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
ALSO = (
    "way_missed",
    "stuck",
    "failed",
    "energy",
    "voltage_limited",
)  # told even where they are no part of the cost


def print_tuned(out: Console, tuned: Tuned) -> None:
    """Print the result: verdict first, then what it rests on."""
    s = tuned.summary
    out.print(Text(s["name"], style="bold"))
    if s["question"]:
        out.print(Text(s["question"]))
    out.print(Text("→ " + s["verdict"]))
    if s["tolerances"] is not None:
        out.print(Text("  with tolerances: " + s["tolerances"]["verdict"]))
    worse = {part: mean for part, mean in s["held_out"]["decided"].items() if mean > 0}
    if worse:
        told = ", ".join(
            f"{PART_WORDS[part]} {signed(mean * FACTOR.get(part, 1.0))}" for part, mean in worse.items()
        )
        out.print(Text(f"  paid for with, decided: {told}", style="yellow"))
    out.print()
    show(out, gains_table(tuned))
    out.print()
    show(out, cost_table(tuned))
    gap = s["gap"]
    out.print(
        f"cost as a multiple of the shipped gains': {_number(gap['training'], '.2f')} on the training grounds, "
        f"{_number(gap['held_out'], '.2f')} on the held-out ones"
    )
    out.print(
        f"{s['tried']['looked_at']} gains looked at, {s['tried']['not_taken']} not taken, {s['runs']['all']} runs"
    )
    out.print()
    if s["linear_loop"] is not None:
        show(out, margins_table(tuned))
        out.print(delay_line(s["linear_loop"]))
    if s["shipped_misses"]:
        out.print(Text(f"the shipped gains miss what is required: {s['shipped_misses']}"))
    for line in whole_lines(s["whole_numbers"]):
        out.print(Text(line))
    forced = any(path == BASE for path in tuned.gains.index)
    for caution in (*CAUTIONS, *((HOT,) if forced else ())):
        out.print(Text("! " + caution, style="yellow"))


def gains_table(tuned: Tuned) -> Table:
    """Return the gains, a column a case."""
    cases = list(tuned.summary["gains"])
    made = table("", *cases, "searched between", title="gains")
    for path, row in tuned.gains.iterrows():
        made.add_row(
            str(path), *(readable(float(row[case]), row["unit"], 4) for case in cases),
            f"{row['low']:.3g} … {row['high']:.3g}",
        )  # fmt: skip
    return made


def cost_table(tuned: Tuned) -> Table:
    """Return means over the held-out grounds, a column a case, and the tuned gains' difference with its interval.

    Differences of parts are marked where they are decided, all parts together (Holm).
    """
    held = tuned.held_out[tuned.held_out["parts"] == NOMINAL]
    first, last = tuned.summary["held_out"]["seeds"]
    cases = [case for case in (*tuned.summary["gains"], WHOLE, REAL) if (held["case"] == case).any()]
    weights, found = tuned.summary["cost"]["weights"], tuned.summary["held_out"]["tuned_less_shipped"]
    parts = [*weights, *(part for part in ALSO if part not in weights)]
    decided = tuned.summary["held_out"]["decided"]
    title = f"means over {last - first + 1} held-out grounds (seeds {first} to {last}); * decided"
    made = table("", *cases, f"{TUNED} − {SHIPPED} (95 %)", title=title)
    for part in ("cost", *parts):
        factor = FACTOR.get(part, 1.0)
        means = [float(held[held["case"] == case][part].mean()) * factor for case in cases]
        weight = f" ×{weights[part]:g}" if part in weights and weights[part] != 1 else ""
        made.add_row(
            PART_WORDS[part] + weight, *(_number(mean) for mean in means),
            "* " * (part in decided) + _interval(found[part], factor),
        )  # fmt: skip
    return made


def _number(value: float | None, form: str = ".3g") -> str:
    """Return a number, or a dash where there is none."""
    return "–" if value is None or math.isnan(value) else f"{value:{form}}"


def _interval(found: dict[str, Any], factor: float = 1.0) -> str:
    if found["mean"] is None:
        return "–"
    if found["low"] is None:
        return signed(found["mean"] * factor)
    mean, low, high = (found[key] * factor for key in ("mean", "low", "high"))
    return f"{signed(mean)} ({signed(low)} … {signed(high)})"


def margins_table(tuned: Tuned) -> Table:
    """Return gain and phase margin of the linear loop, a row for each case and a column for each plant."""
    wheels = tuned.summary["linear_loop"]["wheels"]
    title = "linear loop at the crawl speed: gain margin, phase margin"
    made = table("", *(wheels[wheel]["words"] for wheel in reversed(wheels)), title=title)
    for case in tuned.summary["gains"]:
        rows = {row["wheel"]: row for row in tuned.margins.to_dict("records") if row["case"] == case}
        made.add_row(case, *(_margin(rows[wheel]) for wheel in reversed(wheels)))
    return made


def _margin(row: dict[Any, Any]) -> str:
    gain, phase = row["gain_margin"], row["phase_margin_deg"]
    if not row["stable"]:
        return f"{gain:.2f}, swings by itself"
    return f"{gain:.2f}, {phase:.0f} deg" if math.isfinite(gain) and math.isfinite(phase) else "any"


def delay_line(loop: dict[str, Any]) -> str:
    """Return where the loop's delay comes from."""
    parts = [f"{loop['of_edges_s'] * 1e3:.3g} ms from edge to edge"] if loop["of_edges_s"] else []
    parts += [f"{loop['of_hold_s'] * 1e3:.3g} ms half a sample"]
    parts += [f"{loop['latency_s'] * 1e3:.3g} ms latency"] if loop["latency_s"] else []
    lags = [f"{wheel['words']} {wheel['lag_s']:.3g} s" for wheel in loop["wheels"].values() if wheel["lag_s"]]
    tail = f"; time constant: {', '.join(lags)}" if lags else ""
    return f"delay at {loop['speed_rad_s']:.3g} rad/s: {loop['delay_s'] * 1e3:.3g} ms ({' + '.join(parts)}){tail}"


def whole_lines(whole: dict[str, Any] | None) -> list[str]:
    """Return lines about the gains in whole numbers."""
    if whole is None:
        return [
            "no whole numbers: drivesim has this drive, or these gains in such words, in real numbers only"
        ]
    worst = max(whole["gains"].items(), key=lambda item: item[1]["rounding"])
    found = whole["less_real_numbers"]
    line = (
        f"in words of {whole['word_bits']} bits, {whole['fraction_bits']} of fraction, "
        f"{whole['gain_fraction_bits']} in gains: rounding changes {worst[0]} by {worst[1]['rounding']:.2%}, "
        f"the cost on held-out grounds by {_interval(found)}"
    )
    return [line]
