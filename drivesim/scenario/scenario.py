"""The whole scenario: rover, ground, drive, commands, and how to record it."""

from __future__ import annotations

from itertools import pairwise
from math import cos, sin
from typing import Self

from pydantic import Field, model_validator

from drivesim.scenario import quantities as q
from drivesim.scenario.drive import Drive
from drivesim.scenario.ground import Ground
from drivesim.scenario.rover import Rover

COLDEST, HOTTEST = -100.0, 250.0  # degC of surroundings for which copper's linear law is meant
MAX_RECORD = 60_000_000  # recorded numbers per run (8 bytes each)


class Command(q.Model):
    """From ``at`` on: a body speed and turn rate, or wheel speeds left and right; reached over ``ramp``."""

    at: q.DurationOrZero
    forward: q.Speed | None = None
    turn: q.TurnRate | None = None  # positive to the left
    left: q.TurnRate | None = None
    right: q.TurnRate | None = None
    ramp: q.DurationOrZero = 0.0

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        body = self.forward is not None or self.turn is not None
        sides = [name for name in ("left", "right") if getattr(self, name) is not None]
        if body == bool(sides):
            found = "both forms" if body else "neither"
            q.refuse(
                [(sides[0] if sides else "", f"found {found}; give forward and/or turn, or left and right")]
            )
        if len(sides) == 1:
            q.refuse([(sides[0], "left and right go together")])
        return self


class Recovery(q.Model):
    """A driver who, when the rover is stuck, backs off and tries again."""

    stuck_for: q.Duration = 2.0
    back_off: q.Duration = 0.5
    speed: q.SpeedLimit = 0.1
    tries: int = Field(default=3, strict=True, ge=1, le=100)


class Link(q.Model):
    """The radio between the driver and the rover."""

    latency: q.DurationOrZero = 0.0


class Start(q.Model):
    """Where the rover stands at first."""

    x: q.Coordinate = 0.0
    y: q.Coordinate = 0.0
    heading: q.Angle = 0.0


class Scenario(q.Model):
    """Everything one run needs; frozen, all numbers in SI."""

    name: str = Field(min_length=1, max_length=120)
    question: str = ""
    rover: Rover
    ground: Ground = Ground()
    drive: Drive
    commands: tuple[Command, ...] = Field(min_length=1, max_length=10_000)
    duration: q.Duration
    seed: int = Field(default=1, strict=True, ge=0, le=2**63)
    start: Start = Start()
    link: Link = Link()
    recovery: Recovery | None = None
    ambient: q.Temperature = 22.0
    gravity: q.Acceleration = 9.81
    record_every: q.Duration | None = None  # default: 10 ms, coarser on long runs
    step: q.Duration | None = None  # default: from the stiffest part of the model

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        names = self.rover.wheel_names
        problems = [
            (
                f"commands.{i}.at",
                f"found {b.at:g} s after {a.at:g} s; commands must come in the order of their times",
            )
            for i, (a, b) in enumerate(pairwise(self.commands), start=1)
            if b.at < a.at
        ]
        if not COLDEST <= self.ambient <= HOTTEST:
            text = f"found {self.ambient:g} degC, allowed: {COLDEST:g} to {HOTTEST:g} degC"
            problems.append(("ambient", text))
        for name in self.drive.overrides:
            if name not in names:
                problems.append((f"drive.overrides.{name}", q.unknown(name, names)))
        problems += self._misplaced_wheels()
        rows = self.duration / self.recording_interval
        size = rows * (21 * len(names) + 20)
        if size > MAX_RECORD:
            text = (
                f"{self.duration:g} s recorded every {self.recording_interval:g} s would need "
                f"{size * 8e-9:.2g} GB, allowed: at most {MAX_RECORD * 8e-9:.2g} GB; record "
                "less often or run shorter"
            )
            problems.append(("record_every", text))
        q.refuse(problems)
        return self

    def _misplaced_wheels(self) -> list[tuple[str, str]]:
        ground = self.ground
        outside = []
        for name in self.rover.wheel_names:
            x, y = self.wheel_start(name)
            if not (-ground.behind < x < ground.length and abs(y) < ground.width / 2):
                outside.append(f"{name} at x = {x:.3g} m, y = {y:.3g} m")
        if not outside:
            return []
        text = (
            f"puts {', '.join(outside[:4])} outside the ground; allowed: x from {-ground.behind:.3g} to "
            f"{ground.length:.3g} m, y within ±{ground.width / 2:.3g} m"
        )
        return [("start", text)]

    def wheel_start(self, name: str) -> tuple[float, float]:
        """Return where wheel ``name`` stands at first: x, y on the ground [m]."""
        at = self.rover.place(name).at
        assert at is not None
        c, s = cos(self.start.heading), sin(self.start.heading)
        return self.start.x + c * at[0] - s * at[1], self.start.y + s * at[0] + c * at[1]

    @property
    def recording_interval(self) -> float:
        """The time between recorded rows [s]."""
        return self.record_every or max(0.01, round(self.duration / 20_000, 3))
