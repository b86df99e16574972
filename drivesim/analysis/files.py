"""A run's folder: resolved scenario, summary, traces, events; written whole or not at all."""

from __future__ import annotations

import contextlib
import csv
import json
import os
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

import xarray as xr

from drivesim.analysis.run import Run
from drivesim.engine.build import build_scenario_ground
from drivesim.engine.timeline import Event
from drivesim.errors import RunError
from drivesim.scenario import load_scenario, to_yaml
from drivesim.scenario.scenario import Scenario

SUMMARY, SCENARIO, TRACES, EVENTS = "summary.json", "scenario.yaml", "traces.nc", "events.csv"


def free_folder(wanted: Path) -> Path:
    """Return ``wanted``, or the first of wanted-2, wanted-3 … that does not exist yet."""
    folder, number = wanted, 1
    while folder.exists():
        number += 1
        folder = wanted.with_name(f"{wanted.name}-{number}")
    return folder


def check_target(folder: Path, force: bool) -> None:
    """Raise RunError unless ``folder`` can be written: new, or an older run that may be replaced."""
    if not folder.exists():
        return
    if not force:
        raise RunError(f"{folder} exists already; give another --output, or --force to replace it")
    if not (folder / SUMMARY).is_file():
        raise RunError(f"{folder} exists and is not a run of drivesim; it is left alone even with --force")


@contextlib.contextmanager
def writing(folder: Path, *, force: bool = False) -> Iterator[Path]:
    """Give a folder to fill, and put it in place of ``folder`` when all went well; otherwise nothing is left."""
    check_target(folder, force)
    folder = Path(os.path.realpath(folder))  # also where it is the present folder, or a link to one
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        partial = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except OSError as error:
        raise RunError(f"{folder}: cannot be written ({error.strerror})") from None
    try:
        os.chmod(partial, 0o755)
        yield partial
        check_target(folder, force)
        _put_in_place(partial, folder)
    finally:
        shutil.rmtree(partial, ignore_errors=True)


def _put_in_place(partial: Path, folder: Path) -> None:
    """Rename ``partial`` to ``folder``; an older run there goes only once the new one is in its place."""
    old = partial.with_name(f"{partial.name}-old")
    try:
        if folder.exists():
            os.replace(folder, old)
        os.replace(partial, folder)
    except OSError as error:
        if old.exists():
            os.replace(old, folder)
        raise RunError(f"{folder}: cannot be replaced ({error.strerror})") from None
    shutil.rmtree(old, ignore_errors=True)


def replaced(path: Path, write: Callable[[Path], object]) -> None:
    """Put what ``write`` makes in the place of ``path``, whole or not at all."""
    partial = path.with_name(f".{path.name}.part")
    try:
        write(partial)
        os.replace(partial, path)
    finally:
        partial.unlink(missing_ok=True)


def write_run(run: Run, folder: Path, *, csv_traces: bool = False) -> None:
    """Write the run's data into an existing ``folder``; ``csv_traces`` adds traces.csv."""
    (folder / SCENARIO).write_text(to_yaml(_with_own_files(run, folder)), encoding="utf-8")
    (folder / SUMMARY).write_text(
        json.dumps(run.summary, indent=2, ensure_ascii=False) + "\n", encoding="utf-8"
    )
    run.traces.to_netcdf(folder / TRACES, engine="scipy")
    with (folder / EVENTS).open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["time_s", "kind", "wheel", "cause", "effect", "since_s"])
        writer.writerows(
            [_seconds(e), e.kind, e.wheel, e.cause, e.effect, "" if e.ends is None else _seconds(e.ends)]
            for e in run.events
        )
    if csv_traces:
        write_table(run.traces, folder / "traces.csv", "time")


def read_run(folder: Path) -> Run:
    """Read a run's folder back; raises RunError where it is not one, ScenarioError where its scenario was edited."""
    try:
        summary = json.loads((folder / SUMMARY).read_text(encoding="utf-8"))
        with xr.open_dataset(folder / TRACES, engine="scipy", decode_timedelta=False) as opened:
            traces = opened.load()
        with (folder / EVENTS).open(newline="", encoding="utf-8") as file:
            events = _events(csv.DictReader(file))
        traces["wheel"] = traces["wheel"].astype(str)
    except FileNotFoundError as error:
        raise RunError(f"{folder} is not a run's folder: {Path(error.filename).name} is missing") from None
    except (
        OSError,
        ValueError,
        LookupError,
        TypeError,
        ArithmeticError,
        AssertionError,
        MemoryError,
    ) as error:
        told = str(error).strip().partition("\n")[0]  # the reader of traces may say more than a line
        raise RunError(f"{folder}: a file of this run cannot be read ({told})") from None
    scenario = load_scenario(folder / SCENARIO)
    return Run(scenario, traces, summary, events, build_scenario_ground(scenario))


def _seconds(event: Event) -> str:
    return f"{event.time:.6g}"


def _events(rows: Iterable[dict[str, str]]) -> list[Event]:
    """Return the events of a table; what an event ends is the first one of its kind, wheel and begin still open."""
    events, opened = [], dict[tuple[str, str, str], list[Event]]()
    for r in rows:
        same = opened.get((r["kind"], r["wheel"], r["since_s"]), [])
        ends = same.pop(0) if same else None
        events.append(Event(float(r["time_s"]), r["kind"], r["cause"], r["effect"], r["wheel"], ends))
        if ends is None:
            opened.setdefault((r["kind"], r["wheel"], r["time_s"]), []).append(events[-1])
    return events


def _with_own_files(run: Run, folder: Path) -> Scenario:
    """Copy the ground's own files into ``folder`` and return the scenario that names the copies."""
    features = []
    for number, feature in enumerate(run.scenario.ground.features):
        source = getattr(feature, "file", None)
        if source is not None:
            name = f"ground_{number}{Path(source).suffix}"
            shutil.copyfile(source, folder / name)
            feature = feature.model_copy(update={"file": name})
        features.append(feature)
    ground = run.scenario.ground.model_copy(update={"features": tuple(features)})
    return run.scenario.model_copy(update={"ground": ground})


def write_table(data: xr.Dataset, path: Path, along: str) -> None:
    """Write a dataset as one table: a row a value of ``along``, a column a channel and wheel, units in the header."""
    columns = [(f"{along} [{data[along].attrs['units']}]", data[along].values)]
    for name, channel in data.data_vars.items():
        unit = f" [{channel.attrs['units']}]" if "units" in channel.attrs else ""
        if "wheel" in channel.dims:
            columns += [(f"{name} {w}{unit}", channel.sel(wheel=w).values) for w in data["wheel"].values]
        else:
            columns.append((f"{name}{unit}", channel.values))
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow([title for title, _ in columns])
        writer.writerows(
            [f"{value:.9g}" for value in row] for row in zip(*(v for _, v in columns), strict=True)
        )
