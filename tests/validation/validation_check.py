"""What one check is: a published figure, how ours is computed, how far they may lie apart; imports nothing of ours."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any, Literal

Kind = Literal["published", "closed form", "reference library"]
By = Literal["equation", "time steps", "whole rover"]


@dataclass(frozen=True)
class Check:
    """One row of the page.

    ``published`` is the figure as printed, or for a reference library what computes it; ``unit`` its unit;
    ``compute`` returns ours in that unit.  Exactly one of ``rel`` (of the published figure), ``apart`` (in its
    unit) and ``share`` (ours must lie between these multiples of it) says what passes.  ``digits`` are printed of
    ours; they may not change when it moves by ``wobble`` of itself, so that every machine prints the same.
    """

    what: str
    source: str
    published: str | Callable[[], float]
    unit: str
    compute: Callable[[], float]
    rel: float | None = None
    apart: float | None = None
    share: tuple[float, float] | None = None
    kind: Kind = "published"
    by: By = "equation"
    digits: int = 4
    wobble: float = 1e-9

    def __post_init__(self) -> None:
        if [self.rel, self.apart, self.share].count(None) != 2:
            raise ValueError(f"{self.what}: give one of rel, apart and share")

    @property
    def origin(self) -> str:
        """What the page prints as the source: a closed form or a library says so first."""
        if self.kind == "published":
            return self.source
        return f"{self.kind}: {self.source}" if self.source else self.kind

    @property
    def expected(self) -> float:
        """The published figure as a number."""
        return float(self.published if isinstance(self.published, str) else self.published())

    @property
    def printed(self) -> str:
        """The published figure as the page prints it."""
        return self.published if isinstance(self.published, str) else significant(self.published(), 5)

    def passes(self, ours: float) -> bool:
        """Tell whether ``ours`` lies within the tolerance (never for NaN)."""
        if self.share is not None:
            low, high = sorted(limit * self.expected for limit in self.share)
            return low <= ours <= high
        allowed = self.apart if self.apart is not None else (self.rel or 0.0) * abs(self.expected)
        return abs(ours - self.expected) <= allowed

    def tolerance(self) -> str:
        """Return the tolerance as the page prints it."""
        if self.share is not None:
            return f"{self.share[0]:g} to {self.share[1]:g} times"
        if self.apart is not None:
            return f"± {plain(self.apart)}{' ' if self.unit else ''}{self.unit}"
        rel = self.rel or 0.0
        return f"± {plain(rel * 100)} %" if rel >= 1e-5 else f"± {rel:.0e} of it".replace("e-0", "e-")

    def shown(self, ours: float) -> str:
        """Return ``ours`` as the page prints it; what is next to nothing prints as 0."""
        scale = max(abs(self.expected), self.apart or 0.0)
        return "0" if abs(ours) < 1e-9 * scale else significant(ours, self.digits)


@dataclass(frozen=True)
class Subject:
    """One group of the page: its title, where its laws stop being valid, and its checks."""

    title: str
    limits: tuple[str, ...]
    checks: list[Check] = field(default_factory=list)

    def with_runs(self, runs: list[Check]) -> Subject:
        """Return the subject with runs of whole rovers added."""
        return replace(self, checks=[*self.checks, *runs])


def closed(
    what: str, published: str, unit: str, compute: Callable[[], float], source: str = "", **more: Any
) -> Check:
    """Return a check against an exact consequence of the stated model; ``source`` names where that stands."""
    return Check(what, source, published, unit, compute, kind="closed form", **more)


def library(
    what: str,
    name: str,
    published: Callable[[], float],
    unit: str,
    compute: Callable[[], float],
    **more: Any,
) -> Check:
    """Return a check against what the reference library ``name`` gives."""
    return Check(what, name, published, unit, compute, kind="reference library", **more)


def plain(value: float) -> str:
    """Return a short decimal number without an exponent."""
    return f"{value:.10f}".rstrip("0").rstrip(".")


def significant(value: float, digits: int) -> str:
    """Return ``value`` to ``digits`` significant digits, with trailing zeros and no exponent between 1e-4 and 1e6."""
    if value == 0.0:
        return "0"
    rounded = float(f"{value:.{digits - 1}e}")
    exponent = int(f"{rounded:e}".split("e")[1])
    if exponent < -4 or exponent > 5:
        mantissa, power = f"{value:.{digits - 1}e}".split("e")
        return f"{mantissa}e{int(power)}"
    return f"{rounded:.{max(0, digits - 1 - exponent)}f}"
