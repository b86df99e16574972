"""Marks of what happened along the time axis: faults, resets, trips, radio, tries to get free; imports the layout."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from drivesim.plots import layout
from drivesim.plots.style import FAINT, INK, PURPLE, VERMILLION

if TYPE_CHECKING:
    from drivesim.analysis.run import Run

#: how each kind of event is drawn, and its words in the key; dashes differ, so that grey print tells them apart
LOOKS: dict[str, tuple[str, dict[str, Any]]] = {
    "fault": ("fault or its end", {"color": INK, "linestyle": "-", "linewidth": 0.8}),
    "reset": ("controllers reset or boot", {"color": INK, "linestyle": (0, (1, 1.5)), "linewidth": 1.1}),
    "trip": ("heat trip", {"color": VERMILLION, "linestyle": (0, (4, 1.5)), "linewidth": 0.9}),
    "heat": ("cut-back begins", {"color": PURPLE, "linestyle": (0, (6, 1, 1, 1)), "linewidth": 0.9}),
    "link": ("radio silent or back", {"color": PURPLE, "linestyle": (0, (2, 2)), "linewidth": 0.9}),
    "recovery": ("driver's try", {"color": FAINT, "linestyle": (0, (3, 1, 1, 1)), "linewidth": 0.9}),
}
OFF: Any = {
    "facecolor": "none",
    "edgecolor": FAINT,
    "hatch": "////",
    "linewidth": 0,
    "alpha": 0.5,
    "zorder": 0,
}


def present(run: Run) -> list[str]:
    """Return the kinds of marked events that this run has, in the order of the key."""
    kinds = {event.kind for event in run.events}
    return [kind for kind in LOOKS if kind in kinds]


def keys(run: Run) -> list[Line2D]:
    """Return a key for each kind of event of this run."""
    return [layout.line_key(LOOKS[kind][0], **LOOKS[kind][1]) for kind in present(run)]


def draw(run: Run, panels: Sequence[Axes]) -> None:
    """Draw a line at each marked event through ``panels``, times along x."""
    for event in run.events:
        if event.kind in LOOKS:
            for ax in panels:
                ax.axvline(event.time, zorder=0.5, **LOOKS[event.kind][1])


def shade_off(run: Run, ax: Axes) -> None:
    """Hatch the times at which no driven wheel had power."""
    powered = run.traces["powered"].values
    driven = powered.max(axis=0) > 0
    if not driven.any():
        return
    off = powered[:, driven].max(axis=1) < 0.5
    edges = layout.row_edges(run.traces["time"].values, run.traces.attrs["recording_interval_s"])
    change = np.flatnonzero(np.diff(np.concatenate([[False], off, [False]]).astype(int)))
    for first, last in zip(change[::2], change[1::2], strict=True):
        ax.axvspan(edges[first], edges[last], **OFF)
