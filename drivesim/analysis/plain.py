"""Numbers as JSON knows them; imports nothing of ours."""

from __future__ import annotations

import math
from typing import Any


def finite(value: Any) -> Any:
    """Return ``value`` with None for every number that JSON does not know, inside dicts and lists too."""
    if isinstance(value, dict):
        return {name: finite(inner) for name, inner in value.items()}
    if isinstance(value, list):
        return [finite(inner) for inner in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
