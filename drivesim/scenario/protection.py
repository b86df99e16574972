"""How a wheel controller guards itself against heat and low voltage; imports only quantities."""

from __future__ import annotations

from typing import Self

from pydantic import model_validator

from drivesim.scenario import quantities as q


class CutBack(q.Model):
    """Between two winding temperatures the allowed voltage falls linearly from all to nothing."""

    start: q.Temperature
    end: q.Temperature

    @model_validator(mode="after")
    def _rising(self) -> Self:
        if self.end <= self.start:
            text = f"found {self.end:g} degC, allowed: more than start ({self.start:g} degC)"
            q.refuse([("end", text)])
        return self


class Trip(q.Model):
    """Above a winding temperature the driver switches off, and on again below ``resume`` if that is given."""

    above: q.Temperature
    resume: q.Temperature | None = None  # default: it stays off

    @model_validator(mode="after")
    def _falling(self) -> Self:
        if self.resume is not None and self.resume >= self.above:
            text = f"found {self.resume:g} degC, allowed: less than above ({self.above:g} degC)"
            q.refuse([("resume", text)])
        return self


class Lockout(q.Model):
    """Below a bus voltage the controllers stop; above another they boot again and begin afresh."""

    below: q.Voltage
    above: q.Voltage
    boot: q.Duration = 0.3

    @model_validator(mode="after")
    def _hysteresis(self) -> Self:
        if self.above <= self.below:
            text = f"found {self.above:g} V, allowed: more than below ({self.below:g} V)"
            q.refuse([("above", text)])
        return self
