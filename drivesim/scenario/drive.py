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
    sensors: Literal[1, 3] = 1
    timer_tick: q.DurationOrZero = 1e-6
    timeout: q.Duration = 0.25
    hysteresis: q.AngleOrZero = 0.02  # electrical
    commutation: Literal["ideal", "interpolated", "sectors"] = "ideal"  # where the rotor's angle comes from
    missed_edges: q.ShareBelowOne = 0.0
    edge_jitter: q.AngleOrZero = 0.0  # electrical, standard deviation, new at each edge
    edge_placement: q.AngleOrZero = 0.0  # electrical, standard deviation, fixed for each edge of a turn

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
    slew: q.SlewRate | None = None  # limit on the set-point's rate of change
    sensor: Sensor = Sensor()
    latency: q.DurationOrZero = 0.0  # from the sample to the new voltage
    clock_error: q.ClockError = 0.0  # positive: the controller's clock runs fast
    clock_phase: Literal["random", "together"] = "together"  # of the samples of different wheels
    arithmetic: Arithmetic | None = None  # default: that of real numbers

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
    proportional: q.VoltagePerSpeed
    integral: q.VoltagePerAngle
    feed_forward: q.VoltagePerSpeed = 0.0
    anti_windup: Literal["conditional", "back_calculation"] = "conditional"
    braking: bool = True  # may the voltage oppose the command?


class _Forced(_Drive):
    """The field turns at a frequency of its own; amplitude = base + per_hertz · |f|."""

    base_amplitude: q.VoltageOrZero
    amplitude_per_hertz: q.VoltagePerFrequency = 0.0
    hold_at_standstill: bool = True
    align_for: q.DurationOrZero = 0.0  # the field stands still for so long before it starts

    @model_validator(mode="after")
    def _some_voltage(self) -> Self:
        if self.base_amplitude == 0 and self.amplitude_per_hertz == 0:
            text = "is zero as well as amplitude_per_hertz: the field would have no strength"
            q.refuse([("base_amplitude", text)])
        return self


class LockedFrequency(_Forced):
    """The field turns at the commanded frequency whatever the rotor does."""

    strategy: Literal["locked_frequency"]


class TrimmedFrequency(_Forced):
    """A PI on measured speed shifts the forced frequency."""

    strategy: Literal["trimmed_frequency"]
    proportional: q.RatioOrZero  # rad/s of shift per rad/s of error
    integral: q.Rate
    trim_limit: q.RatioOrZero = 0.5  # largest shift, as a share of the commanded speed
    anti_windup: Literal["conditional", "back_calculation"] = "conditional"


class FixedVoltage(_Drive):
    """Amplitude proportional to the command; commutation follows the rotor."""

    strategy: Literal["fixed_voltage"]
    voltage_per_speed: q.VoltagePerSpeed


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
    coordination: Coordination = Independent()
    overrides: dict[str, WheelDrive] = Field(default_factory=dict)

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
