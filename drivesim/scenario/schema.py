"""The JSON Schema of a scenario file, for editors; imports the models and what is expected of them."""

from __future__ import annotations

from copy import deepcopy
from typing import Any

from drivesim.scenario.drive import Drive
from drivesim.scenario.expected import INCLUDABLE, choices
from drivesim.scenario.meanings import meanings, written_models
from drivesim.scenario.scenario import Scenario

DIALECT = "https://json-schema.org/draft/2020-12/schema"
_FILE = {"type": "string", "description": "name of a YAML file, relative to this one"}


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a scenario as users write it, with base, change and file names."""
    schema = Scenario.model_json_schema()
    parts = schema["$defs"]
    _explain(schema)
    _flatten_drive(parts)
    for path, model in INCLUDABLE.items():
        around = schema if len(path) == 1 else parts[INCLUDABLE[path[:-1]].__name__]
        fields = around["properties"]
        field = fields[path[-1]]
        old = {"$ref": f"#/$defs/{model.__name__}"}
        assert field["$ref"] == old["$ref"]
        fields[path[-1]] = {"description": field["description"], "anyOf": [_FILE, old]}
    required = schema.pop("required")
    schema["anyOf"] = [{"required": ["base"]}, {"required": required}]
    schema["properties"] |= {
        "base": _FILE | {"description": "scenario whose keys are taken where this one has none"},
        "change": {
            "type": ["object", "null"],
            "description": "dotted paths and new values, such as 'rover.mass: 520 g'",
            "propertyNames": {"pattern": r"^[^.]+(\.[^.]+)*$"},
        },
    }
    return {"$schema": DIALECT, **schema}


def _explain(schema: dict[str, Any]) -> None:
    """Give every key its meaning, as it stands below the key in the models."""
    parts = {model.__name__: model for model in written_models(Scenario)}
    for name, part in {**schema["$defs"], "Scenario": schema}.items():
        for key, words in meanings(parts[name]).items():
            if key in part.get("properties", {}):
                part["properties"][key] = {**part["properties"][key], "description": words}


def _flatten_drive(parts: dict[str, Any]) -> None:
    """Put the strategies' keys, ``coordination`` and ``overrides`` side by side, as they are written."""
    models = choices(Drive.model_fields["all_wheels"].annotation)[1].values()
    strategies = [parts[model.__name__] for model in models]
    any_key: dict[str, Any] = {}
    for strategy in strategies:
        for key, value in strategy["properties"].items():
            known = any_key.setdefault(key, value)
            if key == "strategy" and known is not value:
                any_key[key] = {"enum": [*known.get("enum", [known.get("const")]), value["const"]]}
    parts["WheelOverride"] = {
        "type": "object",
        "description": "what differs at one wheel",
        "additionalProperties": False,
        "properties": deepcopy(any_key),
    }
    overrides = {"type": "object", "additionalProperties": {"$ref": "#/$defs/WheelOverride"}}
    for strategy in strategies:
        strategy["properties"]["coordination"] = parts["Drive"]["properties"]["coordination"]
        strategy["properties"]["overrides"] = overrides
    parts["Drive"] = {"description": parts["Drive"]["description"]} | {
        "oneOf": [{"$ref": f"#/$defs/{model.__name__}"} for model in models]
    }
