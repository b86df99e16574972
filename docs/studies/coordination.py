"""The study behind docs/coordination.md: does one host that coordinates the wheels help on random rubble?

    python docs/studies/coordination.py [--grounds 24]

Every case drives the same grounds.  Gains are chosen on training grounds that are not used again.  Writes the tables
between the markers of docs/coordination.md and the picture docs/pictures/coordination.png.
"""

from __future__ import annotations

import argparse
import itertools
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import matplotlib as mpl
import numpy as np
import yaml
from scipy import stats

from drivesim import scenario_from_text, simulate

mpl.use("Agg")
import matplotlib.pyplot as plt

ROOT = Path(__file__).parents[2]
PAGE, PICTURE = ROOT / "docs" / "coordination.md", ROOT / "docs" / "pictures" / "coordination.png"
TRAINING = range(1001, 1009)
BEGIN, END = "<!-- begin {} -->", "<!-- end {} -->"
SEED = 2  # of the bootstrap
SPEED, BEGINS = (
    0.15,
    0.35,
)  # m/s commanded, and the middle of its ramp [s], as in scenarios/rubble_speed_loop.yaml

#: what is measured: unit, heading, is less better?
MEASURES = {
    "stuck": ("s", "stuck", True),
    "distance": ("m", "distance", False),
    "fighting": ("mW", "circulating power", True),
}


def coordination(kind: str, **values: str | float) -> dict[str, object]:
    """Return the change of the speed-loop scenario that adds a coordination."""
    return {"drive.coordination": {"kind": kind, **values}}


def grids() -> dict[str, list[dict[str, object]]]:
    """Return for each case the settings to choose from; the first case of all is what is shipped."""
    field = {"base_amplitude": "3.2 V", "strategy": "locked_frequency", "slew": "30 rad/s^2"}
    gains = list(itertools.product((0.06, 0.12, 0.3, 0.6), (0.3, 0.9, 2.7)))
    return {
        "independent loops, as shipped": [{}],
        "independent loops, gains chosen": [
            {"drive.proportional": f"{p} V*s/rad", "drive.integral": f"{i} V/rad"} for p, i in gains
        ],
        "locked frequency": [{"drive": field}],
        "fixed voltage": [
            {
                "drive": {
                    "strategy": "fixed_voltage",
                    "voltage_per_speed": f"{v} V*s/rad",
                    "slew": "30 rad/s^2",
                }
            }
            for v in (0.2, 0.35, 0.5, 0.7)
        ],
        "cross_coupled": [coordination("cross_coupled", gain=g) for g in (0.3, 0.6, 1.0, 2.0, 4.0)],
        "droop": [coordination("droop", per_current=f"{k} rad/s/A") for k in (0.3, 1.0, 2.0, 4.0)],
        "equal_current": [
            coordination("equal_current", proportional=f"{p} A*s/rad", integral=f"{i} A/rad", most="1.5 A")
            for p, i in itertools.product((0.05, 0.2, 0.5), (0.2, 0.5, 1.5))
        ],
        "slip_limited": [coordination("slip_limited", margin=m) for m in (0.1, 0.3, 0.6)],
    }


def drive(job: tuple[dict[str, object], int, dict[str, object], float]) -> dict[str, float]:
    """Run one case on one ground and return its measures."""
    change, seed, ground, duration = job
    change = change | ground
    text = {"base": "scenarios/rubble_speed_loop.yaml", "seed": seed, "duration": f"{duration} s"}
    if "drive" in change:
        text["drive"] = change.pop("drive")
        change = {path: value for path, value in change.items() if not path.startswith("drive.")}
    summary = simulate(scenario_from_text(yaml.safe_dump(text | {"change": change}), ROOT)).summary
    ambient = 22.0
    return {
        "stuck": summary["stuck_s"],
        "distance": summary["distance_m"],
        "off": abs(summary["distance_m"] - SPEED * (duration - BEGINS)),
        "fighting": summary["fighting"]["power_mean_W"] * 1e3,
        "energy": summary["energy_drawn_J"],
        "warmest": max(w["peak_temperature_degC"] for w in summary["wheels"].values()) - ambient,
        "moving": float("stuck at" not in summary["verdict"]),
    }


