"""Runs → their page: verdicts, tables, events, pictures, traces and playback side by side; imports plots."""

from __future__ import annotations

import math
from collections.abc import Sequence
from string import ascii_uppercase
from typing import Any

import numpy as np

from drivesim.analysis.rows import figure_lines, ledger_rows, wheel_rows
from drivesim.analysis.run import Run
from drivesim.engine.ground_build import GroundArrays
from drivesim.errors import DrivesimError
from drivesim.plots import PICTURES, applicable, draw
from drivesim.plots.files import pixels
from drivesim.report import scenery, series
from drivesim.report.page import render
from drivesim.report.pictures import embedded
from drivesim.report.sound import check_sound, reading
from drivesim.report.told import jumps, told
from drivesim.scenario import to_yaml
from drivesim.units import readable

POINTS = 4000  # of each trace at most
ROOM = 600_000  # numbers in a page, shared by all traces of its runs
MOST = 6  # runs on one page


def run_page(runs: Sequence[Run]) -> str:
    """Return the page of one run, or of several side by side.

    Raises DrivesimError for more than ``MOST``, RunError where a run's data are not as a run has them.
    """
    if not 1 <= len(runs) <= MOST:
        raise DrivesimError(f"a page shows 1 to {MOST} runs, found {len(runs)}; give fewer")
    points = _points(runs)
    letters = ascii_uppercase if len(runs) > 1 else " "
    parts, shown, told_of = [], [], []
    for run, letter in zip(runs, letters, strict=False):
        check_sound(run)
        with reading(run):
            parts.append(_part(run, letter.strip()))
            if parts[-1]["whole"]:
                shown.append(run)
                told_of.append(_data(run, letter.strip(), points))
    same = _same_ground(shown)
    shared = [shown] if same else [[run] for run in shown]
    data = {
        "same_ground": same,
        "channels": series.channels(),
        "conditions": scenery.looks(),
        "grounds": [scenery.ground(own, scenery.MOST_NODES // len(shared)) for own in shared if own],
        "runs": [own | {"ground": 0 if same else i} for i, own in enumerate(told_of)],
    }
    title = runs[0].summary["name"] if len(runs) == 1 else "Runs side by side"
    return render(
        "runs.html.j2",
        data if shown else None,
        title=title,
        parts=parts,
        cautions=_cautions(parts),
        same_ground=same,
    )


def _points(runs: Sequence[Run]) -> int:
    """Return how many points each trace may have, so that all of them have room."""
    channels = series.channels()
    own = sum(channel["wheel"] for channel in channels)
    traces = sum(own * len(run.scenario.rover.wheel_names) + len(channels) - own for run in runs)
    return min(POINTS, ROOM // traces)


def _part(run: Run, letter: str) -> dict[str, Any]:
    """Return what the page says of one run in words and pictures."""
    summary = run.summary
    whole = summary["ending"] != "not_finite"
    events = told(run)
    return {
        "letter": letter,
        "summary": summary,
        "whole": whole,
        "figures": figure_lines(summary) if whole else [],
        "wheels": wheel_rows(summary) if whole else [],
        "ledger": ledger_rows(summary) if whole else [],
        "drawn": readable(summary["ledger"]["drawn"], "J") if whole else "",
        "events": [vars(event) | {"wheel": event.wheel.replace("_", " ")} for event in events.rows],
        "events_left_out": events.count - len(events.rows),
        "pictures": [_picture(run, name) for name in applicable(run)],
        "scenario": to_yaml(run.scenario),
        "versions": ", ".join(f"{name} {version}" for name, version in summary["versions"].items()),
    }


def _cautions(parts: Sequence[dict[str, Any]]) -> list[tuple[str, str]]:
    """Return each caution once, with the letters of the runs it is for: none where it is for all."""
    found: dict[str, list[str]] = {}
    for part in parts:
        for caution in dict.fromkeys(part["summary"]["cautions"]):
            found.setdefault(caution, []).append(part["letter"])
    return [(text, "" if len(on) == len(parts) else " ".join(on)) for text, on in found.items()]


def _picture(run: Run, name: str) -> dict[str, str]:
    return embedded(pixels(draw(run, name)), name, PICTURES[name].meaning)


def _data(run: Run, letter: str, points: int) -> dict[str, Any]:
    """Return what the page's scripts show of one run."""
    even_load = float(run.traces["normal_load"].isel(time=0).mean())
    return {
        "letter": letter,
        "name": run.summary["name"],
        "end": float(run.summary["duration_s"]),
        "even_load": even_load if math.isfinite(even_load) and even_load > 0 else 1.0,  # only a scale
        "wheels": scenery.wheels(run),
        "rows_of_wheels": scenery.rows_of_wheels(run),
        "patches": scenery.patches(run),
        "jumps": jumps(run),
        **series.traces(run, points),
    }


def _same_ground(runs: Sequence[Run]) -> bool:
    """Return whether all ``runs`` are on ground of one shape, friction and soil."""
    return all(_is_same(runs[0].ground, run.ground) for run in runs[1:])


def _is_same(one: GroundArrays, other: GroundArrays) -> bool:
    places = ("x0", "y0", "dx", "dy", "fx0", "fy0", "fdx", "fdy")
    return all(getattr(one, name) == getattr(other, name) for name in places) and all(
        np.array_equal(getattr(one, name), getattr(other, name)) for name in ("heights", "fields")
    )
