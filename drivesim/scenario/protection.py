"""How a wheel controller guards itself against heat and low voltage; imports only quantities."""

from __future__ import annotations

from typing import Self

from pydantic import model_validator

from drivesim.scenario import quantities as q


class CutBack(q.Model):
    """Between two winding temperatures the allowed voltage falls linearly from all to nothing."""

    start: q.Temperature
    """Winding temperature from which the voltage is held back."""
    end: q.Temperature
    """Winding temperature at which nothing is left of it."""

    @model_validator(mode="after")
    def _rising(self) -> Self:
        if self.end <= self.start:
            text = f"found {self.end:g} degC, allowed: more than start ({self.start:g} degC)"
            q.refuse([("end", text)])
        return self


class Trip(q.Model):
    """Above a winding temperature the driver switches off, and on again below ``resume`` if that is given."""

    above: q.Temperature
    """Winding temperature above which the driver switches off."""
    resume: q.Temperature | None = None
    """Winding temperature below which it switches on again; without it it stays off."""

    @model_validator(mode="after")
    def _falling(self) -> Self:
        if self.resume is not None and self.resume >= self.above:
            text = f"found {self.resume:g} degC, allowed: less than above ({self.above:g} degC)"
            q.refuse([("resume", text)])
        return self


class Lockout(q.Model):
    """Below a bus voltage the controllers stop; above another they boot again and begin afresh."""

    below: q.Voltage
    """Bus voltage below which all wheel controllers reset."""
    above: q.Voltage
    """Bus voltage above which they start again."""
    boot: q.Duration = 0.3
    """Time they need to start."""

    @model_validator(mode="after")
    def _hysteresis(self) -> Self:
        if self.above <= self.below:
            text = f"found {self.above:g} V, allowed: more than below ({self.below:g} V)"
            q.refuse([("above", text)])
        return self
