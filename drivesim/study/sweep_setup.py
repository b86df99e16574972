"""From a STUDY.yaml to what is to be driven: axes in SI, design, parts drawn, bars; imports scenario and study."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from drivesim.analysis.headlines import Requirement
from drivesim.analysis.measures import MEASURES
from drivesim.errors import DrivesimError, ScenarioError
from drivesim.scenario import quantities as q
from drivesim.scenario.loader import load_scenario
from drivesim.scenario.problems import Path
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.study import Loaded, load_study, study_of
from drivesim.scenario.sweep_file import SweepFile
from drivesim.scenario.variation import Template
from drivesim.study import sweep_axes
from drivesim.study.draws import Changes, draw
from drivesim.study.keys import TOGETHER
from drivesim.study.sweep_axes import Design
from drivesim.study.sweep_reading import AxisMaker, is_labelled
from drivesim.study.sweep_result import SUCCESS

#: columns of the results; an axis of such a name is called "NAME axis" there
TAKEN = {"design", "ground", "refused", SUCCESS, *MEASURES}


@dataclass(frozen=True)
class Setup:
    """All that a sweep drives: each design over each ground, with the parts drawn for that ground."""

    study: SweepFile
    template: Template
    design: Design
    parts: list[Changes]
    bars: tuple[Requirement, ...]
    source: str | None = None  # the file that asked for it

    @cached_property
    def seeds(self) -> list[int]:
        """The seeds of the grounds, the same for every design."""
        return [self.study.first_ground + j for j in range(self.study.grounds)]

    def runs(self) -> Iterator[tuple[int, int, Scenario | str]]:
        """Give design, place of the ground and scenario of every run; the reason in place of one that is refused.

        The scenario still has the seed of the first ground.  Some designs at a time over one ground after the other,
        so that few scenarios and grounds are held at once; without parts to draw a design's scenario is made once.
        """
        drawn = any(self.parts)
        for first in range(0, len(self.design), TOGETHER):
            some = range(first, min(first + TOGETHER, len(self.design)))
            alike = {} if drawn else {i: self._made(self.design.changes(i)) for i in some}
            for j in range(len(self.seeds)):
                for i in some:
                    yield i, j, self._made(self.design.changes(i) | self.parts[j]) if drawn else alike[i]

    def _made(self, changes: dict[str, Any]) -> Scenario | str:
        try:
            return self.template.scenario_with(changes, seed=self.seeds[0])
        except ScenarioError as error:
            return "; ".join(error.problems)


def load_sweep(path: str | os.PathLike[str]) -> Setup:
    """Return what the study in the YAML file ``path`` asks for.  Raises ScenarioError, a line for each mistake."""
    return replace(setup(load_study(path, SweepFile)), source=os.fsdecode(path))


def sweep_of(study: Mapping[str, Any]) -> Setup:
    """Return what the keys of a study ask for; ``scenario`` is a Scenario or the name of its file."""
    fields = dict(study)
    scenario = fields.pop("scenario", None)
    if not isinstance(scenario, Scenario):
        scenario = load_scenario(scenario)
    return setup(study_of(scenario, SweepFile, **fields))


def setup(loaded: Loaded[SweepFile]) -> Setup:
    """Return what a study asks for.  Raises ScenarioError with file and line."""
    study = loaded.study
    axes = [AxisMaker(loaded, name, written).axis() for name, written in study.axes.items()]
    axes = [replace(axis, name=f"{axis.name} axis") if axis.name in TAKEN else axis for axis in axes]
    if study.design == "grid":
        design = sweep_axes.grid(axes)
    else:
        design = sweep_axes.sampled(
            study.design, axes, study.designs or 0, study.seed, sensitivity=study.sensitivity
        )
    _refuse_clashes(loaded)
    parts = draw(loaded.tolerances, study.grounds, study.seed)
    return Setup(study, loaded.template, design, parts, _bars(loaded))


def _bars(loaded: Loaded[SweepFile]) -> tuple[Requirement, ...]:
    bars, known = [], [SUCCESS, *MEASURES]
    for i, text in enumerate(loaded.study.success):
        try:
            bars.append(Requirement.parse(text, "success"))
        except DrivesimError as error:
            loaded.refuse(_entry(loaded, "success", i), str(error).removeprefix("success: "))
    for i, name in enumerate(loaded.study.measures):
        if name not in known:
            loaded.refuse(_entry(loaded, "measures", i), q.unknown(name, known))
    return tuple(bars)


def _entry(loaded: Loaded[SweepFile], key: str, i: int) -> Path:
    """Return the place of one entry of a list, which may be written as a word alone."""
    node = loaded.tree.child(key)
    return (key, i) if node is not None and isinstance(node.value, list) else (key,)


def _refuse_clashes(loaded: Loaded[SweepFile]) -> None:
    """Refuse paths that two axes set, or an axis and a tolerance: the one would undo the other."""
    taken: dict[str, str] = {}
    for name, written in loaded.study.axes.items():
        own = _paths(name, written)
        for i, path in enumerate(own):
            if any(_overlap(path, other) for other in own[:i]):
                loaded.refuse(("axes", name), f"sets {path} twice")
            for other, owner in taken.items():
                if _overlap(path, other):
                    loaded.refuse(("axes", name), f"sets {path}, and the axis {owner} sets {other}")
        taken |= dict.fromkeys(own, name)
    for path in [*loaded.study.spread, *loaded.tolerances]:
        for other, owner in taken.items():
            if _overlap(path, other):
                where = path if path in loaded.study.spread else next(iter(loaded.study.spread))
                loaded.refuse(
                    ("spread", where), f"the axis {owner} sets {other}; a part is either drawn or set"
                )
    for name in loaded.study.axes:
        if not name.strip():
            loaded.refuse(("axes", name), "an axis needs a name")


def _paths(name: str, written: Any) -> list[str]:
    listed = [value["change"] for value in written.values or () if is_labelled(value) and "change" in value]
    if listed:
        return list(dict.fromkeys(path for change in listed if isinstance(change, dict) for path in change))
    return [*(written.paths or (name,)), *written.also]


def _overlap(one: str, other: str) -> bool:
    return f"{one}.".startswith(f"{other}.") or f"{other}.".startswith(f"{one}.")
