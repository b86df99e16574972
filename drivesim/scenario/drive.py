"""The drive of each wheel as a builder writes it: strategy, gains, sensing."""

from __future__ import annotations

from math import degrees, pi
from typing import Annotated, Any, Literal, Self

from pydantic import Field, field_validator, model_validator

from drivesim.scenario import quantities as q
from drivesim.scenario.coordination import Coordination, Independent
from drivesim.scenario.fixed_point import Arithmetic

WITH_PI = ("speed_loop", "trimmed_frequency")
MOST_EDGE_ERROR = 0.1  # of the angle between edges: standard deviation of placement and jitter together


class Sensor(q.Model):
    """How a wheel controller learns its speed: ideal, or the time between Hall edges."""

    kind: Literal["hall", "ideal"] = "hall"
    """Hall sensors, or an ideal speed."""
    sensors: Literal[1, 3] = 1
    """Hall sensors of a wheel: one cannot see the direction."""
    timer_tick: q.DurationOrZero = 1e-6
    """Step of the timer that measures from edge to edge."""
    timeout: q.Duration = 0.25
    """Time without an edge after which the speed counts as zero."""
    hysteresis: q.AngleOrZero = 0.02
    """Electrical angle by which the rotor must be beyond an edge before it counts."""
    commutation: Literal["ideal", "interpolated", "sectors"] = "ideal"
    """Where the controller takes the rotor's angle from between the edges."""
    missed_edges: q.ShareBelowOne = 0.0
    """Share of the edges that the timer does not capture."""
    edge_jitter: q.AngleOrZero = 0.0
    """Noise of an edge's place, electrical angle, standard deviation, new at each edge."""
    edge_placement: q.AngleOrZero = 0.0
    """Error of an edge's place, electrical angle, standard deviation, the same in every turn."""

    @field_validator("sensors", mode="before")
    @classmethod
    def _whole(cls, value: Any) -> Any:
        """Keep true from being taken for 1."""
        return str(value).lower() if isinstance(value, bool) else value

    @model_validator(mode="after")
    def _real_edges(self) -> Self:
        problems = []
        uses = (
            ("commutation", self.commutation != "ideal"),
            ("missed_edges", self.missed_edges > 0),
            ("edge_jitter", self.edge_jitter > 0),
            ("edge_placement", self.edge_placement > 0),
        )
        if self.kind == "ideal":
            problems = [
                (name, "needs kind: hall; an ideal sensor has no edges") for name, used in uses if used
            ]
        most = MOST_EDGE_ERROR * pi / self.sensors
        if self.edge_jitter + self.edge_placement > most and not problems:
            name = "edge_jitter" if self.edge_jitter >= self.edge_placement else "edge_placement"
            found = degrees(self.edge_jitter + self.edge_placement)
            text = (
                f"edge_jitter and edge_placement add up to {found:.3g} deg, allowed: at most {degrees(most):.3g} "
                "deg electrical, a tenth of the angle between edges"
            )
            problems.append((name, text))
        q.refuse(problems)
        return self


class _Drive(q.Model):
    """What every strategy has."""

    sample_time: q.Duration = 0.002
    """Time from one sample of the controller to the next."""
    slew: q.SlewRate | None = None
    """Greatest change of the set-point in a second; without it at once."""
    sensor: Sensor = Sensor()
    """How the wheel's speed and angle are measured."""
    latency: q.DurationOrZero = 0.0
    """Time from a sample to the new voltage; at most sample_time."""
    clock_error: q.ClockError = 0.0
    """How much faster the controller's clock runs than true time."""
    clock_phase: Literal["random", "together"] = "together"
    """Whether the controllers of all wheels sample together, or each at a random moment."""
    arithmetic: Arithmetic | None = None
    """The controller's whole numbers; without it real numbers."""

    @model_validator(mode="after")
    def _possible(self) -> Self:
        problems = []
        if self.latency > self.sample_time:
            text = f"found {self.latency:g} s, allowed: at most sample_time ({self.sample_time:g} s)"
            problems.append(("latency", text))
        if self.arithmetic is not None and getattr(self, "strategy", "") not in WITH_PI:
            problems.append(("arithmetic", "needs a strategy with a PI: speed_loop or trimmed_frequency"))
        elif self.arithmetic is not None:
            for name, per_sample in (
                ("proportional", 1.0), ("integral", self.sample_time), ("feed_forward", 1.0),
            ):  # fmt: skip
                unit = _unit(type(self), name)
                wrong = self.arithmetic.gain_problem(getattr(self, name, 0.0), per_sample, unit)
                problems += [(name, wrong)] if wrong else []
        q.refuse(problems)
        return self


class SpeedLoop(_Drive):
    """PI on wheel speed sets the voltage; commutation follows the rotor."""

    strategy: Literal["speed_loop"]
    """A speed loop on each wheel."""
    proportional: q.VoltagePerSpeed
    """Proportional gain: volts of phase amplitude per rad/s of error."""
    integral: q.VoltagePerAngle
    """Integral gain: volts per second and rad/s of error."""
    feed_forward: q.VoltagePerSpeed = 0.0
    """Volts per rad/s of the command, before any error."""
    anti_windup: Literal["conditional", "back_calculation"] = "conditional"
    """What the integral does at full voltage: stop, or be drawn back."""
    braking: bool = True
    """Whether the voltage may oppose the command."""


