"""From a tune file to what is searched: space, start, rules, linear loop; imports scenario, space and rules."""

from __future__ import annotations

import math
from dataclasses import dataclass

from drivesim import units
from drivesim.errors import ScenarioError, UnitError
from drivesim.scenario.rules import full_amplitude
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.study import Loaded
from drivesim.scenario.tune_file import GainBounds, TuneFile
from drivesim.tuning.plant import Loop, linear_loop, top_speed
from drivesim.tuning.rule import BASE, Gains, rules
from drivesim.tuning.space import Gain, Point, Space, bounds, default_paths, known_sizes, start_of

SHIPPED, TUNED = "shipped", "tuned"
WHOLE, REAL = "tuned, whole numbers", "tuned, real numbers"  # of which one is how the scenario counts anyway


@dataclass(frozen=True)
class Problem:
    """What is tuned: the study, the space of gains, the gains as they are, and those of the rules."""

    loaded: Loaded[TuneFile]
    space: Space
    linear: Loop | None
    start: Point
    by_rule: dict[str, Point]

    @property
    def study(self) -> TuneFile:
        """The tune file's model."""
        return self.loaded.study

    def scenario(self, point: Point, more: dict[str, object] | None = None) -> Scenario:
        """Return the scenario with these gains, and with ``more`` changes.  Raises ScenarioError."""
        return self.loaded.template.scenario_with({**self.space.changes(point), **(more or {})})

    def loop_gains(self, point: Point) -> tuple[float, float] | None:
        """Return (kp, ki) of the linear loop with these gains; None where there is no loop."""
        if self.linear is None:
            return None
        changes, number = self.space.changes(point), self.loaded.template.number
        return tuple(  # type: ignore[return-value]
            changes[path] if path in changes else number(path)
            for path in (self.linear.proportional, self.linear.integral)
        )


def problem_of(loaded: Loaded[TuneFile]) -> Problem:
    """Return what ``loaded`` asks for.  Raises ScenarioError with file and line."""
    scenario, study = loaded.template.scenario, loaded.study
    given = study.gains or {path: GainBounds() for path in default_paths(scenario)}
    linear = linear_loop(scenario)
    found = rules(scenario, linear)
    gains = []
    for path, own in given.items():
        try:
            gains.append(_gain(loaded, path, own, found))
        except (ScenarioError, UnitError) as error:
            where = ("gains", path) if study.gains else ()
            loaded.refuse(where, str(error).removeprefix(f"gains.{path}: ").removeprefix(f"{path}: "))
    for path in study.spread:
        if path in given:
            loaded.refuse(("spread", path), "is tuned, and has no tolerance; tune it or draw it, not both")
    if top_speed(scenario) == 0.0:
        loaded.refuse(("scenario",), "commands no way; gains are tuned by how the rover drives")
    space = Space(tuple(gains))
    start = start_of(loaded.template, space.paths)
    by_rule = {name: space.with_rule(start, rule) for name, rule in found.items()}
    by_rule = {name: point for name, point in by_rule.items() if point != start}
    if study.require.margins and linear is None and "require" in study.model_fields_set:
        loaded.refuse(("require",), "asks for margins, and this drive has no loop that feeds a speed back")
    problem = Problem(loaded, space, linear, start, by_rule)
    for share in (
        (0.0, 1.0) if study.gains else ()
    ):  # what the bounds written may not be is told before the search
        point = tuple(gain.at(share) for gain in space.gains)
        try:
            problem.scenario(point)
        except ScenarioError as error:
            loaded.refuse(("gains",), f"with {described(space, point)}: {error.problems[0]}")
    return problem


def _gain(loaded: Loaded[TuneFile], path: str, own: GainBounds, found: dict[str, Gains]) -> Gain:
    template = loaded.template
    if not path.startswith("drive."):
        raise ScenarioError("is no gain; allowed: numbers below drive, such as drive.proportional")
    value, unit = template.number(path), template.unit(path)
    if template.whole(path):
        raise ScenarioError("is a count, and no gain; compare or sweep it")
    if own.between is None:
        most = full_amplitude(template.scenario.rover) if path == BASE else math.inf
        low, high = bounds(path, known_sizes(path, value, found), own.scale, most)
    else:
        low, high = (units.parse(end, unit) for end in own.between)
        if low >= high:
            raise ScenarioError(
                f"between: found {own.between[0]} to {own.between[1]}; the first must be the smaller one"
            )
        if low <= 0 and own.scale == "log":
            raise ScenarioError(
                "between: a logarithmic scale begins above zero; write scale: linear, or a higher bound"
            )
    return Gain(path, unit, low, high, own.scale)


def described(space: Space, point: Point) -> str:
    """Return gains in words: name, value and unit of each."""
    return ", ".join(
        f"{gain.path.removeprefix('drive.')} {units.readable(value, gain.unit, 4)}"
        for gain, value in zip(space.gains, point, strict=True)
    )
