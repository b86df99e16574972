"""Which temperature limits a wheel has, and of which node: winding or housing; imports the scenario's models."""

from __future__ import annotations

from typing import NamedTuple

from drivesim.scenario.motor import Driver, Winding

TOUCH_LIMIT = 60.0  # degC of a bare board, hot to touch (common practice, no source)


class Limit(NamedTuple):
    """A limit [degC] by its name, of the housing's temperature or of the winding's."""

    name: str
    of_housing: bool
    degC: float  # noqa: N815 - the unit's own spelling


def heat_limits(winding: Winding) -> list[Limit]:
    """Return what the parts of a wheel bear: magnets and skin are as warm as the housing where there is one.

    Nothing of a bare board is harmed by being hot to touch; ``told_limits`` adds that.
    """
    housing = winding.housing
    limits = (
        ("winding", False, winding.limit),
        ("adhesive", False, winding.adhesive_limit),
        ("magnet", housing is not None, winding.magnet_limit),
        ("touch", True, None if housing is None else housing.touch_limit),
    )
    return [Limit(name, of_housing, limit) for name, of_housing, limit in limits if limit is not None]


def told_limits(winding: Winding) -> list[Limit]:
    """Return ``heat_limits``, and from where on a bare board is hot to touch, of which a user is only told."""
    bare = [Limit("touch", False, TOUCH_LIMIT)] if winding.housing is None else []
    return [*heat_limits(winding), *bare]


def guard_limits(driver: Driver) -> list[Limit]:
    """Return from where on a driver holds back or switches off by the winding's temperature."""
    cut_back, trip = driver.cut_back, driver.trip
    limits = [] if cut_back is None else [Limit("cut-back", False, cut_back.start)]
    return limits if trip is None else [*limits, Limit("trip", False, trip.above)]
