"""A summary's figures as rows of words, for the tables of the command line and of the page; plain text only."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from drivesim.analysis.conditions import CONDITIONS
from drivesim.analysis.ledger import PARTS
from drivesim.units import rounded_down

#: rows of the wheel table after the shares of time: words, key in the summary, how to show it
WHEEL_FIGURES: tuple[tuple[str, str, Callable[[float], str]], ...] = (
    ("poles slipped", "pole_slips", str),
    ("first stall", "first_stall_s", lambda v: f"{v:.2f} s"),
    ("mean torque", "mean_torque_Nm", lambda v: f"{v * 1e3:.1f} mN·m"),
    ("peak current", "peak_current_A", lambda v: f"{v:.2f} A"),
    ("peak winding", "peak_temperature_degC", lambda v: f"{v:.0f} degC"),
    ("peak housing", "peak_housing_temperature_degC", lambda v: f"{v:.0f} degC"),
    ("torque by commutation", "commutation_factor", lambda v: f"{v:.0%}"),
    ("at current limit", "current_limited", lambda v: f"{v:.0%}" if v >= 0.005 else "–"),
    ("without power", "off", lambda v: f"{v:.0%}" if v >= 0.005 else "–"),
    ("sunk at most", "deepest_sinkage_m", lambda v: f"{v * 1e3:.1f} mm"),
)

#: figures that say nothing when every wheel has them
SILENT = {"commutation_factor": 1.0}


def wheel_rows(summary: dict[str, Any]) -> list[tuple[str, list[str]]]:
    """Return what each wheel did, a row a figure with a text for each wheel; rows that say nothing are left out."""
    wheels = summary["wheels"].values()
    rows = []
    for condition in CONDITIONS:
        shares = [wheel[condition] for wheel in wheels]
        if max(shares, default=0.0) >= 0.005:
            rows.append((condition.replace("_", " "), [f"{s:.0%}" if s >= 0.005 else "–" for s in shares]))
    for words, key, show in WHEEL_FIGURES:
        values = [wheel[key] for wheel in wheels]
        if any(values) and values != [SILENT.get(key)] * len(values):
            rows.append((words, ["–" if value is None else show(value) for value in values]))
    return rows


def ledger_rows(summary: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Return where the energy went: part, joules, share of what was drawn."""
    ledger = summary["ledger"]
    drawn = ledger["drawn"]
    rows = []
    for part, words in PARTS.items():
        share = ledger[part] / drawn if drawn else 0.0
        if abs(share) >= 0.0005 or part == "remainder":
            shown = f"{share:.1%}" if part != "remainder" else f"{share:.3%}"
            rows.append((words, f"{ledger[part]:.3g}", shown))
    return rows


def figure_lines(summary: dict[str, Any]) -> list[str]:
    """Return lines about the way, the fighting and the bus, and about supply, events and recovery if there is any."""
    fighting = summary["fighting"]
    stuck = f"stuck {summary['stuck_s']:.1f} s, " if summary["stuck_s"] else ""
    first = (
        f"{summary['distance_m']:.2f} m in {summary['duration_s']:.1f} s, {stuck}"
        f"wheels against each other {fighting['force_mean_N']:.2f} N on average "
        f"({fighting['share_of_drive_power']:.0%} of the drive power), "
        f"bus at least {rounded_down(summary['lowest_bus_voltage_V'], 0.01):.2f} V"
    )
    return [first, *_more(summary)]


def _more(summary: dict[str, Any]) -> list[str]:
    supply, recovery, lines = summary["supply"], summary["recovery"], []
    if supply["resets"]:
        count = "once" if supply["resets"] == 1 else f"{supply['resets']} times"
        lines.append(
            f"controllers reset {count}, off for {supply['off_s']:.2f} s ({supply['off_share']:.0%} of the time)"
        )
        if supply["ride_through_s"] is not None:
            lines.append(
                f"without the battery the bus capacitance lasts {supply['ride_through_s'] * 1e3:.2g} ms at this power"
            )
    if supply["endurance_h"] is not None:
        lines.append(f"at this current the pack lasts {_long(supply['endurance_h'])}")
    others = {kind: n for kind, n in summary["events"].items() if kind not in ("reset", "recovery")}
    if others:
        told = ", ".join(f"{kind} {n}" for kind, n in others.items())
        lines.append(f"events: {told} (events.csv tells when and why)")
    if recovery is not None and recovery["tries"]:
        methods = ", ".join(
            f"{name.replace('_', ' ')} {count['freed']} of {count['tries']}"
            for name, count in recovery["methods"].items()
            if count["tries"]
        )
        lines.append(f"tries that freed it: {recovery['freed']} of {recovery['tries']} ({methods})")
    return lines


def _long(hours: float) -> str:
    """Return a duration in hours, or in minutes where it is less than one."""
    return f"{hours:.1f} h" if hours >= 1 else f"{hours * 60:.2g} min"
