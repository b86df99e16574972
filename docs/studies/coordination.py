"""The study behind docs/coordination.md: does one host that coordinates the wheels help on random rubble?

    python docs/studies/coordination.py [--grounds 80] [--duration 10]

Every case drives the same grounds.  Settings are chosen on training grounds that are not used again.  Writes the
tables between the markers of docs/coordination.md and the picture docs/pictures/coordination.png.
"""

from __future__ import annotations

import argparse
import itertools
import os
import sys
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import yaml
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from drivesim import scenario_from_text, simulate
from drivesim.plots.style import FAINT, GUIDE, INK, PALE, styled
from drivesim.study.statistics import bootstrap_mean, holm, paired

ROOT = Path(__file__).parents[2]
PAGE, PICTURE = ROOT / "docs" / "coordination.md", ROOT / "docs" / "pictures" / "coordination.png"
BEGIN, END = "<!-- begin {} -->", "<!-- end {} -->"

FIRST_TEST, FIRST_TRAINING = 2001, 1001  # seeds
TRAINING = 16  # grounds

SPEED, FASTER, BEGINS = 0.15, 0.22, 0.35  # m/s told, m/s told to the control, middle of the ramp [s]
BACK = 0.03  # m/s: faster than this is rolling back
TRUE = (0.8, 1.25)  # share of the speed told that a setting must keep on a flat floor
SHIPPED, CHOSEN = "independent, as shipped", "independent, gains chosen"
LOCKED, TOLD_MORE = "locked frequency", f"independent, told {FASTER:.2f} m/s"
VOLTAGE, RUNAWAY = "fixed voltage, true on the floor", "fixed voltage, too fast on the floor"

RUBBLE = {"ground.length": "4 m"}
FLOOR = {"ground": {"name": "floor", "length": "4 m", "width": "0.9 m"}}
GENTLER = RUBBLE | {"ground.features.0.rms": "5 mm", "ground.features.0.correlation_length": "60 mm"}
SLABS = {
    "rover.battery.state_of_charge": "3 %",
    "ground": FLOOR["ground"]
    | {
        "features": [
            {"kind": "pavers", "start": "0.2 m", "count": 18, "length": "180 mm", "gap": "8 mm",
             "gap_depth": "20 mm", "height": "12 mm", "height_spread": "8 mm"},
        ]
    },
}  # fmt: skip
SENSORS = RUBBLE | {"drive.sensor": {"kind": "hall", "sensors": 3, "timer_tick": "4 us", "timeout": "300 ms"}}

AIRBORNE, STALLED, OUT_OF_STEP = "airborne", "stalled", "out_of_step"
Setting = dict[str, Any]
Measures = dict[str, np.ndarray]
Notes = dict[tuple[str, str], list[str]]  # case and setting: cells of a table


# ---- the cases -------------------------------------------------------------------------------------------------


def strategy(name: str, **values: str) -> Setting:
    """Return the change that replaces the speed loops."""
    return {"drive": {"strategy": name, "slew": "30 rad/s^2", **values}}


def gains(proportional: float, integral: float) -> Setting:
    """Return the change of the speed loops' gains."""
    return {"drive.proportional": f"{proportional} V*s/rad", "drive.integral": f"{integral} V/rad"}


def hosts() -> dict[str, list[Setting]]:
    """Return the settings of each host that are tried."""
    choices: dict[str, Iterable[Setting]] = {
        "cross_coupled": ({"gain": float(g)} for g in (0.3, 1, 2, 4, 8)),
        "droop": ({"per_current": f"{k} rad/s/A"} for k in (0.3, 1.0, 2.0, 4.0)),
        "equal_current": (
            {"proportional": f"{p} A*s/rad", "integral": f"{i} A/rad", "most": "1.5 A"}
            for p, i in itertools.product((0.05, 0.2, 0.5), (0.5, 1.5, 4.0))
        ),
        "slip_limited": ({"margin": m} for m in (0.1, 0.3, 0.6, 0.9)),
    }
    return {
        kind: [{"drive.coordination": {"kind": kind, **values}} for values in rows]
        for kind, rows in choices.items()
    }


