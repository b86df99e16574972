"""``compare``: several cases over the same grounds, with the same parts drawn; imports farm, draws and statistics."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from drivesim.analysis.conditions import CONDITIONS
from drivesim.analysis.headlines import Requirement
from drivesim.analysis.measures import MEASURES, condition_shares, measures
from drivesim.analysis.told import told
from drivesim.engine.build import build
from drivesim.engine.simulate import Recording
from drivesim.errors import DrivesimError, ScenarioError, UnitError
from drivesim.scenario.compare_file import Comparison
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.spread import Tolerance
from drivesim.scenario.study import Loaded, load_study, study_of
from drivesim.scenario.variation import Template
from drivesim.study.compare_result import Compared, result
from drivesim.study.draws import draw
from drivesim.study.farm import GROUNDS, mapped, recorded
from drivesim.study.keys import Keys
from drivesim.study.store import Store

POINTS = 60  # of each way over time
MOVING = "still moving at the end"  # success where no bars are given


class Outcome(NamedTuple):
    """What is kept of one run: its figures, shares of conditions (wheels, conditions), way at ``POINTS`` times [m]."""

    figures: dict[str, float]
    shares: np.ndarray
    way: np.ndarray

    def flat(self) -> dict[str, float]:
        """Return all of it as numbers by name."""
        shares = {f"share {i}": float(value) for i, value in enumerate(self.shares.flat)}
        return self.figures | shares | {f"way {i}": float(value) for i, value in enumerate(self.way)}

    @classmethod
    def of(cls, flat: Any, scenario: Scenario) -> Outcome:
        """Return what ``flat`` gave for a run of ``scenario``."""
        shape = len(scenario.rover.wheel_names), len(CONDITIONS)
        shares = np.array([flat[f"share {i}"] for i in range(shape[0] * shape[1])]).reshape(shape)
        way = np.array([flat[f"way {i}"] for i in range(POINTS)])
        return cls({name: flat[name] for name in MEASURES}, shares, way)


@dataclass(frozen=True)
class Plan:
    """What is to be run: the cases' scenarios, their templates with the parts drawn for each ground, the bars."""

    study: Comparison
    scenarios: dict[str, Scenario]
    parts: dict[str, list[dict[str, float]]]
    bars: tuple[Requirement, ...]

    @property
    def grounds(self) -> range:
        """The seeds driven."""
        return range(self.study.first_ground, self.study.first_ground + self.study.grounds)

    @property
    def runs(self) -> int:
        """How many runs there are."""
        return len(self.scenarios) * self.study.grounds

    @cached_property
    def _templates(self) -> dict[str, Template]:
        return {name: Template(scenario) for name, scenario in self.scenarios.items()}

    def scenario(self, case: str, ground: int) -> Scenario:
        """Return what is run of one case on one ground, with the parts drawn for it."""
        parts = self.parts[case][self.grounds.index(ground)]
        return self._templates[case].scenario_with(parts, seed=ground)


def compare(
    source: str | os.PathLike[str] | Mapping[str, Scenario] | Sequence[Scenario],
    *,
    jobs: int | None = None,
    progress: Callable[[int], None] | None = None,
    **settings: Any,
) -> Compared:
    """Drive every case over the same grounds, and return what differs and how sure that is.

    ``source``: a file with ``cases:``, scenarios by name, or several scenarios.  ``settings``: keys of such a file
    that hold instead of its own: grounds, first_ground, seed, spread, against, success.  ``jobs``: threads [all
    cores].  ``progress`` is called with the number of runs done.  Same input, same result, whatever ``jobs``.
    Raises ScenarioError and DrivesimError for the user's mistakes.
    """
    return run_plan(plan(source, **settings), jobs=jobs, progress=progress)


