"""What goes wrong or changes during a run, as a builder writes it; imports quantities and conditions."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from drivesim.scenario import quantities as q
from drivesim.scenario.conditions import Condition


class _Event(q.Model):
    """What every event has: the time, or the condition after which it happens (once)."""

    at: q.DurationOrZero | None = None
    when: Condition | None = None

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        if (self.at is None) == (self.when is None):
            found, field = ("neither", "") if self.at is None else ("both", "when")
            q.refuse([(field, f"found {found}; give exactly one of at (a time), when (a condition)")])
        return self


class _Lasting(_Event):
    """An event that may be undone after a while."""

    lasts: q.Duration | None = None  # default: to the end


class DriverDies(_Lasting):
    """A wheel's driver fails; its phases are then open, or shorted so that the motor brakes."""

    kind: Literal["driver_dies"]
    wheel: str
    phases: Literal["open", "shorted"] = "open"


class SensorSticks(_Lasting):
    """A wheel's Hall sensor gives no edges any more."""

    kind: Literal["sensor_sticks"]
    wheel: str


class EdgesLost(_Lasting):
    """A share of a wheel's Hall edges is missed."""

    kind: Literal["edges_lost"]
    wheel: str
    share: q.Share


class BearingSeizes(_Lasting):
    """A wheel's bearing has so much more dry drag."""

    kind: Literal["bearing_seizes"]
    wheel: str
    drag: q.Torque


class TyreOff(_Event):
    """A wheel loses its tyre and runs on a smaller rim."""

    kind: Literal["tyre_off"]
    wheel: str
    radius: q.Length
    friction: q.Ratio = 0.4  # coefficient of the rim on dry ground


class CellSags(_Lasting):
    """The pack's resistance grows, and its voltage drops by so much."""

    kind: Literal["cell_sags"]
    resistance_factor: q.GrowthFactor = 1.0
    voltage_drop: q.VoltageOrZero = 0.0

    @model_validator(mode="after")
    def _something(self) -> Self:
        if self.resistance_factor == 1 and self.voltage_drop == 0:
            q.refuse([("", "changes nothing; give resistance_factor (more than 1) or voltage_drop")])
        return self


class BatteryLoose(_Event):
    """The battery's contact is open for a while."""

    kind: Literal["battery_loose"]
    lasts: q.Duration


class LinkLost(_Event):
    """No command comes through for a while."""

    kind: Literal["link_lost"]
    lasts: q.Duration


class Payload(_Event):
    """A mass is set on the rover at ``place``: forward, left, up from the frame's origin."""

    kind: Literal["payload"]
    mass: q.Mass
    place: tuple[q.Coordinate, q.Coordinate, q.Coordinate]


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
