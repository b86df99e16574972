"""What a user writes: YAML files → a frozen Scenario in SI, and back; imports only units and errors."""

from drivesim.scenario.loader import load_scenario, located, scenario_from_text
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.schema import json_schema
from drivesim.scenario.writing import resolved, to_yaml

__all__ = ["Scenario", "json_schema", "load_scenario", "located", "resolved", "scenario_from_text", "to_yaml"]