def plan(source: Any, **settings: Any) -> Plan:
    """Return what ``compare`` runs; all that can be wrong with it is found here."""
    if isinstance(source, str | os.PathLike):
        loaded = load_study(source, Comparison)
        study = _with(loaded, settings)
        scenarios = {name: loaded.case(("cases", name)) for name in study.cases}
        return _planned(Loaded(study, *_rest(loaded)), scenarios)
    scenarios = _named(source)
    first = next(iter(scenarios.values()))
    cases = dict.fromkeys(scenarios)
    return _planned(study_of(first, Comparison, cases=cases, **settings), scenarios)


def run_plan(
    planned: Plan,
    *,
    jobs: int | None = None,
    progress: Callable[[int], None] | None = None,
    unfinished: Path | None = None,
) -> Compared:
    """Run what was planned.

    ``unfinished``: a file that keeps each run as it comes, so that after an interruption only what is missing is run.
    """
    names = list(planned.scenarios)
    items = [(name, seed) for seed in planned.grounds for name in names]
    with _kept(unfinished) as store:
        known = {} if store is None else dict(store.read())

        def work(item: tuple[str, int]) -> tuple[str, Outcome]:
            scenario = planned.scenario(*item)
            key = Keys().of(scenario, item[1]) if store is not None else ""
            found = known.get(bytes.fromhex(key))
            return key, outcome(recorded(scenario)) if found is None else Outcome.of(found, scenario)

        done = []
        for key, one in mapped(work, items, jobs=jobs, progress=progress):
            done.append(one)
            if store is not None and bytes.fromhex(key) not in store.known:
                store.add(key, one.flat())
    by_case = {name: done[i :: len(names)] for i, name in enumerate(names)}
    return result(_dataset(planned, by_case), planned.study, planned.scenarios, planned.bars)


def _kept(unfinished: Path | None) -> AbstractContextManager[Store | None]:
    if unfinished is None:
        return nullcontext()
    unfinished.parent.mkdir(parents=True, exist_ok=True)
    return Store(unfinished)


def outcome(recording: Recording) -> Outcome:
    """Return what is kept of a run."""
    names = recording.model.names
    if recording.time.size == 0:
        nothing = dict.fromkeys(MEASURES, float("nan")) | {"finished": 0.0, "moving": 0.0}
        return Outcome(nothing, np.full((len(names), len(CONDITIONS)), np.nan), np.zeros(POINTS))
    shares = condition_shares(recording)
    way = np.cumsum(told(recording).progress) * recording.interval
    times = np.linspace(0.0, recording.scenario.duration, POINTS)
    return Outcome(
        measures(recording),
        np.array([[shares[f"{wheel} {condition}"] for condition in CONDITIONS] for wheel in names]),
        np.interp(times, recording.time, way, left=0.0),  # where a run ended, the rover is taken to stay
    )


def _dataset(planned: Plan, by_case: Mapping[str, Sequence[Outcome]]) -> xr.Dataset:
    """Return all figures with dims case and ground, units in attrs."""
    first = next(iter(planned.scenarios.values()))
    longest = max(scenario.duration for scenario in planned.scenarios.values())
    variables: dict[str, Any] = {}
    for name, measure in MEASURES.items():
        rows = [[one.figures[name] for one in outcomes] for outcomes in by_case.values()]
        attrs = {"units": measure.unit, "long_name": measure.words}
        variables[name] = (("case", "ground"), np.array(rows), attrs)
    met = [[_met(planned.bars, one.figures) for one in outcomes] for outcomes in by_case.values()]
    words = " and ".join(bar.text for bar in planned.bars) or MOVING
    variables["success"] = (
        ("case", "ground"),
        np.array(met, dtype=float),
        {"units": "1", "long_name": words},
    )
    shares = np.array([[one.shares for one in outcomes] for outcomes in by_case.values()])
    attrs = {"units": "1", "long_name": "share of time in each condition"}
    variables["condition_share"] = (("case", "ground", "wheel", "condition"), shares, attrs)
    ways = np.array([[one.way for one in outcomes] for outcomes in by_case.values()])
    variables["way"] = (
        ("case", "ground", "time"),
        ways,
        {"units": "m", "long_name": MEASURES["progress"].words},
    )
    times = np.linspace(0.0, longest, POINTS)
    return xr.Dataset(
        variables,
        coords={
            "case": list(by_case), "ground": list(planned.grounds), "wheel": list(first.rover.wheel_names),
            "condition": list(CONDITIONS), "time": ("time", times, {"units": "s"}),
        },
        attrs={"title": planned.study.name, "question": planned.study.question},
    )  # fmt: skip


