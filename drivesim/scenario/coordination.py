"""How one host keeps the wheels together, as a builder writes it; imports only quantities."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from drivesim.scenario import quantities as q


class Independent(q.Model):
    """Each wheel follows its own set-point."""

    kind: Literal["independent"] = "independent"
    """No coordination."""


class CrossCoupled(q.Model):
    """Each wheel is pulled toward the mean of all, by ``gain`` times its lead or lag."""

    kind: Literal["cross_coupled"]
    """Pull towards the mean of all wheels."""
    gain: q.Ratio
    """Change of the set-point per lead or lag."""
    every: q.Duration = 0.02
    """Time from one look of the host to the next."""


class Droop(q.Model):
    """A wheel's set-point falls with its own current."""

    kind: Literal["droop"]
    """A set-point that falls with the wheel's own current."""
    per_current: q.SpeedPerCurrent
    """How much it falls per ampere."""


class EqualCurrent(q.Model):
    """One PI on the mean wheel speed gives every wheel the same current command."""

    kind: Literal["equal_current"]
    """The same current for all wheels."""
    proportional: q.CurrentPerSpeed
    """Amperes per rad/s of the mean error."""
    integral: q.CurrentPerAngle
    """Amperes per second and rad/s of the mean error."""
    most: q.Current
    """Greatest current commanded."""
    every: q.Duration = 0.02
    """Time from one look of the host to the next."""


class SlipLimited(q.Model):
    """A wheel that runs ahead of the others by more than ``margin`` of the command is held back."""

    kind: Literal["slip_limited"]
    """A wheel that runs ahead is held back."""
    margin: q.Share
    """Lead that is allowed, as a share of the command."""
    every: q.Duration = 0.02
    """Time from one look of the host to the next."""


Coordination = Annotated[
    Independent | CrossCoupled | Droop | EqualCurrent | SlipLimited, Field(discriminator="kind")
]

#: strategies that each kind works with
FITTING = {
    "independent": ("speed_loop", "locked_frequency", "trimmed_frequency", "fixed_voltage"),
    "cross_coupled": ("speed_loop", "trimmed_frequency", "fixed_voltage"),
    "droop": ("speed_loop",),
    "equal_current": ("speed_loop",),
    "slip_limited": ("speed_loop", "fixed_voltage"),
}
#: why a strategy fits none but those kinds
WHY_NOT = {
    "locked_frequency": "a forced field does not follow the rotor's speed or load",
    "trimmed_frequency": "a forced field does not follow the rotor's load",
    "fixed_voltage": "it has no speed loop, and gives way under load by itself",
}
