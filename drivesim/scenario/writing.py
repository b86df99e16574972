"""A Scenario → the form a user writes, with all defaults spelled out; imports scenario and yaml_lines."""

from __future__ import annotations

from typing import Any

from drivesim.scenario.drive import COMMON_KEYS
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.yaml_lines import write_text


def resolved(scenario: Scenario) -> dict[str, Any]:
    """Return ``scenario`` as plain dicts, lists, numbers and texts, quantities as text in SI units.

    Defaults are spelled out, and what is not given and has no fixed default is left out.
    """
    data: dict[str, Any] = scenario.model_dump(mode="json", exclude_none=True)
    common = data["drive"]["all_wheels"]
    overrides = data["drive"]["overrides"]
    for own in overrides.values():
        for key in common:  # without this, what a wheel does not have would be taken over from the others
            if own["strategy"] == common["strategy"] or key in COMMON_KEYS:
                own.setdefault(key, None)
    beside = {"coordination": data["drive"]["coordination"], "overrides": overrides}
    data["drive"] = {"strategy": common["strategy"]} | common | beside
    return data


def to_yaml(scenario: Scenario) -> str:
    """Return ``scenario`` as YAML text; ``scenario_from_text`` reads it back to an equal scenario."""
    return write_text(resolved(scenario))