def grids() -> dict[str, list[Setting]]:
    """Return for each case the settings to choose from; hosts act on the loops as shipped."""
    told = [{"at": "0.2 s", "forward": f"{FASTER} m/s", "ramp": "0.3 s"}]
    return {
        SHIPPED: [{}],
        CHOSEN: [gains(p, i) for p, i in itertools.product((0.06, 0.12, 0.3, 0.6), (0.3, 0.9, 2.7, 8.0))],
        TOLD_MORE: [{"commands": told}],
        LOCKED: [strategy("locked_frequency", base_amplitude=f"{v} V") for v in (1.2, 1.8, 2.4, 3.2, 4.0)],
        VOLTAGE: [strategy("fixed_voltage", voltage_per_speed=f"{v} V*s/rad") for v in (0.065, 0.07, 0.075, 0.08)],
        RUNAWAY: [strategy("fixed_voltage", voltage_per_speed=f"{v} V*s/rad") for v in (0.2, 0.35, 0.5, 0.7)],
        **hosts(),
    }  # fmt: skip


# ---- the runs --------------------------------------------------------------------------------------------------


def drive(job: tuple[Setting, int, Setting, float]) -> dict[str, float]:
    """Run one case on one ground, ``job`` (setting, seed, ground, duration [s]), and return its measures."""
    setting, seed, ground, duration = job
    change = ground | setting
    text: dict[str, Any] = {
        "base": "scenarios/rubble_speed_loop.yaml",
        "seed": seed,
        "duration": f"{duration} s",
    }
    for part in ("drive", "ground"):
        if part in change:
            text[part] = change.pop(part)
            change = {path: value for path, value in change.items() if not path.startswith(f"{part}.")}
    run = simulate(scenario_from_text(yaml.safe_dump(text | {"change": change}), ROOT))
    found, traces = run.summary, run.traces
    told = (FASTER if "commands" in setting else SPEED) * (duration - BEGINS)
    last = traces["time"].values > found["duration_s"] - 3.0
    return {
        "stuck": found["stuck_s"],
        "moving": float(traces["stuck"].values[-1] < 0.5 and found["ending"] == "finished"),
        "left": float(found["ending"] == "left_ground"),
        "lasted": found["duration_s"],
        "distance": found["distance_m"],
        "kept": float(found["distance_m"] >= 0.8 * told),
        "off": abs(found["distance_m"] - told),
        "pace": float(traces["speed"].values[last].mean()) / told * (duration - BEGINS),
        "fighting": found["fighting"]["power_mean_W"] * 1e3,
        "drive_power": float(traces["drive_power"].mean()) * 1e3,
        "energy": found["energy_drawn_J"],
        "copper": found["ledger"]["copper"],
        "warmest": max(w["peak_temperature_degC"] for w in found["wheels"].values()),
        "volts": found["lowest_bus_voltage_V"],
        "rows": float(traces["condition"].size),
        **why(traces, setting),
    }


def why(traces: Any, setting: Setting) -> dict[str, float]:
    """Return what wheels in the air, stalled wheels and the stuck rover did: sums over rows and wheels, and marks."""
    meanings = traces["condition"].attrs["flag_meanings"].split()
    condition = traces["condition"].values
    told, speed = np.abs(traces["commanded_speed"].values), np.abs(traces["wheel_speed"].values)
    current = np.abs(traces["current_q"].values)
    air = (condition == meanings.index(AIRBORNE)) & (told > 0)
    stalled = np.isin(condition, [meanings.index(STALLED), meanings.index(OUT_OF_STEP)])
    asked = told.copy()
    gain = setting.get("drive.coordination", {}).get("gain")
    if gain is not None:  # the set-point that the host leads to, before its slew
        measured = np.abs(traces["measured_speed"].values)
        asked = np.maximum(0.0, told + gain * (measured.mean(axis=1, keepdims=True) - measured)) * (told > 0)
    ending = traces["time"].values > traces["time"].values[-1] - 1.0
    stuck = traces["stuck"].values[-1] > 0.5
    full = traces["voltage_limited"].values[ending] > 0.5
    return {
        "back": float((traces["speed"].values < -BACK).mean()),
        "top": float(traces["speed"].values.max()),
        "ended_full": float(full.mean()) if stuck else np.nan,
        "air": float(air.sum()),
        "air_pace": float((speed[air] / told[air]).sum()),
        "stalled": float(stalled.sum()),
        "stall_current": float(current[stalled].sum()),
        "asked": float(asked.sum()),
        "told": float(told.sum()),
    }


def table_of(
    pool: ProcessPoolExecutor,
    title: str,
    cases: list[Setting],
    seeds: range,
    ground: Setting,
    duration: float,
) -> list[Measures]:
    """Return for each case its measures, one value a ground."""
    jobs = [(case, seed, ground, duration) for case in cases for seed in seeds]
    found = []
    for done, result in enumerate(pool.map(drive, jobs, chunksize=4), start=1):
        found.append(result)
        if sys.stderr.isatty():
            sys.stderr.write(f"\r{title}: {done} of {len(jobs)} runs\x1b[K{chr(10) * (done == len(jobs))}")
    rows = [found[i : i + len(seeds)] for i in range(0, len(found), len(seeds))]
    return [{name: np.array([r[name] for r in row]) for name in row[0]} for row in rows]


