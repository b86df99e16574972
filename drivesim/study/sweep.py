"""``sweep``: many designs of one scenario over the same grounds; the entry for programs and the command line alike."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from drivesim.analysis.cautions import ALWAYS
from drivesim.analysis.measures import MEASURES
from drivesim.errors import ScenarioError
from drivesim.study import sweep_result, sweep_words
from drivesim.study.keys import stamp
from drivesim.study.store import Store
from drivesim.study.sweep_files import open_folder, runs_file, runs_of_other_code, write_sweep
from drivesim.study.sweep_result import SUCCESS, Outcomes, Sweep
from drivesim.study.sweep_runs import Plan, Progress, Runner, collected, drive, on_threads
from drivesim.study.sweep_setup import Setup, load_sweep, sweep_of

__all__ = ["Sweep", "sweep"]


def sweep(
    study: str | os.PathLike[str] | Mapping[str, Any] | Setup,
    *,
    folder: str | os.PathLike[str] | None = None,
    jobs: int | None = None,
    cluster: str | None = None,
    progress: Progress | None = None,
) -> Sweep:
    """Drive every design of ``study`` (a STUDY.yaml, or its keys) over its grounds, and work out what that means.

    ``folder``: where finished runs are kept, so that the same call goes on after a kill, and where table, dataset and
    summary are written; without it nothing is left on disk.  ``jobs``: threads [all cores].  ``cluster``: address of a
    dask.distributed scheduler to use instead; the results are the same.  ``progress`` is called with the runs done and
    the runs in all.  Raises ScenarioError for mistakes in the study, RunError for a folder that cannot be used.
    """
    setup = (
        study
        if isinstance(study, Setup)
        else sweep_of(study)
        if isinstance(study, Mapping)
        else load_sweep(study)
    )
    with _home(folder) as home, _runner(cluster, jobs) as runner, Store(runs_file(home, stamp())) as store:
        plan = drive(setup, store, runner, progress)
        found = replace(results(setup, collected(setup, store, plan)), notes=_notes(home, store, plan))
        if folder is not None:
            write_sweep(found, setup, home)
    return found


@contextmanager
def _home(folder: str | os.PathLike[str] | None) -> Iterator[Path]:
    if folder is not None:
        open_folder(Path(folder))
        yield Path(folder)
        return
    with tempfile.TemporaryDirectory(prefix="drivesim-sweep-") as name:
        yield Path(name)


@contextmanager
def _runner(cluster: str | None, jobs: int | None) -> Iterator[Runner]:
    if cluster is None:
        yield on_threads(jobs)
        return
    from drivesim.study.sweep_cluster import on_cluster

    with on_cluster(cluster) as runner:
        yield runner


def _notes(home: Path, store: Store, plan: Plan) -> tuple[str, ...]:
    """Return what was done now, what was there, and what of the folder was not used."""
    notes = [f"{plan.done} runs done now, {plan.kept} there already"]
    if plan.refused:
        notes.append(f"{len(plan.refused)} refused")
    if store.dropped:
        notes.append(f"{store.dropped} damaged line{'s' * (store.dropped > 1)} of {store.path.name} not used")
    others = runs_of_other_code(home, stamp())
    if others:
        notes.append(f"runs that other code did are not used: {', '.join(path.name for path in others)}")
    return tuple(notes)


def results(setup: Setup, outcomes: Outcomes) -> Sweep:
    """Return what all runs of ``setup`` say.  Raises ScenarioError where not one of them could be made."""
    design, study = setup.design, setup.study
    if len(outcomes.refused) == outcomes.values[..., 0].size:
        reason = next(iter(outcomes.refused.values()))
        raise ScenarioError(f"{study.name}: not one design can be driven; the first is refused: {reason}")
    success = sweep_result.met(outcomes, setup.bars)
    data = sweep_result.dataset(design, setup.seeds, outcomes, success)
    mapped = tuple(dict.fromkeys(study.measures))
    found = sweep_result.sensitivities(design, data, (*mapped, SUCCESS) if SUCCESS not in mapped else mapped)
    means = {
        name: sweep_result.mean_of_known(values)
        for name, values in [
            (SUCCESS, success), *((name, outcomes.values[..., i]) for i, name in enumerate(MEASURES))
        ]
    }  # fmt: skip
    bars = [bar.text for bar in setup.bars]
    leading = sweep_words.leading_measure(mapped, success)
    summary = {
        "name": study.name,
        "question": study.question,
        "verdict": sweep_words.verdict(design, success, bars, found, leading, len(outcomes.refused)),
        "scenario": setup.template.scenario.name,
        "design": design.kind,
        "success": bars,
        "mapped": list(mapped),
    } | sweep_words.summarise(design, success, means, outcomes.refused)
    summary["sensitivity"] = [
        {key: (None if isinstance(value, float) and np.isnan(value) else value) for key, value in row.items()}
        for row in found.to_dict("records")
    ]
    summary["seeds"] = {"first_ground": study.first_ground, "design_and_parts": study.seed}
    summary["sources"] = stamp()
    summary["cautions"] = [ALWAYS]
    return Sweep(
        study.name,
        design,
        data,
        sweep_result.table(design, setup.seeds, outcomes, success),
        found,
        summary,
        mapped,
    )
