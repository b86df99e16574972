"""What goes wrong or changes during a run, as a builder writes it; imports quantities and conditions."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from drivesim.scenario import quantities as q
from drivesim.scenario.conditions import Condition


class _Event(q.Model):
    """What every event has: the time, or the condition after which it happens (once)."""

    at: q.DurationOrZero | None = None
    """When it happens; give this or when."""
    when: Condition | None = None
    """Condition after which it happens, once."""

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        if (self.at is None) == (self.when is None):
            found, field = ("neither", "") if self.at is None else ("both", "when")
            q.refuse([(field, f"found {found}; give exactly one of at (a time), when (a condition)")])
        return self


class _Lasting(_Event):
    """An event that may be undone after a while."""

    lasts: q.Duration | None = None
    """How long it lasts; without it to the end."""


class DriverDies(_Lasting):
    """A wheel's driver fails; its phases are then open, or shorted so that the motor brakes."""

    kind: Literal["driver_dies"]
    """The driver fails."""
    wheel: str
    """Name of the wheel."""
    phases: Literal["open", "shorted"] = "open"
    """What its phases are then: open, or shorted so that the motor brakes."""


class SensorSticks(_Lasting):
    """A wheel's Hall sensor gives no edges any more."""

    kind: Literal["sensor_sticks"]
    """The Hall sensor gives no edges any more."""
    wheel: str
    """Name of the wheel."""


class EdgesLost(_Lasting):
    """A share of a wheel's Hall edges is missed."""

    kind: Literal["edges_lost"]
    """Hall edges are missed."""
    wheel: str
    """Name of the wheel."""
    share: q.Share
    """Share of the edges missed."""


class BearingSeizes(_Lasting):
    """A wheel's bearing has so much more dry drag."""

    kind: Literal["bearing_seizes"]
    """The bearing drags more."""
    wheel: str
    """Name of the wheel."""
    drag: q.Torque
    """Dry drag that is added."""


class TyreOff(_Event):
    """A wheel loses its tyre and runs on a smaller rim."""

    kind: Literal["tyre_off"]
    """The tyre comes off."""
    wheel: str
    """Name of the wheel."""
    radius: q.Length
    """Radius of the rim, which is smaller."""
    friction: q.Ratio = 0.4
    """Friction coefficient of the rim on dry ground."""


class CellSags(_Lasting):
    """The pack's resistance grows, and its voltage drops by so much."""

    kind: Literal["cell_sags"]
    """The pack weakens."""
    resistance_factor: q.GrowthFactor = 1.0
    """Its resistance as a multiple of what it was."""
    voltage_drop: q.VoltageOrZero = 0.0
    """Volts that the pack loses."""

    @model_validator(mode="after")
    def _something(self) -> Self:
        if self.resistance_factor == 1 and self.voltage_drop == 0:
            q.refuse([("", "changes nothing; give resistance_factor (more than 1) or voltage_drop")])
        return self


class BatteryLoose(_Event):
    """The battery's contact is open for a while."""

    kind: Literal["battery_loose"]
    """The battery's contact opens."""
    lasts: q.Duration
    """How long it is open."""


class LinkLost(_Event):
    """No command comes through for a while."""

    kind: Literal["link_lost"]
    """No command comes through."""
    lasts: q.Duration
    """How long."""


class Payload(_Event):
    """A mass is set on the rover at ``place``: forward, left, up from the frame's origin."""

    kind: Literal["payload"]
    """A mass is set on the rover."""
    mass: q.Mass
    """The mass."""
    place: tuple[q.Coordinate, q.Coordinate, q.Coordinate]
    """Forward, left and up from the frame's origin."""


Event = Annotated[
    DriverDies
    | SensorSticks
    | EdgesLost
    | BearingSeizes
    | TyreOff
    | CellSags
    | BatteryLoose
    | LinkLost
    | Payload,
    Field(discriminator="kind"),
]
