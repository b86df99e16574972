"""Marks of what happened along the time axis: faults, resets, trips, radio, tries to get free; imports the layout."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from numpy.typing import NDArray

from drivesim.plots import layout
from drivesim.plots.flags import Flag, plant
from drivesim.plots.style import FAINT, INK, PURPLE, VERMILLION, one_line, wheel_word

if TYPE_CHECKING:
    from drivesim.analysis.run import Run
    from drivesim.engine.timeline import Event

#: how each kind of event is drawn, and its words in the key; dashes differ, so that grey print tells them apart
LOOKS: dict[str, tuple[str, dict[str, Any]]] = {
    "fault": ("fault or its end", {"color": INK, "linestyle": "-", "linewidth": 0.8}),
    "reset": ("controllers reset or boot", {"color": INK, "linestyle": (0, (1, 1.5)), "linewidth": 1.1}),
    "trip": ("heat trip or its end", {"color": VERMILLION, "linestyle": (0, (4, 1.5)), "linewidth": 0.9}),
    "heat": ("cut-back begins", {"color": PURPLE, "linestyle": (0, (6, 1, 1, 1)), "linewidth": 0.9}),
    "link": ("radio silent or back", {"color": PURPLE, "linestyle": (0, (2, 2)), "linewidth": 0.9}),
    "recovery": ("driver's try", {"color": FAINT, "linestyle": (0, (3, 1, 1, 1)), "linewidth": 0.9}),
}
#: words for all events of a kind together
TOGETHER = {
    "fault": "faults",
    "trip": "heat trips or their ends",
    "heat": "cut-backs",
    "link": "silences or their ends",
    "recovery": "tries or their outcomes",
}
OFF: Any = {
    "facecolor": "none",
    "edgecolor": FAINT,
    "hatch": "////",
    "linewidth": 0,
    "alpha": 0.5,
    "zorder": 0,
}
ROWS = 9  # of words
LETTERS = 42  # of words at most
LESS = re.compile(r": mass .*|\S+ (?=→)")  # what may be left out of words, as the log has it too
ROW, FOOT, PAD = 0.15, 0.08, 0.12  # inches: height of a row, of the poles under the rows, beside words
MANY = 20  # events of a kind from which they are drawn as short ticks
SHORT = 0.12  # of a panel's height


@dataclass(frozen=True)
class Strip:
    """Words for the events of a run: in which rows, as wide as the panels under them; ``height`` in inches."""

    items: list[tuple[Event, str]]
    flags: list[Flag]
    width: float

    @property
    def height(self) -> float:
        """Room that it needs above the panels [inch]; none in a run without such events."""
        if not self.flags:
            return 0.0
        return FOOT + ROW * (1 + max(flag.row for flag in self.flags))


def marked(run: Run) -> list[Event]:
    """Return the events that get a mark."""
    return [event for event in run.events if event.kind in LOOKS]


def present(run: Run) -> list[str]:
    """Return the kinds of marked events that this run has, in the order of the key."""
    kinds = {event.kind for event in run.events}
    return [kind for kind in LOOKS if kind in kinds]


def keys(run: Run, *, off: bool = False) -> list[Artist]:
    """Return a key for each kind of event of this run; ``off``: and one for wheels without power, if there are."""
    lines: list[Artist] = [layout.line_key(LOOKS[kind][0], **LOOKS[kind][1]) for kind in present(run)]
    if off and without_power(run).any():
        lines.append(Patch(label="controller off", **OFF))
    return lines


def few_words(event: Event) -> str:
    """Return what happened in few words."""
    wheel = wheel_word(event.wheel)
    effect = event.effect.replace(event.wheel, wheel) if event.wheel else event.effect
    if event.kind == "heat":
        return f"{wheel}: voltage cut back"
    if event.kind == "trip":
        return f"{wheel}: {effect}"
    return effect.split(": came ")[0].split(", ")[0] or event.cause


def plan(run: Run, width: float = layout.INSIDE) -> Strip:
    """Return the words for the events of a run, along ``width`` inches of time.

    Resets are counted.  Where not all words find room, figures before a change are left out, then ends of faults
    are said in one word, then go without, then all figures are left out, then the events of each kind are counted;
    where not even that finds room the key alone tells what the lines are.  Words may go beyond ``width``, to the
    page's right margin.
    """
    end = float(run.summary["duration_s"])
    events = marked(run)
    begun = [event for event in events if not _ends(event)]
    short = [(event, LESS.sub("", words)) for event, words in _each(events)]
    shorter = [(event, f"{words.split(':')[0]}: over" if _ends(event) else words) for event, words in short]
    begins = [(event, words) for event, words in short if not _ends(event)]
    bare = [(event, words.split(" →")[0]) for event, words in begins]
    for items in (_each(events), short, shorter, begins, bare, _counted(begun)):
        needed = [(event.time / end * width, layout.text_width(words) + PAD) for event, words in items]
        flags = plant(needed, layout.INSIDE, ROWS)
        if flags is not None:
            return Strip(items, flags, width)
    return Strip([], [], width)


def _ends(event: Event) -> bool:
    return event.kind == "fault" and event.ends is not None


def _each(events: list[Event]) -> list[tuple[Event, str]]:
    """Return each event with its own words, resets together."""
    own = [(event, one_line(few_words(event), LETTERS)) for event in events if event.kind != "reset"]
    return sorted([*own, *_resets(events)], key=lambda item: item[0].time)


def _counted(events: list[Event]) -> list[tuple[Event, str]]:
    """Return the first event of each kind, with how many there are."""
    firsts = _resets(events)
    for kind, words in TOGETHER.items():
        same = [event for event in events if event.kind == kind]
        if same:
            firsts.append((same[0], few_words(same[0]) if len(same) == 1 else f"{len(same)} {words}"))
    return sorted(firsts, key=lambda item: item[0].time)


def _resets(events: list[Event]) -> list[tuple[Event, str]]:
    """Return the first reset, with how many there are; that controllers boot again goes without saying."""
    resets = [event for event in events if event.kind == "reset" and "reset" in event.effect]
    return [(resets[0], "reset" if len(resets) == 1 else f"{len(resets)} resets")] if resets else []


def draw(run: Run, panels: Iterable[Axes], wheel: str | None = None) -> None:
    """Draw a line at each marked event through ``panels``, which have time along x.

    With ``wheel``: only what concerns this wheel and not the whole rover.
    """
    for kind in present(run):
        own = [event for event in marked(run) if event.kind == kind]
        if wheel is not None:
            own = [event for event in own if event.wheel == wheel]
        top = SHORT if len(own) > MANY else 1.0
        for ax in panels:
            _lines(ax, [event.time for event in own], [top] * len(own), kind)


def draw_strip(run: Run, strip: Strip, figure: Figure, left: float, top: float) -> None:
    """Draw the words above panels that begin ``strip.height`` inches below ``top``, if there are any.

    Every event has a short line there, also those without words of their own.
    """
    if not strip.flags:
        return
    high, end = strip.height, float(run.summary["duration_s"])
    ax = layout.panel(figure, left, top - layout.NAME_ROOM, strip.width, high)
    ax.set_xlim(0, end)
    ax.set_ylim(0, high)
    ax.set_xticks([])
    ax.set_yticks([])
    ax.set_axis_off()
    rows = {id(event): flag.row + 0.9 for (event, _), flag in zip(strip.items, strip.flags, strict=True)}
    for kind in present(run):
        own = [event for event in marked(run) if event.kind == kind]
        tops = [(FOOT + ROW * rows.get(id(event), 0)) / high for event in own]
        _lines(ax, [event.time for event in own], tops, kind)
    for (_, words), flag in zip(strip.items, strip.flags, strict=True):
        middle = (flag.left + flag.width / 2) / strip.width * end
        place: Any = {"ha": "center", "va": "center", "fontsize": layout.WORD_SIZE}
        ax.text(middle, FOOT + ROW * (flag.row + 0.5), words, **place)


def _lines(ax: Axes, times: Sequence[float], tops: Sequence[float], kind: str) -> None:
    """Draw upright lines from the lower edge to ``tops``, shares of the panel's height."""
    look = LOOKS[kind][1]
    lines = LineCollection(
        [((x, 0.0), (x, y)) for x, y in zip(times, tops, strict=True)], transform=ax.get_xaxis_transform(),
        colors=look["color"], linestyles=[look["linestyle"]], linewidths=look["linewidth"], zorder=0.6,
        gid=f"event:{kind}",
    )  # fmt: skip
    ax.add_collection(lines, autolim=False)


def without_power(run: Run) -> NDArray[np.bool_]:
    """Return in which rows each driven wheel's controller was off, if only in part; shape (rows, wheels)."""
    result: NDArray[np.bool_] = (run.traces["powered"].values < 1 - 1e-9) & _driven(run)
    return result


def _driven(run: Run) -> NDArray[np.bool_]:
    return np.array([run.scenario.rover.place(str(name)).driven for name in run.traces["wheel"].values])


def shade_off(run: Run, ax: Axes, wheel: int | None = None) -> None:
    """Hatch the times at which a wheel's controller was off; without ``wheel`` those of all driven wheels."""
    off, driven = without_power(run), _driven(run)
    rows = off[:, driven].all(axis=1) & driven.any() if wheel is None else off[:, wheel]
    edges = layout.row_edges(run.traces["time"].values, run.traces.attrs["recording_interval_s"])
    change = np.flatnonzero(np.diff(np.concatenate([[0], rows, [0]])))
    for first, last in zip(change[::2], change[1::2], strict=True):
        ax.axvspan(edges[first], edges[last], gid="off", **OFF)