def table_of(
    pool: ProcessPoolExecutor,
    cases: list[dict[str, object]],
    seeds: range,
    ground: dict[str, object],
    duration: float,
) -> list[dict[str, np.ndarray]]:
    """Return for each case its measures, one value a ground."""
    jobs = [(case, seed, ground, duration) for case in cases for seed in seeds]
    found = []
    for done, result in enumerate(pool.map(drive, jobs, chunksize=4), start=1):
        found.append(result)
        if sys.stderr.isatty():
            sys.stderr.write(f"\r{done} of {len(jobs)} runs  ")
    rows = [found[i : i + len(seeds)] for i in range(0, len(found), len(seeds))]
    return [{name: np.array([r[name] for r in row]) for name in row[0]} for row in rows]


def chosen(pool: ProcessPoolExecutor, duration: float) -> dict[str, dict[str, object]]:
    """Return each case's best setting on the training grounds: least time stuck, then nearest to the way commanded."""
    best = {}
    for name, settings in grids().items():
        tried = table_of(pool, settings, TRAINING, {}, duration) if len(settings) > 1 else []
        order = [(round(float(t["stuck"].mean()), 1), float(t["off"].mean())) for t in tried]
        best[name] = settings[min(range(len(order)), key=order.__getitem__)] if order else settings[0]
    return best


def paired(case: np.ndarray, other: np.ndarray) -> tuple[float, float, float, float]:
    """Return mean difference, its 95 % bootstrap interval, and Wilcoxon's p; p is 1 without any difference."""
    difference = case - other
    if not difference.any():
        return 0.0, 0.0, 0.0, 1.0
    interval = stats.bootstrap(
        (difference,), np.mean, rng=np.random.default_rng(SEED), n_resamples=4000
    ).confidence_interval
    p = stats.wilcoxon(case, other, zero_method="zsplit").pvalue
    return float(difference.mean()), float(interval.low), float(interval.high), float(p)


def words(setting: dict[str, object]) -> str:
    """Return a setting in a few words."""
    flat = []
    for path, value in setting.items():
        if isinstance(value, dict):
            flat += [f"{k} {v}" for k, v in value.items() if k not in ("kind", "strategy", "slew")]
        else:
            flat.append(f"{path.split('.')[-1]} {value}")
    return ", ".join(flat) or "–"


