"""The folder of a sweep: finished runs, table, dataset, summary; what is rewritten is replaced whole."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

from drivesim.analysis.files import replaced
from drivesim.errors import RunError
from drivesim.scenario.writing import to_yaml
from drivesim.study.sweep_result import Sweep
from drivesim.study.sweep_setup import Setup

RUNS = "runs-{}.jsonl"  # the stamp of the code that did them
TABLE, DATASET, SUMMARY, SENSITIVITY = "table.csv", "table.nc", "summary.json", "sensitivity.csv"
STUDY, SCENARIO = "study.yaml", "scenario.yaml"
DIGITS = "%.9g"  # of numbers in tables


def open_folder(folder: Path) -> None:
    """Make ``folder``, or make sure that it is one of a sweep.  Raises RunError."""
    if folder.exists() and not folder.is_dir():
        raise RunError(f"{folder} is a file; give another folder")
    if folder.exists() and any(folder.iterdir()) and not any(folder.glob(RUNS.format("*"))):
        raise RunError(f"{folder} exists and is not a sweep of drivesim; give another --output")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RunError(f"{folder}: cannot be written ({error.strerror})") from None


def runs_file(folder: Path, stamp: str) -> Path:
    """Return the file that holds the runs done by the code of this ``stamp``."""
    return folder / RUNS.format(stamp)


def runs_of_other_code(folder: Path, stamp: str) -> list[Path]:
    """Return the files of runs that other code did; they are left alone and never mixed in."""
    return sorted(path for path in folder.glob(RUNS.format("*")) if path != runs_file(folder, stamp))


def write_sweep(sweep: Sweep, setup: Setup, folder: Path) -> None:
    """Write what a sweep found into ``folder``, with a copy of the file that asked for it."""
    replaced(folder / TABLE, lambda path: sweep.table.to_csv(path, index=False, float_format=DIGITS))
    replaced(
        folder / SENSITIVITY, lambda path: sweep.sensitivity.to_csv(path, index=False, float_format=DIGITS)
    )
    replaced(folder / DATASET, lambda path: sweep.dataset.to_netcdf(path, engine="scipy"))
    text = json.dumps(sweep.summary, indent=2, ensure_ascii=False) + "\n"
    replaced(folder / SUMMARY, lambda path: path.write_text(text, encoding="utf-8"))
    nominal = to_yaml(setup.template.scenario)
    replaced(folder / SCENARIO, lambda path: path.write_text(nominal, encoding="utf-8"))
    source = setup.source
    if source is not None:
        replaced(folder / STUDY, lambda path: shutil.copyfile(source, path))
