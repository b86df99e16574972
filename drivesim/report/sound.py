"""Whether a run's files belong together and hold what its page shows; one line where they do not."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
from jinja2 import UndefinedError

from drivesim.analysis.conditions import CONDITIONS
from drivesim.analysis.run import Run
from drivesim.engine.channels import BODY_CHANNELS, WHEEL_CHANNELS
from drivesim.errors import RunError

#: what a page takes from a summary by itself, and what it has to be
NEEDED: dict[str, type] = {
    "name": str, "question": str, "verdict": str, "may_help": str, "ending": str, "cautions": list, "wheels": dict,
    "ledger": dict, "step_s": float, "step_reason": str, "seed": int, "versions": dict,
}  # fmt: skip


def check_sound(run: Run) -> None:
    """Raise RunError unless the summary and the traces of ``run`` are as a run has them, and of its scenario."""
    if not isinstance(run.summary, dict):
        raise RunError(f"{_of(run)}: its summary.json is not a summary")
    for key, kind in NEEDED.items():
        if not isinstance(run.summary.get(key), kind):
            raise RunError(f"{_of(run)}: its summary.json has no {key!r}, or not of the kind it has to be")
    end = run.summary.get("duration_s")
    if not isinstance(end, int | float) or not (math.isfinite(end) and end > 0):
        raise RunError(f"{_of(run)}: its summary.json has no 'duration_s' above 0")
    wrong = _wrong_in_traces(run)
    if wrong:
        raise RunError(f"{_of(run)}: its traces.nc does not belong to its scenario.yaml: {wrong}")


@contextmanager
def reading(run: Run) -> Iterator[None]:
    """Turn what an edited summary or table of events leads to into one line."""
    try:
        yield
    except (KeyError, TypeError, ValueError, IndexError, AttributeError, UndefinedError) as error:
        what = f"{type(error).__name__}: {error}"
        raise RunError(
            f"{_of(run)}: its summary.json or events.csv is not as a run writes it ({what})"
        ) from error


def _wrong_in_traces(run: Run) -> str:
    data, sizes = run.traces, run.traces.sizes
    if not {"time", "wheel"} <= set(data.coords) or not sizes.get("time") or data["time"].dims != ("time",):
        return "it has no times or no wheels"
    names = tuple(str(name) for name in np.atleast_1d(data["wheel"].values))
    if names != run.scenario.rover.wheel_names:
        return f"its wheels are {', '.join(names)}, those of the rover {', '.join(run.scenario.rover.wheel_names)}"
    tables = (("time", "wheel"), WHEEL_CHANNELS), (("time",), BODY_CHANNELS)
    for dims, table in tables:
        for channel in table:
            if channel.name not in data or data[channel.name].dims != dims:
                return f"{channel.name!r} is missing, or not one value for each {' and '.join(dims)}"
            if data[channel.name].dtype.kind not in "fiu":
                return f"{channel.name!r} is not numbers"
    return _wrong_in_codes(data)


def _wrong_in_codes(data: Any) -> str:
    if "condition" not in data or data["condition"].dims != ("time", "wheel"):
        return "'condition' is missing"
    codes, time = data["condition"].values, data["time"].values
    if not np.isin(codes, np.arange(len(CONDITIONS))).all():
        return "'condition' has codes that no condition has"
    if time.dtype.kind != "f" or not np.isfinite(time).all() or not (np.diff(time) > 0).all():
        return "its times do not rise"
    interval = data.attrs.get("recording_interval_s")
    return (
        "" if isinstance(interval, int | float) and interval > 0 else "its 'recording_interval_s' is missing"
    )


def _of(run: Run) -> str:
    return f"the run of {str(run.scenario.name)!r} cannot be shown"
