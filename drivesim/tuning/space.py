"""Which gains are tuned, between which bounds, and points of that space; imports the template, plant and rules."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from drivesim.errors import ScenarioError
from drivesim.scenario.coordination import CrossCoupled, Droop, EqualCurrent, SlipLimited
from drivesim.scenario.drive import FixedVoltage, LockedFrequency, SpeedLoop
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.variation import Template
from drivesim.tuning.rule import BASE, PER_HERTZ, SPEED_VOLTS, Gains

WIDER = 6.0  # the bounds without a word: so many times beyond the gains as they are and those of the rules
DIGITS = 4  # of the gains that are tried: finer differences mean nothing
ENDS = {"drive.coordination.margin": 1.0, "drive.trim_limit": 1.0}  # the most that a gain can mean

Point = tuple[float, ...]  # SI values, in the order of the space's gains


@dataclass(frozen=True)
class Gain:
    """One gain to tune: its dotted path, unit, bounds in SI, and how steps are taken between them."""

    path: str
    unit: str
    low: float
    high: float
    scale: Literal["log", "linear"]

    def at(self, share: float) -> float:
        """Return the value at ``share`` of the way from bound to bound, rounded to a few digits."""
        share = min(1.0, max(0.0, share))
        if self.scale == "log":
            value = self.low * (self.high / self.low) ** share
        else:
            value = self.low + (self.high - self.low) * share
        return min(self.high, max(self.low, float(f"{value:.{DIGITS}g}")))

    def share(self, value: float) -> float:
        """Return the share of the way between the bounds at which ``value`` lies; held between 0 and 1."""
        if self.scale == "log":
            found = math.log(max(value, self.low) / self.low) / math.log(self.high / self.low)
        else:
            found = (value - self.low) / (self.high - self.low)
        return min(1.0, max(0.0, found))


@dataclass(frozen=True)
class Space:
    """All gains that are tuned."""

    gains: tuple[Gain, ...]

    @property
    def paths(self) -> tuple[str, ...]:
        """The gains' dotted paths."""
        return tuple(gain.path for gain in self.gains)

    def point(self, shares: np.ndarray) -> Point:
        """Return the gains at these shares of the way between the bounds."""
        return tuple(gain.at(float(share)) for gain, share in zip(self.gains, shares, strict=True))

    def shares(self, point: Point) -> np.ndarray:
        """Return the shares of the way between the bounds of the gains ``point``."""
        return np.array([gain.share(value) for gain, value in zip(self.gains, point, strict=True)])

    def changes(self, point: Point) -> dict[str, float]:
        """Return what ``point`` changes in the scenario."""
        return dict(zip(self.paths, point, strict=True))

    def holds(self, point: Point) -> bool:
        """Tell whether all gains of ``point`` lie between their bounds, as those of a scenario or a rule need not."""
        return all(gain.low <= value <= gain.high for gain, value in zip(self.gains, point, strict=True))

    def with_rule(self, start: Point, rule: Gains) -> Point:
        """Return ``start`` with the values that a rule gives."""
        return tuple(rule.get(path, value) for path, value in zip(self.paths, start, strict=True))


def default_paths(scenario: Scenario) -> tuple[str, ...]:
    """Return the gains that are tuned where none are named: those of the strategy, and of the host if there is one."""
    drive, host = scenario.drive.all_wheels, scenario.drive.coordination
    match host:
        case EqualCurrent():
            return ("drive.coordination.proportional", "drive.coordination.integral")
        case CrossCoupled():
            more: tuple[str, ...] = ("drive.coordination.gain",)
        case Droop():
            more = ("drive.coordination.per_current",)
        case SlipLimited():
            more = ("drive.coordination.margin",)
        case _:
            more = ()
    match drive:
        case FixedVoltage():
            return (SPEED_VOLTS, *more)
        case LockedFrequency():
            return (BASE, PER_HERTZ)
        case SpeedLoop():
            return ("drive.proportional", "drive.integral", *more)
        case _:
            return ("drive.proportional", "drive.integral", *more)


def bounds(path: str, values: list[float], scale: str, most: float = math.inf) -> tuple[float, float]:
    """Return the bounds around ``values`` (the gain as it is and by the rules); ``most``: no more can be meant.

    Raises ScenarioError where nothing tells the gain's size.
    """
    known = [value for value in values if value > 0]
    if not known:
        raise ScenarioError(
            f"gains.{path}: is zero in the scenario and no rule gives it a size; write its bounds: between: [low, high]"
        )
    high = min(WIDER * max(known), ENDS.get(path, math.inf), most)
    return (min(known) / WIDER if scale == "log" else 0.0), high


def start_of(template: Template, paths: tuple[str, ...]) -> Point:
    """Return the gains as the scenario has them.  Raises ScenarioError for a path without a number."""
    return tuple(template.number(path) for path in paths)


def known_sizes(path: str, start: float, rules: Mapping[str, Gains]) -> list[float]:
    """Return all values of a gain that are known before the search."""
    return [start, *(gains[path] for gains in rules.values() if path in gains)]
