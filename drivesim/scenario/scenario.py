"""The whole scenario: rover, ground, drive, commands, and how to record it."""

from __future__ import annotations

from itertools import pairwise
from math import cos, sin
from typing import Annotated, Any, Literal, Self

from pydantic import Field, WithJsonSchema, field_validator, model_validator

from drivesim.scenario import quantities as q
from drivesim.scenario.drive import Drive
from drivesim.scenario.events import Event
from drivesim.scenario.ground import Ground
from drivesim.scenario.rover import Rover
from drivesim.scenario.rules import full_amplitude, problems_between

LEAST_WARM = 0.05  # of the resistance at 20 degC
COLDEST, HOTTEST = -100.0, 250.0  # degC of surroundings for which copper's linear law is meant
Method = Literal["back_off", "rock", "full_throttle"]
METHODS = ("back_off", "rock", "full_throttle")
_METHOD_SCHEMA = {"enum": list(METHODS), "type": "string"}
_METHODS_SCHEMA = {"type": "array", "items": _METHOD_SCHEMA, "minItems": 1, "maxItems": 20}
RECORDED_OF_A_WHEEL, RECORDED_OF_THE_BODY = 28, 18  # numbers a row, as in the engine's channels
MAX_RECORD = 60_000_000  # recorded numbers per run (8 bytes each)


class Command(q.Model):
    """From ``at`` on: a body speed and turn rate, or wheel speeds left and right; reached over ``ramp``."""

    at: q.DurationOrZero
    """From when on it holds."""
    forward: q.Speed | None = None
    """Speed ahead; goes with turn, or alone."""
    turn: q.TurnRate | None = None
    """Turn rate of the rover, positive to the left."""
    left: q.TurnRate | None = None
    """Speed of the left wheels; goes with right, instead of forward and turn."""
    right: q.TurnRate | None = None
    """Speed of the right wheels."""
    ramp: q.DurationOrZero = 0.0
    """Time over which it is reached."""

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
    """A driver who, when the rover is stuck, tries to free it; the methods take turns."""

    stuck_for: q.Duration = 2.0
    """Time that it must be stuck before the driver tries."""
    back_off: q.Duration = 0.5
    """Time of driving backwards."""
    speed: q.SpeedLimit = 0.1
    """Speed of backing off and rocking."""
    tries: int = Field(default=3, strict=True, ge=1, le=100)
    """How often the driver tries at most."""
    method: Annotated[
        tuple[Method, ...],
        Field(min_length=1, max_length=20),
        WithJsonSchema({"anyOf": [_METHOD_SCHEMA, _METHODS_SCHEMA]}),
    ] = ("back_off",)
    """What is tried, or several in turn."""
    rock_period: q.Duration = 0.4
    """Time of one to and fro."""
    rocks: int = Field(default=4, strict=True, ge=1, le=100)
    """How often it rocks in a try."""
    throttle: q.Ratio = 2.0
    """full_throttle: multiple of the command."""
    success: q.Length = 0.05
    """Way from where it was stuck, until twice stuck_for after a try, that counts as freed."""

    @field_validator("method", mode="before")
    @classmethod
    def _one_or_more(cls, value: Any) -> Any:
        """Take a single word for a list of one."""
        if isinstance(value, str) and value not in METHODS:
            raise ValueError(q.unknown(value, METHODS))
        return (value,) if isinstance(value, str) else value


class Link(q.Model):
    """The radio between the driver and the rover, and how steady the driver's hand is."""

    latency: q.DurationOrZero = 0.0
    """Time that every message needs."""
    jitter: q.DurationOrZero = 0.0
    """Greatest extra time, drawn evenly for each message."""
    every: q.Duration = 0.02
    """How often the sender repeats its command."""
    loss: q.ShareBelowOne = 0.0
    """Share of the messages that are lost."""
    fail_safe: q.Duration | None = None
    """Silence after which the rover stops; without it it goes on."""
    command_noise: q.ShareOrZero = 0.0
    """Unsteadiness of the driver's hand: standard deviation as a share of the command."""
    noise_every: q.Duration = 0.1
    """How often that is drawn anew."""

    @model_validator(mode="after")
    def _heard_often_enough(self) -> Self:
        if self.fail_safe is not None and self.fail_safe <= self.every:
            text = f"found {self.fail_safe:g} s, allowed: more than every ({self.every:g} s)"
            q.refuse([("fail_safe", text)])
        return self


class Start(q.Model):
    """Where the rover stands at first."""

    x: q.Coordinate = 0.0
    """Where the frame's origin stands, along the way."""
    y: q.Coordinate = 0.0
    """Where it stands, across; positive is left."""
    heading: q.Angle = 0.0
    """Where it heads, positive to the left."""
    rotors: Literal["random", "aligned"] = "random"
    """Angles of the rotors: from the seed, or all aligned."""