def chosen(pool: ProcessPoolExecutor, duration: float) -> tuple[dict[str, Setting], Notes]:
    """Return each case's best setting on the training grounds, and what each setting tried did.

    Among the settings that keep the speed told on a flat floor: least time stuck, to half a second, then nearest to
    the way told.  The fixed voltage that runs away is excused from the floor.
    """
    grid = grids()
    training = range(FIRST_TRAINING, FIRST_TRAINING + TRAINING)
    tried = [(name, setting) for name, settings in grid.items() for setting in settings]
    settings = [setting for _, setting in tried]
    floor = table_of(pool, "floor", settings, range(1, 2), FLOOR, duration)
    rough = table_of(pool, "training grounds", settings, training, RUBBLE, duration)
    ranks: dict[str, list[tuple[bool, float, float, int]]] = {name: [] for name in grid}
    notes = {}
    for i, ((name, setting), flat, rows) in enumerate(zip(tried, floor, rough, strict=True)):
        pace, stuck = float(flat["pace"].mean()), float(rows["stuck"].mean())
        astray = name != RUNAWAY and not TRUE[0] <= pace <= TRUE[1]
        ranks[name].append((astray, round(2 * stuck) / 2, float(rows["off"].mean()), i))
        shown = [f"{100 * pace:.0f} %", f"{stuck:.1f}", f"{rows['distance'].mean():.2f}"]
        notes[name, words(setting)] = shown
    return {name: settings[min(rank)[-1]] for name, rank in ranks.items()}, notes


# ---- the figures -----------------------------------------------------------------------------------------------


def words(setting: Setting) -> str:
    """Return a setting in a few words."""
    flat = []
    for path, value in setting.items():
        if path == "commands":
            continue
        if isinstance(value, dict):
            flat += [f"{k} {v}" for k, v in value.items() if k not in ("kind", "strategy", "slew")]
        else:
            flat.append(f"{path.split('.')[-1]} {value}")
    return ", ".join(flat) or "as shipped"


