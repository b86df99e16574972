"""Names of runs by all that they follow from, by which finished runs are known again; imports scenario."""

from __future__ import annotations

import hashlib
import json
import os
import platform
from functools import cache, lru_cache
from importlib.metadata import version
from pathlib import Path

from drivesim._compile import source_stamp
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.writing import resolved

KEY_BYTES = 16
TOGETHER = 256  # scenarios whose common part is remembered, at least as many as a sweep has in turn
UNTOLD = ("name", "question", "seed")  # no say in how a run goes; and the seed stands in the name by itself
_PACKAGE = Path(__file__).resolve().parents[1]


@cache
def stamp() -> str:
    """Return a hash of everything between a scenario and its measures: our sources, numpy, numba, kind of machine."""
    digest = hashlib.sha256(f"{source_stamp()} {version('numpy')} {platform.machine()}".encode())
    sources = [path for part in ("analysis", "scenario") for path in (_PACKAGE / part).rglob("*.py")]
    for path in sorted([*sources, _PACKAGE / "units.py"]):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


class Keys:
    """Names of runs; what a design's runs have in common is worked out once."""

    def __init__(self) -> None:
        self._common: dict[int, tuple[Scenario, str]] = {}

    def of(self, scenario: Scenario, seed: int) -> str:
        """Return the name of a run of ``scenario`` with ``seed``.

        A hash of the resolved scenario, of the files that its ground is read from, and of ``stamp``.
        """
        same, text = self._common.get(id(scenario), (None, ""))
        if same is not scenario:
            text = _common_text(scenario)
            if len(self._common) >= TOGETHER:
                self._common.clear()
            self._common[id(scenario)] = (scenario, text)
        return hashlib.sha256(f"{stamp()} {seed} {text}".encode()).hexdigest()[: 2 * KEY_BYTES]


def _common_text(scenario: Scenario) -> str:
    data = resolved(scenario)
    for name in UNTOLD:
        data.pop(name, None)
    for feature in data["ground"].get("features", ()):
        if "file" in feature:
            feature["file"] = content(feature["file"])
    return json.dumps(data, sort_keys=True, separators=(",", ":"))


def content(file: str) -> str:
    """Return a hash of what a file holds; its name where it cannot be read."""
    try:
        status = os.stat(file)
    except OSError:
        return file  # what is wrong with it shows when the ground is built
    return _hash(file, status.st_mtime_ns, status.st_size)


@lru_cache(maxsize=64)
def _hash(file: str, _changed: int, _size: int) -> str:
    return hashlib.sha256(Path(file).read_bytes()).hexdigest()
