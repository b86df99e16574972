"""What each wheel carries on an even slope, also with one wheel in the air; imports the design only."""

from __future__ import annotations

import math

import numpy as np

from drivesim.sizing.design import Design

BALANCED = 1e-6  # of the weight: what equal springs leave over where the rover stands
EMPTY = 1e-9  # of the weight: a wheel with less carries nothing

Loads = list[float]


class Standing:
    """Loads of the rover's wheels on a slope that it faces, with a level pull at axle height."""

    def __init__(self, design: Design) -> None:
        self.design = design
        self._laws: dict[frozenset[int], tuple[np.ndarray, np.ndarray | None]] = {}

    def loads(self, slope: float = 0.0, pull: float = 0.0) -> Loads | None:
        """Return the load of each wheel [N] on ``slope`` [rad] with ``pull`` [N] backwards; None where it tips over."""
        return self._within(frozenset(range(len(self.design.wheels))), slope, pull)

    def lifted(self, wheel: int, slope: float = 0.0, pull: float = 0.0) -> Loads | None:
        """Return the loads [N] when the ground unloads ``wheel`` until it, or another one before it, carries nothing.

        On four wheels the opposite wheel is unloaded with it, and the lighter one of the two is left in the air.
        None where the rover tips over, or cannot stand without it.
        """
        full = self.loads(slope, pull)
        rest = self._balanced(frozenset(range(len(self.design.wheels))) - {wheel}, slope, pull)
        if full is None or rest is None:
            return None
        return shifted(full, [b - a for a, b in zip(full, rest, strict=True)])

    def _within(self, wheels: frozenset[int], slope: float, pull: float) -> Loads | None:
        """Return the loads when at most ``wheels`` touch the ground."""
        found = self._balanced(wheels, slope, pull)
        if found is None:
            return None
        lightest = min(wheels, key=lambda i: found[i])
        if found[lightest] < -EMPTY * self.design.weight:
            return self._within(wheels - {lightest}, slope, pull)
        return [max(0.0, load) for load in found]

    def _balanced(self, wheels: frozenset[int], slope: float, pull: float) -> Loads | None:
        """Return what these wheels would carry, less than nothing too; None where they cannot balance the rover."""
        if wheels not in self._laws:
            self._laws[wheels] = self._law(wheels)
        law, left = self._laws[wheels]
        case = np.array((math.cos(slope), math.sin(slope), pull, 1.0))
        if left is not None and np.abs(left @ case).max() > BALANCED * self.design.weight:
            return None
        found: Loads = (law @ case).tolist()
        return found

    def _law(self, wheels: frozenset[int]) -> tuple[np.ndarray, np.ndarray | None]:
        """Return (wheel, 4) loads for cos(slope), sin(slope), pull and 1 [N], and what that leaves unbalanced, or None.

        Each tyre is pressed in by a + b·x + c·y + lower − twist·w, a plane's height, how much lower its hub is, and
        the frame's twist w, which its spring holds: stiffness·w = Σ twist·load.
        """
        d = self.design
        on = np.array([i in wheels for i in range(len(d.wheels))], dtype=float)
        x, y = np.array([w.x for w in d.wheels]), np.array([w.y for w in d.wheels])
        twist = np.array([w.twist for w in d.wheels])
        lower = np.array([w.lower for w in d.wheels])
        shape = np.stack([np.ones_like(x), x, y, -twist]) * on  # how the depths follow from a, b, c, w
        stiffness = np.array([w.stiffness for w in d.wheels])
        matrix = shape * stiffness @ shape.T
        soft = math.isfinite(d.frame_stiffness)
        matrix[3, 3] += d.frame_stiffness if soft else 0.0
        given = np.zeros((4, 4))
        given[0, 0] = d.weight
        given[1, 1], given[1, 2] = -d.weight * d.height, -d.radius
        given[:, 3] = -shape @ (stiffness * lower)
        if not soft:
            matrix[3, :] = matrix[:, 3] = 0.0
            given[3] = 0.0
        found = np.linalg.lstsq(matrix, given, rcond=1e-12)[0]
        law: np.ndarray = stiffness[:, None] * (shape.T @ found + np.outer(on * lower, (0.0, 0.0, 0.0, 1.0)))
        carried = np.stack([np.ones_like(x), x, y]) @ law
        wanted = np.zeros((3, 4))
        wanted[:2, :3] = given[:2, :3]
        left = (carried - wanted) / np.array([[1.0], [d.radius], [d.radius]])
        return law, left if np.abs(left).max() > BALANCED * d.weight else None


def shifted(full: Loads, change: Loads) -> Loads:
    """Return ``full`` with as much of ``change`` as leaves no load below zero; a wheel at zero then carries none."""
    shares = [load / -by for load, by in zip(full, change, strict=True) if by < 0]
    share = min([1.0, *shares])
    return [max(0.0, load + share * by) for load, by in zip(full, change, strict=True)]
