"""What a user writes to compare cases; imports the study's common part."""

from __future__ import annotations

from typing import Any, Self

from pydantic import Field, model_validator

from drivesim.scenario import quantities as q
from drivesim.scenario.study import Study

MOST_CASES = 24


class Comparison(Study):
    """Cases that drive the same grounds with the same parts drawn; each is held against one of them.

    ``cases``: name → changes of the scenario (dotted paths and values; ``scenario``: another file to begin with).
    ``against``: the case that the others are held against [the first].  ``success``: bars such as "distance > 2 m"
    that a run must meet [still moving at its end].
    """

    cases: dict[str, Any] = Field(min_length=2, max_length=MOST_CASES)
    """Name of each case, and its changes: dotted paths and values, or nothing for the scenario as it is."""
    against: str | None = None
    """The case that the others are held against; without it the first."""
    success: tuple[str, ...] = ()
    """Bars that a run must meet, such as distance > 2 m; without any it must still move at its end."""

    @model_validator(mode="after")
    def _known(self) -> Self:
        problems = []
        if self.against is not None and self.against not in self.cases:
            problems.append(("against", q.unknown(self.against, list(self.cases))))
        for name in self.cases:
            if not 0 < len(name.strip()) <= 60:
                problems.append(("cases", f"found the name {name!r}, allowed: 1 to 60 characters"))
        q.refuse(problems)
        return self
