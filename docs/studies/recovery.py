"""The study behind docs/recovery.md: how often does a driver's try free a rover that is stuck on rubble?

    python docs/studies/recovery.py [--grounds 40]

Each method drives on the same grounds as a driver who keeps the stick where it was.  Writes the table between the
markers of docs/recovery.md.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import NamedTuple

import numpy as np
import yaml
from scipy import stats

from drivesim import scenario_from_text, simulate
from drivesim.study.statistics import mcnemar, wilson

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "recovery.md"
BEGIN, END = "<!-- begin table -->", "<!-- end table -->"
STUCK_FOR, TRIES, SUCCESS = 1.2, 3, 0.05  # s, tries, m
KEEPS = "no recovery (just keeps the stick where it was)"
#: methods and throttle: once the command leaves all as it was, and tells what waiting comes to
METHODS = {
    KEEPS: (["full_throttle"], 1),
    "back off and try again": (["back_off"], 2),
    "rock": (["rock"], 2),
    "full throttle": (["full_throttle"], 2),
    "rock, full throttle, back off in turn": (["rock", "full_throttle", "back_off"], 2),
}
LEVEL = 1 - 0.05 / (len(METHODS) - 1)  # of each comparison: 95 % for all of them together
LINES = [
    "| method | first tries that freed it | all tries | still moving at the end "
    "| moving only with it / only without it | farther than without it, mean |",
    "| --- | --- | --- | --- | --- | --- |",
]


class Drive(NamedTuple):
    """What one run came to: which judged tries freed the rover, whether it moved at the end, how far it came [m]."""

    freed: list[bool]
    moving: bool
    way: float


def drive(job: tuple[list[str], float, int, float]) -> Drive:
    """Drive on one ground with these methods, throttle, seed and duration [s]."""
    methods, throttle, seed, duration = job
    recovery = {
        "stuck_for": f"{STUCK_FOR} s",
        "tries": TRIES,
        "method": methods,
        "back_off": "0.8 s",
        "speed": "0.15 m/s",
        "throttle": throttle,
        "success": f"{SUCCESS} m",
    }
    text = {
        "base": "scenarios/rubble_speed_loop.yaml",
        "seed": seed,
        "duration": f"{duration} s",
        "recovery": recovery,
    }
    run = simulate(scenario_from_text(yaml.safe_dump(text), ROOT))
    freed = [
        "freed" in event.effect for event in run.events if event.kind == "recovery" and "came" in event.effect
    ]
    time, x = run.traces["time"].values, run.traces["x"].values
    late = time > time[-1] - 2 * STUCK_FOR
    return Drive(freed, bool(x[-1] - x[late][0] >= SUCCESS), float(x[-1] - x[0]))


def row(name: str, results: Sequence[Drive], keeps: Sequence[Drive]) -> str:
    """Return a table's row: tries that worked, the runs' ends, and both against ``keeps`` on the same grounds."""

    def share(outcomes: list[bool]) -> str:
        if not outcomes:
            return "–"
        interval = wilson(sum(outcomes), len(outcomes))
        return f"{sum(outcomes)} of {len(outcomes)} ({interval.low:.0%} … {interval.high:.0%})"

    first = [result.freed[0] for result in results if result.freed]
    every = [one for result in results for one in result.freed]
    cells = [name, share(first), share(every), f"{sum(r.moving for r in results)} of {len(results)}"]
    return f"| {' | '.join([*cells, *against(results, keeps)])} |"


def against(results: Sequence[Drive], keeps: Sequence[Drive]) -> tuple[str, str]:
    """Return in words how runs compare with those of ``keeps``, ground by ground; nothing of ``keeps`` itself."""
    if results is keeps:
        return "–", "–"
    pairs = list(zip(results, keeps, strict=True))
    gained, lost, p = mcnemar(*np.array([(a.moving, b.moving) for a, b in pairs], dtype=float).T)
    farther = np.array([a.way - b.way for a, b in pairs])
    found = stats.bootstrap((farther,), np.mean, confidence_level=LEVEL, rng=1, method="percentile")
    low, high = found.confidence_interval
    words = f"{farther.mean():+.2f} m ({low:+.2f} … {high:+.2f})".replace("-", "−")
    return f"{gained} / {lost} (p = {p:.2g})", words


def main() -> None:
    """Run the study and write the page."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--grounds", type=int, default=40)
    parser.add_argument("--duration", type=float, default=25.0, help="simulated seconds of each run")
    options = parser.parse_args()
    seeds = range(1, options.grounds + 1)
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        results = {
            name: list(pool.map(drive, [(*method, seed, options.duration) for seed in seeds], chunksize=4))
            for name, method in METHODS.items()
        }
    lines = LINES + [row(name, found, results[KEEPS]) for name, found in results.items()]
    page = PAGE.read_text(encoding="utf-8")
    before, rest = page.split(BEGIN)
    partial = PAGE.with_suffix(".part")
    partial.write_text(
        "\n".join([before + BEGIN, "", *lines, "", END]) + rest.split(END)[1], encoding="utf-8"
    )
    partial.replace(PAGE)


if __name__ == "__main__":
    main()
