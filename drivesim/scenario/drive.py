"""The drive of each wheel as a builder writes it: strategy, gains, sensing."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import Field, field_validator, model_validator

from drivesim.scenario import quantities as q


class Sensor(q.Model):
    """How a wheel controller learns its speed: ideal, or the time between Hall edges."""

    kind: Literal["hall", "ideal"] = "hall"
    sensors: Literal[1, 3] = 1
    timer_tick: q.DurationOrZero = 1e-6
    timeout: q.Duration = 0.25
    hysteresis: q.AngleOrZero = 0.02  # electrical

    @field_validator("sensors", mode="before")
    @classmethod
    def _whole(cls, value: Any) -> Any:
        """Keep true from being taken for 1."""
        return str(value).lower() if isinstance(value, bool) else value


class _Drive(q.Model):
    """What every strategy has."""

    sample_time: q.Duration = 0.002
    slew: q.SlewRate | None = None  # limit on the set-point's rate of change
    sensor: Sensor = Sensor()


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


def _laid_over(common: dict[str, Any], own: Any) -> Any:
    if not isinstance(own, dict):
        return own
    if own.get("strategy", common.get("strategy")) != common.get("strategy"):
        common = {key: value for key, value in common.items() if key in _Drive.model_fields}
    merged = common | own
    sensors = common.get("sensor"), own.get("sensor")
    if isinstance(sensors[0], dict) and isinstance(sensors[1], dict):
        merged["sensor"] = sensors[0] | sensors[1]
    return merged


class Drive(q.Model):
    """One drive for all wheels, with what differs per wheel in ``overrides``."""

    all_wheels: WheelDrive
    overrides: dict[str, WheelDrive] = Field(default_factory=dict)

    @model_validator(mode="before")
    @classmethod
    def _flat(cls, data: Any) -> Any:
        """Read the flat form a user writes; each override is laid over the common settings.

        A wheel with a strategy of its own takes over only what every strategy has.
        """
        if not isinstance(data, dict) or "all_wheels" in data:
            return data
        common = {key: value for key, value in data.items() if key != "overrides"}
        overrides = data.get("overrides", {})
        if isinstance(overrides, dict):
            overrides = {name: _laid_over(common, own) for name, own in overrides.items()}
        return {"all_wheels": common, "overrides": overrides}

    def for_wheel(self, name: str) -> SpeedLoop | LockedFrequency | TrimmedFrequency | FixedVoltage:
        """Return the settings of one wheel."""
        return self.overrides.get(name, self.all_wheels)
