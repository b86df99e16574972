"""Where words tied to places along a line find room, as numbers; imports nothing of ours.

A flag is a pole that stands at its place and carries words at its left or right, in one of several rows.  Words
do not overlap, and no pole runs through the words of another.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple


class Flag(NamedTuple):
    """One flag: place of its pole, row of its words (0 is the lowest), left end and width of the words."""

    pole: float
    row: int
    left: float
    width: float


def plant(items: Sequence[tuple[float, float]], room: float, rows: int) -> list[Flag] | None:
    """Return a flag for each pair of place and width, in their order and in as few rows as found.

    ``items`` are sorted by place; all lengths in one unit.  None where they find no room within 0 to ``room`` and
    ``rows``.  The first flags carry their words at the right, in falling rows, the others at the left, in rising ones.
    """
    found = [
        flags
        for split in range(len(items), -1, -1)
        if (flags := _split(items, room, rows, split)) is not None
    ]
    return min(found, key=lambda flags: max((flag.row for flag in flags), default=0), default=None)


def _split(items: Sequence[tuple[float, float]], room: float, rows: int, split: int) -> list[Flag] | None:
    """Return flags with the words of the first ``split`` of them at the right and of the others at the left."""
    flags: dict[int, Flag] = {}
    for k in [*range(split, len(items)), *reversed(range(split))]:
        place, width = items[k]
        left = place if k < split else place - width
        spots = (Flag(place, row, left, width) for row in range(rows))
        free = (spot for spot in spots if all(_apart(spot, flag) for flag in flags.values()))
        spot = next(free, None) if left >= 0 and left + width <= room else None
        if spot is None:
            return None
        flags[k] = spot
    return [flags[k] for k in range(len(items))]


def _apart(a: Flag, b: Flag) -> bool:
    """Tell whether two flags leave each other free."""
    same_row = a.row == b.row and a.left < b.left + b.width and b.left < a.left + a.width
    return not (same_row or _crosses(a, b) or _crosses(b, a))


def _crosses(a: Flag, b: Flag) -> bool:
    """Tell whether the pole of ``a`` runs through the words of ``b``."""
    return a.row >= b.row and b.left < a.pole < b.left + b.width