def markdown(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a table."""
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def number(value: float, digits: int) -> str:
    """Return a difference with its sign, a true minus, and no sign where it is nothing."""
    shown = f"{value:+.{digits}f}"
    return shown.replace("-", "−") if float(shown) else shown[1:]


def count(values: np.ndarray) -> str:
    """Return on how many grounds something was so."""
    return f"{int(values.sum())} of {values.size}"


def means(results: dict[str, Measures]) -> str:
    """Return the table of means."""
    heads = ["case", "still moving at the end", "left the ground", "drove for [s]", "came ≥ 80 % of the way told",
             "stuck [s]", "distance [m]", "circulating power [mW]", "of all drive power", "energy per metre [J/m]",
             "warmest winding [°C]", "lowest bus [V]"]  # fmt: skip
    rows = []
    for name, r in results.items():
        came, fighting = r["distance"].sum(), r["fighting"]
        rows.append([
            name, count(r["moving"]), count(r["left"]), f"{r['lasted'].mean():.1f}", count(r["kept"]),
            f"{r['stuck'].mean():.1f}", f"{r['distance'].mean():.2f}", f"{fighting.mean():.1f}",
            f"{100 * fighting.sum() / max(r['drive_power'].sum(), 1e-9):.0f} %",
            f"{r['energy'].sum() / came:.0f}" if came > 0.01 * r["distance"].size else "–",
            f"{r['warmest'].max():.0f}", f"{r['volts'].min():.2f}",
        ])  # fmt: skip
    return markdown(heads, rows)


def reasons(results: dict[str, Measures]) -> str:
    """Return the table of what wheels in the air, stalled wheels and stuck rovers did."""
    heads = ["case", "in the air [% of time]", "speed there [× told]", "stalled or out of step [% of time]",
             "current there [A]", "rolling back [% of time]", "fastest, mean of grounds [m/s]",
            "at full voltage where stuck at the end [% of wheels]", "copper loss [% of energy]"]  # fmt: skip
    rows = []
    for name, r in results.items():
        total = {key: float(values.sum()) for key, values in r.items()}
        rows.append([
            name,
            f"{100 * total['air'] / total['rows']:.0f}",
            f"{total['air_pace'] / total['air']:.1f}" if total["air"] else "–",
            f"{100 * total['stalled'] / total['rows']:.0f}",
            f"{total['stall_current'] / total['stalled']:.2f}" if total["stalled"] else "–",
            f"{100 * r['back'].mean():.0f}",
            f"{r['top'].mean():.1f}",
            f"{100 * np.nanmean(r['ended_full']):.0f}" if np.isfinite(r["ended_full"]).any() else "–",
            f"{100 * total['copper'] / total['energy']:.0f}",
        ])  # fmt: skip
    return markdown(heads, rows)


def differences(results: dict[str, Measures], against: str, *, ends: bool = False) -> str:
    """Return the table of paired differences against one case, bold where decided; ``ends`` counts who still moved.

    Without the fixed voltage that runs away: its runs end early, so that nothing can be compared over equal times.
    """
    others = [name for name in results if name not in (against, RUNAWAY)]
    heads = [f"against {against}"]
    rows = [[name] for name in others]
    if ends:
        heads.append("still moving")
        for row in rows:
            row.append(count(results[row[0]]["moving"]))
    for key, digits in (("stuck", 1), ("distance", 2), ("fighting", 1)):
        found = [paired(results[name][key], results[against][key]) for name in others]
        for row, one, decided in zip(rows, found, holm([f.p for f in found]), strict=True):
            mark = "**" if decided else ""
            cells = [number(x, digits) for x in one.mean]
            row += [
                f"{mark}{cells[0]}{mark} ({cells[1]} … {cells[2]})",
                f"{one.p:.2g}" if one.p >= 1e-4 else "< 0.0001",
            ]
    return markdown([*heads, "stuck [s]", "p", "distance [m]", "p", "circulating power [mW]", "p"], rows)


def elsewhere(results: dict[str, Measures]) -> str:
    """Return what came out under other conditions: the shipped loops in a sentence, and the others against them."""
    mine = results[SHIPPED]
    return (
        f"Shipped loops: {count(mine['moving'])} still moving, stuck {mine['stuck'].mean():.1f} s, "
        f"{mine['distance'].mean():.2f} m, {mine['fighting'].mean():.1f} mW, lowest bus "
        f"{mine['volts'].min():.2f} V.\n\n"
    ) + differences(results, SHIPPED, ends=True)


def grid_table(notes: Notes, best: dict[str, Setting]) -> str:
    """Return every setting tried, the chosen ones bold."""
    rows = [
        [name, f"**{setting}**" if setting == words(best[name]) else setting, *cells]
        for (name, setting), cells in notes.items()
    ]
    return markdown(["case", "setting", "speed on the floor, of told", "stuck [s]", "distance [m]"], rows)


# ---- the picture -----------------------------------------------------------------------------------------------


def panel(axes: Axes, results: dict[str, Measures], key: str) -> None:
    """Draw one measure: a dot a ground, mean and its 95 % interval; filled where it differs from the shipped loops."""
    names, rng = list(results), np.random.default_rng(2)
    others = [name for name in names if name not in (SHIPPED, RUNAWAY)]
    p = [paired(results[name][key], results[SHIPPED][key]).p for name in others]
    differs = dict(zip(others, holm(p), strict=True))
    axes.axvline(results[SHIPPED][key].mean(), color=FAINT, linestyle=":", linewidth=1.0, zorder=1)
    for i, name in enumerate(names):
        values = results[name][key]
        if i % 2:
            axes.axhspan(i - 0.5, i + 0.5, color="#F6F6F6", zorder=0)
        spread = i + rng.uniform(-0.3, 0.3, values.size)
        axes.plot(values, spread, ".", color=PALE, markersize=4.5, markeredgewidth=0, zorder=2)
        axes.plot(bootstrap_mean(values)[1:], [i, i], "-", color=INK, linewidth=2.2, zorder=3)
        axes.plot(
            values.mean(),
            i,
            "o",
            color=INK if differs.get(name, False) else "white",
            markeredgecolor=INK,
            markersize=6.5,
            zorder=4,
        )
    axes.set_ylim(len(names) - 0.5, -0.5)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color=GUIDE, linewidth=0.7)


@styled()
def picture(results: dict[str, Measures], path: Path, told: float) -> None:
    """Draw time stuck, distance (``told`` [m]) and circulating power of each case into ``path``."""
    names = list(results)
    figure = Figure(figsize=(10.4, 5.0), layout="constrained")
    FigureCanvasAgg(figure)
    panels = figure.subplots(1, 3, sharey=True)
    for axes, key in zip(panels, ("stuck", "distance", "fighting"), strict=True):
        panel(axes, results, key)
    stuck, distance, fighting = panels
    ends = [
        f"{name}\n{count(r['left'])} left the ground"
        if r["left"].any()
        else f"{name}\n{count(r['moving'])} still moving"
        for name, r in results.items()
    ]
    stuck.set_yticks(range(len(names)), ends)
    stuck.set_xlabel("time stuck [s]   (less is better)")
    stuck.set_xlim(left=-0.2)
    distance.set_xlabel("distance [m]   (as told is best)")
    distance.set_xlim(left=0.0)
    distance.axvline(told, color=INK, linestyle=(0, (5, 2)), linewidth=1.0, zorder=1)
    distance.text(
        told, 1.01, "told", transform=distance.get_xaxis_transform(), ha="center", va="bottom", fontsize=8
    )
    fighting.set_xlabel("circulating power [mW], logarithmic")
    every = np.concatenate([r["fighting"] for r in results.values()])
    decades = np.log10([max(1e-3, every[every > 0].min()), every.max()])
    fighting.set_xscale("log")
    fighting.set_xlim(0.8 * 10 ** np.floor(decades[0]), 10 ** np.ceil(decades[1]))
    fighting.xaxis.set_major_formatter("{x:g}")
    mean = results[SHIPPED]["stuck"].mean()
    stuck.text(
        mean, 1.01, "as shipped", transform=stuck.get_xaxis_transform(), ha="center", va="bottom", fontsize=8
    )
    grounds = results[SHIPPED]["stuck"].size
    figure.supxlabel(
        f"The same {grounds} random rubble grounds for every case. Grey: each ground. Circle and bar: mean and its "
        "95 % interval; filled where the paired difference\nfrom the shipped loops is beyond chance (Wilcoxon, Holm, "
        "5 %), open where the data do not decide. Dotted: mean of the shipped loops.",
        fontsize=8, color=FAINT, ha="left", x=0.01,
    )  # fmt: skip
    part = path.with_suffix(".part.png")
    figure.savefig(part, dpi=130)
    part.replace(path)


# ---- the page --------------------------------------------------------------------------------------------------


def put(page: str, name: str, text: str) -> str:
    """Return ``page`` with ``text`` between the markers of ``name``."""
    begin, end = BEGIN.format(name), END.format(name)
    before, rest = page.split(begin)
    return f"{before}{begin}\n\n{text}\n\n{end}{rest.split(end)[1]}"


def main() -> None:
    """Run the study and write page and picture."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--grounds", type=int, default=80, help="of rubble; half as many of the others")
    parser.add_argument("--duration", type=float, default=10.0, help="simulated seconds of each run")
    options = parser.parse_args()
    seeds = range(FIRST_TEST, FIRST_TEST + options.grounds)
    grounds = {"rubble": RUBBLE, "gentler": GENTLER, "slabs": SLABS, "three sensors": SENSORS}
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        best, notes = chosen(pool, options.duration)
        found = {}
        for title, ground in grounds.items():
            share = seeds if ground is RUBBLE else seeds[: max(2, len(seeds) // 2)]
            rows = table_of(pool, title, list(best.values()), share, ground, options.duration)
            found[title] = dict(zip(best, rows, strict=True))
    rubble = found.pop("rubble")
    tables = {
        "means": means(rubble),
        "reasons": reasons(rubble),
        "reasons on slabs": reasons(found["slabs"]),
        "grid": grid_table(notes, best),
        "against independent": differences(rubble, SHIPPED),
        "against chosen": differences(rubble, CHOSEN),
        "against locked": differences(rubble, LOCKED),
        **{title: elsewhere(results) for title, results in found.items()},
    }
    asked = rubble["cross_coupled"]["asked"].sum() / rubble["cross_coupled"]["told"].sum()
    told_more = differences({n: rubble[n] for n in ("cross_coupled", TOLD_MORE)}, TOLD_MORE)
    tables |= {"against told more": told_more, "asked": (
        f"Mean set-point that this host led to, over all wheels, grounds and time: {asked:.2f} times the command."
    )}  # fmt: skip
    page = PAGE.read_text(encoding="utf-8")
    for name, text in tables.items():
        page = put(page, name, text)
    picture(rubble, PICTURE, SPEED * (options.duration - BEGINS))
    partial = PAGE.with_suffix(".part")
    partial.write_text(page, encoding="utf-8")
    partial.replace(PAGE)


if __name__ == "__main__":
    main()