def _met(bars: Sequence[Requirement], figures: Mapping[str, float]) -> float:
    if not bars:
        return figures["moving"]
    return float(figures["finished"] > 0.5 and all(bar.met(figures) for bar in bars))


def _planned(loaded: Loaded[Comparison], scenarios: dict[str, Scenario]) -> Plan:
    study = loaded.study
    first = next(iter(scenarios.values()))
    for name, scenario in scenarios.items():
        if scenario.rover.wheel_names != first.rover.wheel_names:
            loaded.refuse(
                ("cases", name), "has other wheels than the first case, so that nothing can be compared"
            )
        if scenario.duration != first.duration:
            found = f"found {scenario.duration:g} s, and the first case has {first.duration:g} s"
            loaded.refuse(("cases", name), f"duration: {found}; equal times are needed to compare")
    parts = {}
    for name, scenario in scenarios.items():
        template = Template(scenario)
        try:
            tolerances: dict[str, Tolerance] = {}
            for path, spread in study.spread.items():
                tolerances |= spread.tolerances(template, path)
            parts[name] = draw(tolerances, study.grounds, study.seed)
            for changes in _farthest(parts[name]):
                template.scenario_with(changes)
        except (ScenarioError, UnitError) as error:
            loaded.refuse(("spread",), f"case {name}: {error}")
        try:  # what shows only when it is built
            first_run = template.scenario_with(parts[name][0], seed=study.first_ground)
            build(first_run, ground=GROUNDS.of(first_run))
        except ScenarioError as error:
            loaded.refuse(("cases", name), "; ".join(error.problems))
    bars = []
    for i, text in enumerate(study.success):
        try:
            bars.append(Requirement.parse(text, "bar"))
        except DrivesimError as error:
            loaded.refuse(("success", i), str(error).removeprefix("bar: "))
    return Plan(study, scenarios, parts, tuple(bars))


def _farthest(parts: list[dict[str, float]]) -> list[dict[str, float]]:
    """Return the draws that hold the least or the greatest value of a part, and the first: the others lie between."""
    rows = {0}
    for path in parts[0]:
        values = [changes[path] for changes in parts]
        rows |= {values.index(min(values)), values.index(max(values))}
    return [parts[i] for i in sorted(rows)]


def _with(loaded: Loaded[Comparison], settings: Mapping[str, Any]) -> Comparison:
    """Return the study with some keys given otherwise.  Raises ScenarioError."""
    if not settings:
        return loaded.study
    fields = loaded.study.model_dump(exclude_defaults=True, exclude={"scenario"}) | dict(settings)
    return study_of(loaded.template.scenario, Comparison, **fields).study


def _rest(loaded: Loaded[Comparison]) -> tuple[Any, Any, Any, Any]:
    return loaded.template, loaded.tolerances, loaded.tree, loaded.scenario_tree


def _named(source: Mapping[str, Scenario] | Sequence[Scenario]) -> dict[str, Scenario]:
    """Return scenarios by name; those of a list by their own, told apart by numbers where these are the same."""
    if isinstance(source, Mapping):
        found = dict(source)
    else:
        found = {}
        for scenario in source:
            name, number = scenario.name, 1
            while name in found:
                number += 1
                name = f"{scenario.name} ({number})"
            found[name] = scenario
    if len(found) < 2:
        raise DrivesimError(f"compare: found {len(found)} case, needed: at least 2")
    return found
