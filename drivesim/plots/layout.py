"""Pages, panels, labels and bands that pictures are made of; imports matplotlib (not pyplot) and the style.

Places and sizes on a page are in inches from its upper left corner.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, PathPatch
from matplotlib.path import Path
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from drivesim.plots.style import (
    CONDITION_LOOKS,
    DPI,
    FAINT,
    GUIDE,
    PALE,
    ConditionLook,
    condition_look,
    one_line,
    wheel_look,
    wheel_word,
)

if TYPE_CHECKING:
    from drivesim.analysis.run import Run

WIDTH = 9.0  # of a page
LEFT, RIGHT = 0.75, 0.25  # margins
INSIDE = WIDTH - LEFT - RIGHT
TOP = 0.58  # title and the scenario's name
LEGEND, FURTHER = 0.24, 0.17  # one row of a legend, and each further one
BOTTOM = 0.5  # room for the tick labels and label of the time axis
NAME_ROOM = 0.2  # above a panel
LETTER, KEY = 0.055, 0.5  # of a legend: width of a letter, and of what stands before and after the words
GUIDES: Any = {"colors": GUIDE, "linewidths": 0.6, "zorder": 0.5}
WORD_SIZE = 7.5  # points of words tied to places


def page(run: Run, title: str, body: float, *legends: Sequence[Artist]) -> tuple[Figure, float]:
    """Return a page that says what it shows and of which scenario, and where its body may begin.

    ``body``: inches that panels need, with what is written around them.  Each of ``legends`` gets a row of
    its own, or more where it is long.
    """
    shapes = [_columns(keys) for keys in legends]
    top = TOP + sum(LEGEND + FURTHER * (rows - 1) for _, rows in shapes) + NAME_ROOM
    height = top + body
    figure = Figure(figsize=(WIDTH, height))
    FigureCanvasAgg(figure)
    x, y = LEFT / WIDTH, 1 - TOP / height
    figure.text(x, 1 - 0.12 / height, title, va="top", fontsize=11, weight="bold")
    figure.text(x, 1 - 0.35 / height, one_line(run.scenario.name, 118), va="top", color=FAINT)
    for keys, (columns, rows) in zip(legends, shapes, strict=True):
        figure.legend(
            handles=list(keys), loc="upper left", bbox_to_anchor=(x, y), ncols=columns,
            borderpad=0, borderaxespad=0, columnspacing=1.4, handletextpad=0.5,
        )  # fmt: skip
        y -= (LEGEND + FURTHER * (rows - 1)) / height
    return figure, top


def _columns(keys: Sequence[Artist]) -> tuple[int, int]:
    """Return in how many columns and rows these entries fit across a page, by the letters of their words."""
    needed = [KEY + LETTER * len(str(key.get_label())) for key in keys]
    columns = len(keys) if sum(needed) <= INSIDE else max(1, int(INSIDE / max(needed)))
    return columns, -(-len(keys) // columns)


def panel(figure: Figure, left: float, top: float, width: float, height: float) -> Axes:
    """Return axes with their upper left corner at ``left``, ``top`` on the page."""
    w, h = figure.get_size_inches()
    axes = figure.add_axes((left / w, 1 - (top + height) / h, width / w, height / h))
    axes.yaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 5, 10]))
    axes.margins(x=0)
    return axes


def column(
    figure: Figure,
    count: int,
    *,
    top: float,
    height: float,
    pitch: float,
    left: float = LEFT,
    width: float = INSIDE,
) -> list[Axes]:
    """Return ``count`` panels, one below the other every ``pitch`` inches."""
    return [panel(figure, left, top + pitch * i, width, height) for i in range(count)]


def over_time(run: Run, panels: Sequence[Axes], ticks: int = 6) -> None:
    """Let x be the run's time, said under the last of ``panels``; faint guides run through all of them."""
    end = float(run.summary["duration_s"])
    places = np.asarray(MaxNLocator(ticks, steps=[1, 2, 5, 10]).tick_values(0.0, end))
    places = places[(places >= 0) & (places <= end * (1 + 1e-9))].clip(max=end)
    guides = [((x, 0.0), (x, 1.0)) for x in places]
    for ax in panels:
        ax.set_xlim(0.0, end)
        lines = LineCollection(guides, transform=ax.get_xaxis_transform(), **GUIDES)
        ax.add_collection(lines, autolim=False)
        if ax is panels[-1]:
            ax.set_xticks(places)
            ax.set_xlabel("time [s]")
        else:
            ax.xaxis.set_visible(False)


def heading(axes: Axes, text: str) -> None:
    """Say above the panel, at its left, what it shows."""
    _above(axes, 0.0, text, weight="bold")


def remark(axes: Axes, text: str, colour: str = FAINT) -> None:
    """Say something above the panel, at its right."""
    _above(axes, 1.0, text, ha="right", color=colour)


def _above(axes: Axes, x: float, text: str, **look: Any) -> None:
    axes.annotate(
        text, (x, 1.0), xycoords="axes fraction", xytext=(0, 3), textcoords="offset points", va="bottom",
        annotation_clip=False, **look,
    )  # fmt: skip


def line_key(label: str, **look: Any) -> Line2D:
    """Return a legend entry for a line."""
    return Line2D([], [], label=label, **look)