def means(results: dict[str, dict[str, np.ndarray]], best: dict[str, dict[str, object]]) -> str:
    """Return the table of means."""
    lines = [
        "| case | setting | still moving | stuck [s] | distance [m] | circulating power [mW] | energy per metre, "
        "all grounds together [J/m] | warmest winding over ambient [K] |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for name, r in results.items():
        digits = (("stuck", 1), ("distance", 2), ("fighting", 1), ("per_metre", 0), ("warmest", 1))
        r = r | {"per_metre": np.array([r["energy"].sum() / r["distance"].sum()])}
        row = " | ".join(f"{r[k].mean():.{d}f}" for k, d in digits)
        count = f"{int(r['moving'].sum())} of {r['moving'].size}"
        lines.append(f"| {name} | {words(best[name])} | {count} | {row} |")
    return "\n".join(lines)


def differences(results: dict[str, dict[str, np.ndarray]], against: str) -> str:
    """Return the table of paired differences against one case."""
    lines = [
        f"| against {against} | stuck [s] | p | distance [m] | p | circulating power [mW] | p |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for name, r in results.items():
        if name == against:
            continue
        cells = []
        for key, digits in (("stuck", 1), ("distance", 2), ("fighting", 1)):
            mean, low, high, p = paired(r[key], results[against][key])
            cells.append(f"{mean:+.{digits}f} ({low:+.{digits}f} … {high:+.{digits}f}) | {p:.2g}")
        lines.append(f"| {name} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


def picture(results: dict[str, dict[str, np.ndarray]], told: float, path: Path) -> None:
    """Draw time stuck, distance (``told`` [m]) and circulating power: a dot a ground, mean and its 95 % interval."""
    names = list(results)
    figure, panels = plt.subplots(1, 3, figsize=(11, 4.6), sharey=True, layout="constrained")
    rng = np.random.default_rng(SEED)
    for axes, key in zip(panels, ("stuck", "distance", "fighting"), strict=True):
        unit, heading, less = MEASURES[key]
        for i, name in enumerate(names):
            values = results[name][key]
            axes.plot(
                values, i + rng.uniform(-0.22, 0.22, values.size), ".", color="0.65", markersize=4, zorder=1
            )
            low, high = values.mean(), values.mean()
            if values.any() and np.ptp(values) > 0:
                interval = stats.bootstrap((values,), np.mean, rng=rng, n_resamples=4000).confidence_interval
                low, high = interval.low, interval.high
            axes.plot([low, high], [i, i], "-", color="black", linewidth=2, zorder=2)
            axes.plot(values.mean(), i, "o", color="white", markeredgecolor="black", markersize=7, zorder=3)
        axes.axvline(results[names[0]][key].mean(), color="0.4", linestyle=":", linewidth=1, zorder=0)
        if key == "distance":
            axes.axvline(told, color="0.4", linestyle="--", linewidth=1, zorder=0)
            axes.text(told, len(names) - 0.45, " told", fontsize=8, color="0.3", va="bottom")
        goal = "less is better" if less else "up to what is told"
        axes.set_xlabel(f"{heading} [{unit}]  ({goal})")
        most = max(r[key].max() for r in results.values())
        axes.set_xlim(-0.03 * most, 1.03 * most)
        axes.grid(axis="x", color="0.92")
    panels[0].set_yticks(range(len(names)), names)
    panels[0].invert_yaxis()
    count = results[names[0]]["stuck"].size
    figure.suptitle(
        f"The same {count} random rubble grounds for every case: each ground (dots), mean and its 95 % interval "
        "(bars); dotted: independent loops as shipped",
        fontsize=9,
    )
    figure.savefig(path, dpi=130)
    plt.close(figure)


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
    parser.add_argument("--grounds", type=int, default=24)
    parser.add_argument("--duration", type=float, default=10.0, help="simulated seconds of each run")
    options = parser.parse_args()
    seeds = range(1, options.grounds + 1)
    fine = {"ground.features.0.rms": "5 mm", "ground.features.0.correlation_length": "60 mm"}
    three = {"drive.sensor": {"kind": "hall", "sensors": 3, "timer_tick": "4 us", "timeout": "300 ms"}}
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        best = chosen(pool, options.duration)
        variants = {}
        for title, ground in (("", {}), ("gentler", fine), ("three", three)):
            rows = table_of(pool, list(best.values()), seeds, ground, options.duration)
            variants[title] = dict(zip(best, rows, strict=True))
    page = PAGE.read_text(encoding="utf-8")
    first = next(iter(best))
    page = put(page, "means", means(variants[""], best))
    page = put(page, "against independent", differences(variants[""], first))
    page = put(page, "against locked", differences(variants[""], "locked frequency"))
    page = put(page, "gentler", differences(variants["gentler"], first))
    page = put(page, "three sensors", differences(variants["three"], first))
    picture(variants[""], SPEED * (options.duration - BEGINS), PICTURE)
    partial = PAGE.with_suffix(".part")
    partial.write_text(page, encoding="utf-8")
    partial.replace(PAGE)


if __name__ == "__main__":
    main()