class Scenario(q.Model):
    """Everything one run needs; frozen, all numbers in SI."""

    name: str = Field(min_length=1, max_length=120)
    """Words for it, in results."""
    question: str = ""
    """What it asks, printed with the verdict."""
    rover: Rover
    """The rover: a mapping, or the name of a file."""
    ground: Ground = Ground()
    """The ground: a mapping, or the name of a file."""
    drive: Drive
    """The drive: a mapping, or the name of a file."""
    commands: tuple[Command, ...] = Field(min_length=1, max_length=10_000)
    """What the driver wants, in the order of time."""
    duration: q.Duration
    """How long the run lasts."""
    seed: int = Field(default=1, strict=True, ge=0, le=2**63)
    """Seed of everything random."""
    start: Start = Start()
    """Where the rover stands at first."""
    link: Link = Link()
    """The radio."""
    recovery: Recovery | None = None
    """What a driver tries when it is stuck; without it nothing."""
    events: tuple[Event, ...] = Field(default=(), max_length=1000)
    """What goes wrong or changes."""
    ambient: q.Temperature = 22.0
    """Temperature of the air, and of everything at the start."""
    gravity: q.Acceleration = 9.81
    """Acceleration of free fall."""
    record_every: q.Duration | None = None
    """Time between recorded rows; without it 10 ms, coarser on long runs."""
    step: q.Duration | None = None
    """Time step; without it from the stiffest part of the model. Leave it alone unless a caution asks for it."""

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
        problems += self._frozen_copper() + self._guards_below_ambient()
        for name in self.drive.overrides:
            if name not in names:
                problems.append((f"drive.overrides.{name}", q.unknown(name, names)))
        problems += problems_between(self.rover, self.ground, self.drive, self.events)
        problems += self._overflows()
        problems += self._misplaced_wheels()
        rows = self.duration / self.recording_interval
        size = rows * (RECORDED_OF_A_WHEEL * len(names) + RECORDED_OF_THE_BODY)
        if size > MAX_RECORD:
            text = (
                f"{self.duration:g} s recorded every {self.recording_interval:g} s would need "
                f"{size * 8e-9:.2g} GB, allowed: at most {MAX_RECORD * 8e-9:.2g} GB; record "
                "less often or run shorter"
            )
            problems.append(("record_every", text))
        q.refuse(problems)
        return self

    def _overflows(self) -> list[tuple[str, str]]:
        """Find what a controller's words cannot hold, once for each place where they are given."""
        problems: dict[str, str] = {}
        for name in self.rover.wheel_names:
            drive = self.drive.for_wheel(name)
            fastest = max(abs(self._commanded(command, name)) for command in self.commands)
            if drive.arithmetic is not None:
                most = full_amplitude(self.rover) if drive.strategy == "speed_loop" else 0.0
                what = drive.arithmetic.value_problem(
                    (fastest, f"a wheel is commanded to turn at {fastest:.4g} rad/s"),
                    (most, f"the full pack gives a phase amplitude of {most:.4g} V"),
                )
                if what:
                    problems.setdefault(f"{self.drive.path_of(name)}.arithmetic.fraction_bits", what)
        return list(problems.items())

    def _commanded(self, command: Command, name: str) -> float:
        """Return the speed [rad/s] of wheel ``name`` under ``command``, rolling without slip."""
        at = self.rover.place(name).at
        assert at is not None
        if command.left is not None and command.right is not None:
            return command.left if at[1] > 0 else command.right
        return ((command.forward or 0.0) - (command.turn or 0.0) * at[1]) / self.rover.wheel.radius

    def _frozen_copper(self) -> list[tuple[str, str]]:
        """Refuse temperatures at which the linear law leaves copper no resistance."""
        winding, motor = self.rover.wheel.winding, self.rover.wheel.motor
        given = (("ambient", self.ambient), ("rover.wheel.motor.resistance_at", motor.resistance_at))
        text = "allowed: warmer; by the winding's temperature_coefficient copper has no resistance left there"
        return [
            (field, f"found {value:g} degC, {text}")
            for field, value in given
            if 1 + winding.temperature_coefficient * (value - 20) < LEAST_WARM
        ]

    def _guards_below_ambient(self) -> list[tuple[str, str]]:
        """Refuse guards against heat that would hold back or switch off a wheel that is as cold as it can be."""
        driver, ambient = self.rover.wheel.driver, self.ambient
        text = f"allowed: more than ambient ({ambient:g} degC)"
        problems = []
        if driver.cut_back is not None and driver.cut_back.start < ambient:
            found = f"found {driver.cut_back.start:g} degC, allowed: at least ambient ({ambient:g} degC)"
            problems.append(("rover.wheel.driver.cut_back.start", found))
        if driver.trip is not None and driver.trip.above <= ambient:
            problems.append(("rover.wheel.driver.trip.above", f"found {driver.trip.above:g} degC, {text}"))
        elif driver.trip is not None and driver.trip.resume is not None and driver.trip.resume <= ambient:
            found = f"found {driver.trip.resume:g} degC, {text}, or none: then it stays off"
            problems.append(("rover.wheel.driver.trip.resume", found))
        return problems

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