class _Forced(_Drive):
    """The field turns at a frequency of its own; amplitude = base + per_hertz · |f|."""

    base_amplitude: q.VoltageOrZero
    """Phase amplitude of the field at frequency zero, peak."""
    amplitude_per_hertz: q.VoltagePerFrequency = 0.0
    """Growth of the amplitude with the field's electrical frequency."""
    hold_at_standstill: bool = True
    """Whether the field stays on when the command is zero."""
    align_for: q.DurationOrZero = 0.0
    """Time that the field stands still before it starts to turn."""

    @model_validator(mode="after")
    def _some_voltage(self) -> Self:
        if self.base_amplitude == 0 and self.amplitude_per_hertz == 0:
            text = "is zero as well as amplitude_per_hertz: the field would have no strength"
            q.refuse([("base_amplitude", text)])
        return self


class LockedFrequency(_Forced):
    """The field turns at the commanded frequency whatever the rotor does."""

    strategy: Literal["locked_frequency"]
    """A field at the commanded frequency, whatever the rotor does."""


class TrimmedFrequency(_Forced):
    """A PI on measured speed shifts the forced frequency."""

    strategy: Literal["trimmed_frequency"]
    """A forced field whose frequency a PI on measured speed shifts."""
    proportional: q.RatioOrZero
    """rad/s of shift per rad/s of error."""
    integral: q.Rate
    """rad/s of shift per second and rad/s of error."""
    trim_limit: q.RatioOrZero = 0.5
    """Greatest shift, as a share of the commanded speed."""
    anti_windup: Literal["conditional", "back_calculation"] = "conditional"
    """What the integral does at the greatest shift: stop, or be drawn back."""


class FixedVoltage(_Drive):
    """Amplitude proportional to the command; commutation follows the rotor."""

    strategy: Literal["fixed_voltage"]
    """A voltage in proportion to the command, without a loop."""
    voltage_per_speed: q.VoltagePerSpeed
    """Volts of phase amplitude per rad/s of the command."""


WheelDrive = Annotated[
    SpeedLoop | LockedFrequency | TrimmedFrequency | FixedVoltage, Field(discriminator="strategy")
]


COMMON_KEYS = tuple(_Drive.model_fields)  # what every strategy has


def _unit(model: type[q.Model], name: str) -> str:
    field = model.model_fields.get(name)
    return next((mark.name for mark in field.metadata if isinstance(mark, q.Unit)), "1") if field else "1"


def _laid_over(common: dict[str, Any], own: Any) -> Any:
    if not isinstance(own, dict):
        return own
    if own.get("strategy", common.get("strategy")) != common.get("strategy"):
        common = {key: value for key, value in common.items() if key in COMMON_KEYS}
        if own.get("strategy") not in WITH_PI:
            common.pop("arithmetic", None)
    merged = common | own
    sensors = common.get("sensor"), own.get("sensor")
    if isinstance(sensors[0], dict) and isinstance(sensors[1], dict):
        merged["sensor"] = sensors[0] | sensors[1]
    return merged


_KNOWN_KEYS = {
    key
    for model in (SpeedLoop, LockedFrequency, TrimmedFrequency, FixedVoltage)
    for key in model.model_fields
}


class Drive(q.Model):
    """One drive for all wheels, with what differs per wheel in ``overrides``."""

    all_wheels: WheelDrive
    """The settings of all wheels."""
    coordination: Coordination = Independent()
    """How one host keeps the wheels together; without it each wheel follows its own set-point."""
    overrides: dict[str, WheelDrive] = Field(default_factory=dict)
    """What differs at single wheels, by their names."""

    @model_validator(mode="before")
    @classmethod
    def _flat(cls, data: Any) -> Any:
        """Read the flat form a user writes; each override is laid over the common settings.

        A wheel with a strategy of its own takes over only what every strategy has.
        """
        if not isinstance(data, dict) or "all_wheels" in data:
            return data
        common = {key: value for key, value in data.items() if key not in ("overrides", "coordination")}
        overrides = data.get("overrides", {})
        if isinstance(overrides, dict):
            known = {
                key: value for key, value in common.items() if key in _KNOWN_KEYS
            }  # others are told once
            overrides = {name: _laid_over(known, own) for name, own in overrides.items()}
        beside = {key: data[key] for key in ("coordination",) if key in data}
        return {"all_wheels": common, "overrides": overrides, **beside}

    def for_wheel(self, name: str) -> SpeedLoop | LockedFrequency | TrimmedFrequency | FixedVoltage:
        """Return the settings of one wheel."""
        return self.overrides.get(name, self.all_wheels)

    def path_of(self, name: str) -> str:
        """Return the dotted path of one wheel's settings, for messages."""
        return f"drive.overrides.{name}" if name in self.overrides else "drive"
