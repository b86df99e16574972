"""Readings that cannot be wrong, of a wheel at rest or without current: no noise shows in them; imports the logs."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from drivesim.fitting.logs import Array, Log

STANDS = 0.01  # of the greatest speed, below which a wheel that once showed 0 counts as at rest

#: (kind, channel) -> the quantity without which the reading is 0 whatever the numbers are
_NOTHING_WITHOUT = {
    ("warm_up", "voltage"): "current", ("locked_rotor", "current"): "voltage", ("locked_rotor", "torque"): "voltage",
    ("back_emf", "voltage"): "speed", ("no_load", "speed"): "speed", ("loaded", "speed"): "speed",
}  # fmt: skip
_WORDS = {"current": "without current", "voltage": "without voltage", "speed": "at rest"}


def used(log: Log, channel: str) -> NDArray[np.bool_]:
    """Tell which rows of a channel say something: all but those that are 0 for any rover."""
    if (log.kind, channel) == ("spin_down", "speed"):
        return ~_at_rest(log.table["speed"])
    cause = _NOTHING_WITHOUT.get((log.kind, channel), "")
    return log.table[cause] != 0 if cause in log.table else np.ones(log.rows, bool)


def _at_rest(speed: Array) -> NDArray[np.bool_]:
    """Tell which rows follow the first 0 from which on the wheel stands."""
    rest = np.zeros(speed.size, bool)
    turning = np.flatnonzero(speed > STANDS * speed.max(initial=0.0))
    stopped = np.flatnonzero(speed == 0)
    stopped = stopped[stopped > (turning[-1] if turning.size else -1)]
    if stopped.size:
        rest[stopped[0] + 1 :] = True
    return rest


def left_out(log: Log) -> Iterator[str]:
    """Yield how many rows of each channel say nothing, in words."""
    for channel in log.channels:
        count = int((~used(log, channel)).sum())
        if count:
            cause = _NOTHING_WITHOUT.get((log.kind, channel), "speed")
            rows = "1 row" if count == 1 else f"{count} rows"
            yield (
                f"{log.name}: {rows} {_WORDS[cause]} not counted in the {channel.replace('_', ' ')}, "
                "which is 0 there for any rover"
            )
