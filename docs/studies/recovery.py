"""The study behind docs/recovery.md: how often does a driver's try free a rover that is stuck on rubble?

    python docs/studies/recovery.py [--grounds 40]

Writes the table between the markers of docs/recovery.md.
"""

from __future__ import annotations

import argparse
import os
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import yaml
from scipy import stats

from drivesim import scenario_from_text, simulate

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "recovery.md"
BEGIN, END = "<!-- begin table -->", "<!-- end table -->"
METHODS = {
    "back off and try again": ["back_off"],
    "rock": ["rock"],
    "full throttle": ["full_throttle"],
    "rock, full throttle, back off in turn": ["rock", "full_throttle", "back_off"],
}
TRIES = 3


def drive(job: tuple[list[str], int, float]) -> tuple[list[bool], bool]:
    """Return of one run which judged tries freed the rover, and whether it was still moving at the end."""
    methods, seed, duration = job
    recovery = {
        "stuck_for": "1.2 s",
        "tries": TRIES,
        "method": methods,
        "back_off": "0.8 s",
        "speed": "0.15 m/s",
        "throttle": 2,
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
    return freed, "stuck at" not in run.verdict


def row(name: str, results: list[tuple[list[bool], bool]]) -> str:
    """Return a table's row: first tries and all tries that worked with Wilson intervals, and the runs' ends."""

    def share(outcomes: list[bool]) -> str:
        if not outcomes:
            return "–"
        interval = stats.binomtest(sum(outcomes), len(outcomes)).proportion_ci(method="wilson")
        return f"{sum(outcomes)} of {len(outcomes)} ({interval.low:.0%} … {interval.high:.0%})"

    first = [freed[0] for freed, _ in results if freed]
    every = [one for freed, _ in results for one in freed]
    moving = sum(going for _, going in results)
    return f"| {name} | {share(first)} | {share(every)} | {moving} of {len(results)} |"


def main() -> None:
    """Run the study and write the page."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--grounds", type=int, default=40)
    parser.add_argument("--duration", type=float, default=25.0, help="simulated seconds of each run")
    options = parser.parse_args()
    seeds = range(1, options.grounds + 1)
    lines = [
        "| method | first tries that freed it | all tries | still moving at the end |",
        "| --- | --- | --- | --- |",
    ]
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for name, methods in METHODS.items():
            results = list(
                pool.map(drive, [(methods, seed, options.duration) for seed in seeds], chunksize=4)
            )
            lines.append(row(name, results))
    page = PAGE.read_text(encoding="utf-8")
    before, rest = page.split(BEGIN)
    partial = PAGE.with_suffix(".part")
    partial.write_text(
        "\n".join([before + BEGIN, "", *lines, "", END]) + rest.split(END)[1], encoding="utf-8"
    )
    partial.replace(PAGE)


if __name__ == "__main__":
    main()
