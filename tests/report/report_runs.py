"""Small real runs that the tests of the page share, and what is made of them."""

from __future__ import annotations

import base64
import json
import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from drivesim.analysis.run import Run, simulate
from drivesim.scenario import scenario_from_text

SCENARIOS = Path(__file__).parents[2] / "scenarios"
EDGE = "{base: slab_edge.yaml, change: {duration: 4 s}}"
RUBBLE = """
base: rubble_locked.yaml
change: {duration: 1 s, ground.patches: [{x: [0.1 m, 0.3 m], y: [0 m, 0.3 m], factor: 0.3, label: the film}]}
"""


@cache
def made(text: str) -> Run:
    return simulate(scenario_from_text(text, folder=SCENARIOS))


def tiled(run: Run, rows: int) -> Run:
    """Return ``run`` made ``rows`` long by repeating its rows: what hours of the same would leave."""
    places = np.arange(rows) % run.traces.sizes["time"]
    interval = run.traces.attrs["recording_interval_s"]
    traces = run.traces.isel(time=places).assign_coords(time=("time", (np.arange(rows) + 0.5) * interval))
    traces["hub_x"] = traces["hub_x"] + xr.DataArray(np.arange(rows) * 0.002, dims="time")
    return replace(run, traces=traces, summary=run.summary | {"duration_s": rows * interval})


def numbers(text: str, kind: str = "<f4") -> np.ndarray:
    return np.frombuffer(base64.b64decode(text), kind)


class Elements(HTMLParser):
    """The elements of a page with their attributes, and the texts of scripts and styles."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.raw: dict[str, list[str]] = {"script": [], "style": []}
        self.text = ""
        self._in = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))
        if tag in self.raw:
            self._in = tag
            self.raw[tag].append("")

    def handle_endtag(self, tag):
        self._in = "" if tag == self._in else self._in

    def handle_data(self, data):
        if self._in:
            self.raw[self._in][-1] += data
        else:
            self.text += data

    def named(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.found if name == tag]


def data_of(page: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.DOTALL)
    assert found
    return json.loads(found[1])
