"""The exceptions a user may see; all of them can be rebuilt from ``.args``."""

from __future__ import annotations


class DrivesimError(Exception):
    """Base of all errors that are the user's to mend; the text is one clear line."""


class UnitError(DrivesimError):
    """A quantity that cannot be read, or has a unit of another kind."""


class ScenarioError(DrivesimError):
    """One or more mistakes in scenario files; each item of ``problems`` is one line ``file:line: field: …``."""

    def __init__(self, *problems: str) -> None:
        super().__init__(*problems)
        self.problems = problems

    def __str__(self) -> str:
        return "\n".join(self.problems)


class RunError(DrivesimError):
    """A run folder that cannot be read or written."""
