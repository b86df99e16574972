"""What each key of a file means: the words that stand below it in the models, read when they are asked for.

Reading them as the models are made would slow the start of every command; only the schema and the manual need them.
"""

from __future__ import annotations

import ast
import inspect
import sys
from functools import cache
from typing import Any, get_args

from pydantic import BaseModel


def meanings(model: type[BaseModel]) -> dict[str, str]:
    """Return key → its meaning for all keys of ``model``, those of its bases included; empty where none stands."""
    found: dict[str, str] = {}
    for around in reversed(model.__mro__):
        if issubclass(around, BaseModel) and around is not BaseModel:
            found |= _written(around.__module__).get(around.__name__, {})
    fields = model.model_fields
    return {key: found.get(key) or fields[key].description or "" for key in fields}


@cache
def _written(module: str) -> dict[str, dict[str, str]]:
    """Return class → key → the text below the key in the source of ``module``."""
    classes: dict[str, dict[str, str]] = {}
    for node in ast.parse(inspect.getsource(sys.modules[module])).body:
        if isinstance(node, ast.ClassDef):
            classes[node.name] = {
                key.target.id: " ".join(below.value.value.split())
                for key, below in zip(node.body, node.body[1:], strict=False)
                if isinstance(key, ast.AnnAssign) and isinstance(key.target, ast.Name)
                if isinstance(below, ast.Expr) and isinstance(below.value, ast.Constant)
                if isinstance(below.value.value, str)
            }
    return classes


def written_models(*roots: Any) -> list[type[BaseModel]]:
    """Return the models ``roots`` and all that their keys may hold, each once, those nearest to the roots first."""
    found: list[type[BaseModel]] = []
    to_do = list(roots)
    while to_do:
        this = to_do.pop(0)
        if isinstance(this, type) and issubclass(this, BaseModel) and this not in found:
            found.append(this)
            to_do += [field.annotation for field in this.model_fields.values()]
        to_do += [part for part in get_args(this) if part is not Ellipsis]
    return found
