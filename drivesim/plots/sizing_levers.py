"""The picture of a sizing's levers: by how much each limit follows each design number; imports sizing and style."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PatchCollection
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from drivesim.plots.layout import panel
from drivesim.plots.palettes import LEVERS, on_shade, shades
from drivesim.plots.style import FAINT, INK, one_line, signed, styled
from drivesim.sizing.answers import STATE_WORDS
from drivesim.sizing.levers import STATES, column_name, columns

if TYPE_CHECKING:
    from drivesim.sizing.size import Sizing

WORDS = {
    "grade": "grade", "step_front": "front step", "step_rear": "rear step", "turn": "turn", "tow": "pull",
    "top_speed": "top speed", "endurance": "endurance",
}  # fmt: skip
SHOWN = 0.05  # %; a lever that changes nothing by more is left out
FULL = 2.0  # %: darkest
WIDE = 9.0  # inches of the page
NAMES, ROW, CELL = 2.55, 0.22, 0.365  # inches: words of the rows, a row's height, a column's width
TOP = 1.55


@styled()
def draw_levers(sizing: Sizing) -> Figure:
    """Return a table of shades and numbers: the change of each limit [%] for 1 % more of each design number."""
    table = sizing.levers
    places = columns()
    names = [column_name(*place) for place in places]
    values = table[names].to_numpy(dtype=float)
    kept = np.nanmax(np.abs(np.where(np.isfinite(values), values, 0.0)), axis=1) >= SHOWN
    table, values = table[kept], values[kept]
    height = TOP + ROW * (len(table) + 0.6) + 0.2
    figure = Figure(figsize=(WIDE, height))
    FigureCanvasAgg(figure)
    figure.text(
        0.02,
        1 - 0.12 / height,
        "Which lever pays: change of each limit in %",
        va="top",
        fontsize=11,
        weight="bold",
    )
    name = one_line(sizing.summary["name"], 40)
    about = f"{name}: for 1 % more of each number, 1 K, or a whole step; framed: the limit that binds"
    figure.text(0.02, 1 - 0.35 / height, one_line(about, 118), va="top", color=FAINT)
    ax = panel(figure, NAMES, TOP, CELL * len(names), ROW * (len(table) + 0.6))
    ax.set_axis_off()
    ax.set_xlim(0, len(names))
    ax.set_ylim(len(table) + 0.6, 0)
    cells: list[Rectangle] = []
    shares: list[float] = []
    y = 0.0
    before = ""
    for (_, row), own in zip(table.iterrows(), values, strict=True):
        if before == "+1 %" and row["change"] != "+1 %":
            y += 0.3
        before = row["change"]
        whole = row["change"] == "whole"
        ax.text(-0.5, y + 0.5, str(row["words"]), ha="right", va="center", fontsize=8)
        ax.text(
            -0.1,
            y + 0.5,
            "" if whole else str(row["change"])[-1:],
            ha="right",
            va="center",
            fontsize=7,
            color=FAINT,
        )
        for x, value in enumerate(own.tolist()):
            if not math.isfinite(value):
                ax.text(x + 0.48, y + 0.47, "–", ha="center", va="center", fontsize=7, color=FAINT)
                continue
            share = max(-1.0, min(1.0, value / (30 * FULL if whole else FULL)))
            cells.append(Rectangle((x, y), 0.96, 0.92))
            shares.append(0.5 + 0.5 * share)
            text = "0" if abs(value) < SHOWN else f"{value:+.0f}" if whole else f"{value:+.1f}"
            look = on_shade(LEVERS, shares[-1])
            ax.text(x + 0.48, y + 0.47, signed(text), ha="center", va="center", fontsize=7, **look)
        y += 1.0
    ax.add_collection(
        PatchCollection(
            cells, array=np.array(shares), cmap=shades(LEVERS), norm=Normalize(0.0, 1.0), edgecolors="none"
        )
    )
    for x, (task, _) in enumerate(places):
        ax.text(x + 0.4, -0.2, WORDS[task], rotation=55, ha="left", va="bottom", fontsize=7.5)
    for state in STATES:
        group = [x for x, place in enumerate(places) if place[1] == state]
        middle = (group[0] + group[-1] + 1) / 2
        ax.text(middle, -4.1, STATE_WORDS[state], ha="center", fontsize=8.5, weight="bold")
        ax.plot([group[0] + 0.1, group[-1] + 0.85], [-3.75, -3.75], color=FAINT, linewidth=0.8, clip_on=False)
    if sizing.summary["binding"] in names:
        x = names.index(sizing.summary["binding"])
        ax.add_patch(
            Rectangle(
                (x - 0.02, -0.04),
                1.0,
                y + 0.04,
                fill=False,
                edgecolor=INK,
                linewidth=1.4,
                clip_on=False,
                zorder=5,
            )
        )
    return figure