def wheel_keys(names: Iterable[object], *, markers: bool = True) -> list[Line2D]:
    """Return a legend entry for each wheel; without ``markers`` where the lines have none."""
    looks = ((wheel_word(name), wheel_look(i)) for i, name in enumerate(names))
    return [
        line_key(
            word,
            color=look.colour,
            linestyle=look.line,
            marker=look.marker if markers else None,
            markersize=4,
        )
        for word, look in looks
    ]


def condition_keys() -> list[Patch]:
    """Return a legend entry for each condition's band."""
    return [
        Patch(
            facecolor=look.colour,
            edgecolor=_hatch_colour(look),
            hatch=look.hatch,
            linewidth=0.5,
            label=look.label,
        )
        for look in CONDITION_LOOKS.values()
    ]


def _hatch_colour(look: ConditionLook) -> str:
    return look.hatch_colour if look.hatch else PALE


def stretches(codes: NDArray[np.int8]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return first rows, one-past-last rows and codes of the stretches of equal code."""
    edges = np.flatnonzero(np.diff(codes)) + 1
    firsts = np.concatenate([[0], edges])
    return firsts, np.concatenate([edges, [len(codes)]]), codes[firsts]


def row_edges(time: np.ndarray, interval: float) -> np.ndarray:
    """Return where the rows' intervals begin and end [s], one more than rows, from their middles ``time``."""
    return np.concatenate([time - interval / 2, [time[-1] + interval / 2]])


def condition_band(
    axes: Axes, edges: np.ndarray, codes: NDArray[np.int8], low: float, high: float, only: int | None = None
) -> None:
    """Draw what a wheel was doing as a band along x.

    ``edges`` (rows + 1,) are where rows begin and end on x; ``low`` and ``high`` are inches above the panel's
    lower edge (below zero: under the panel).  ``only`` draws this condition alone.
    """
    height = axes.get_position().height * axes.get_figure().get_size_inches()[1]  # type: ignore[union-attr]
    y0, y1 = low / height, high / height
    firsts, lasts, kinds = stretches(codes)
    for code in np.unique(kinds) if only is None else [only]:
        look = condition_look(int(code))
        x0, x1 = edges[firsts[kinds == code]], edges[lasts[kinds == code]]
        band = PathPatch(
            _boxes(x0, x1, y0, y1), facecolor=look.colour, edgecolor=look.hatch_colour, hatch=look.hatch,
            linewidth=0, transform=axes.get_xaxis_transform(), clip_on=False, gid=f"condition:{look.label}",
        )  # fmt: skip
        axes.add_artist(band)


def _boxes(x0: np.ndarray, x1: np.ndarray, y0: float, y1: float) -> Path:
    """Return one path of a box for each pair of x0, x1: drawn at once, however many there are."""
    low, high = np.full_like(x0, y0), np.full_like(x0, y1)
    corners = np.stack(
        [np.stack(corner, -1) for corner in ((x0, low), (x1, low), (x1, high), (x0, high), (x0, low))], 1
    )
    codes = np.tile(
        np.array([Path.MOVETO, *[Path.LINETO] * 3, Path.CLOSEPOLY], dtype=Path.code_type), len(x0)
    )
    return Path(corners.reshape(-1, 2), codes)


def words_in_lane(axes: Axes, items: Sequence[tuple[float, float, str]], *, at_top: bool) -> None:
    """Write words along the upper or lower edge of a panel, each tied by a thin line to its place.

    ``items`` are x, y (data) and the words, the most important first; those that find no room are left out.
    """
    figure = axes.get_figure()
    assert isinstance(figure, Figure)
    width = axes.get_position().width * figure.get_size_inches()[0]
    low, high = axes.get_xlim()
    kept, used = [], 0.0
    for x, y, text in items:
        needed = text_width(text) + 0.12
        if used + needed <= width:
            kept.append((x, y, text, needed))
            used += needed
    kept.sort(key=lambda item: item[0])
    lefts = apart(
        [(x - low) / (high - low) * width - needed / 2 for x, _, _, needed in kept],
        [k[3] for k in kept],
        width,
    )
    for (x, y, text, needed), left in zip(kept, lefts, strict=True):
        axes.annotate(
            text, (x, y), xytext=((left + needed / 2) / width, float(at_top)), textcoords="axes fraction",
            ha="center", va="top" if at_top else "bottom", fontsize=WORD_SIZE,
            bbox={"facecolor": "#FFFFFFC0", "linewidth": 0, "pad": 0.8},
            arrowprops={"arrowstyle": "-", "linewidth": 0.5, "color": FAINT, "shrinkA": 0, "shrinkB": 3},
        )  # fmt: skip


def text_width(text: str) -> float:
    """Return the width of ``text`` at WORD_SIZE [inch]."""
    pixels = _ruler().get_text_width_height_descent(text, FontProperties(size=WORD_SIZE), False)[0]
    return float(pixels / DPI)


@cache
def _ruler() -> RendererAgg:
    return RendererAgg(1, 1, DPI)


def apart(lefts: list[float], widths: list[float], room: float) -> list[float]:
    """Return ``lefts`` moved so that pieces of ``widths``, in this order, stay apart and within ``room``."""
    out: list[float] = []
    free = 0.0
    for left, width in zip(lefts, widths, strict=True):
        out.append(max(left, free))
        free = out[-1] + width
    end = room
    for k in range(len(out) - 1, -1, -1):
        out[k] = min(out[k], end - widths[k])
        end = out[k]
    return out
