"""The pictures' own look: colours, lines, hatches, words; imports matplotlib (not pyplot) and the conditions.

Colours are the set of Okabe & Ito, "Color Universal Design" (2008), which people with the common kinds of
colour blindness can tell apart; lines, markers and hatches say the same again for grey print.  Everything is drawn in
the colours below; ``drivesim.plots.palettes`` turns a finished figure into another style.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

import matplotlib as mpl

from drivesim.analysis.conditions import CONDITIONS

BLACK = "#000000"
ORANGE = "#E69F00"
SKY_BLUE = "#56B4E9"
GREEN = "#009E73"
BLUE = "#0072B2"
VERMILLION = "#D55E00"
PURPLE = "#CC79A7"
OCHRE = "#B57B00"  # orange, dark enough for a line
STEEL = "#2A8CC4"  # sky blue, dark enough for a line

INK = "#222222"  # words and commands
FAINT = "#6B6B6B"  # secondary words, limits
DIM = "#8C8C8C"  # data behind other data
PALE = "#BDBDBD"  # what lies behind and is no data
GUIDE = "#E6E6E6"  # thin lines through panels
GROUND = "#E3DED6"  # earth under a profile
AGAINST = "#4D4D4D"  # what works against the rover

LIMIT: Any = {"color": INK, "linewidth": 0.9, "linestyle": (0, (5, 1.5))}  # what must not be passed

DPI = 120  # of PNG pictures


class WheelLook(NamedTuple):
    """How a wheel is drawn wherever it appears."""

    colour: str
    line: str
    marker: str


class ConditionLook(NamedTuple):
    """How a condition is drawn: band colour, hatch and its colour, marker, and a short word."""

    colour: str
    hatch: str
    hatch_colour: str
    marker: str
    label: str


_WHEEL_COLOURS = (BLUE, VERMILLION, GREEN, PURPLE, BLACK, OCHRE, STEEL)
_WHEEL_LINES = ("-", "--", "-.", ":")
_WHEEL_MARKERS = ("o", "s", "^", "D", "v")

CONDITION_LOOKS = {
    "gripping": ConditionLook("#F1F1F1", "", "#F1F1F1", "o", "grips"),
    "slipping": ConditionLook(ORANGE, "////", BLACK, "v", "slips"),
    "airborne": ConditionLook(SKY_BLUE, "...", BLACK, "^", "in the air"),
    "stalled": ConditionLook(BLACK, "", BLACK, "s", "stalled"),
    "out_of_step": ConditionLook(VERMILLION, "xxxx", "#FFFFFF", "X", "out of step"),
    "dragged": ConditionLook(BLUE, "----", "#FFFFFF", "D", "dragged"),
}

_RC: Any = {
    "font.family": ["DejaVu Sans"],
    "font.size": 8.5,
    "text.hinting": "no_hinting",  # quicker, and even spacing
    "text.parse_math": False,  # a scenario's name may hold dollar signs
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": FAINT,
    "axes.linewidth": 0.7,
    "axes.labelsize": 8.5,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": False,
    "axes.axisbelow": True,
    "axes.formatter.useoffset": False,
    "axes.autolimit_mode": "data",
    "xtick.color": FAINT,
    "ytick.color": FAINT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": 8.0,
    "ytick.labelsize": 8.0,
    "xtick.major.width": 0.7,
    "ytick.major.width": 0.7,
    "lines.linewidth": 1.0,
    "lines.solid_joinstyle": "bevel",
    "hatch.linewidth": 0.7,
    "legend.frameon": False,
    "legend.fontsize": 8.0,
    "legend.handlelength": 2.4,
    "path.simplify": True,
    "path.simplify_threshold": 0.3,
    "agg.path.chunksize": 20_000,
    "figure.dpi": DPI,
    "figure.facecolor": "white",
    "savefig.dpi": DPI,
    "svg.hashsalt": "drivesim",
    "svg.fonttype": "path",
}

_MINUS_ZERO = re.compile(r"-(0(?:\.0*)?)(?![\d.])")
_lock = threading.RLock()


@contextmanager
def styled() -> Iterator[None]:
    """Draw in this look within the block, or the function decorated with ``@styled()``; leave no trace.

    matplotlib's settings belong to the whole process, so that one thread at a time may draw.
    """
    with _lock, mpl.rc_context(_RC):
        yield


def wheel_look(index: int) -> WheelLook:
    """Return the look of the wheel at ``index``; the pairs of colour and line last for 28 wheels."""
    return WheelLook(
        _WHEEL_COLOURS[index % len(_WHEEL_COLOURS)],
        _WHEEL_LINES[index % len(_WHEEL_LINES)],
        _WHEEL_MARKERS[index % len(_WHEEL_MARKERS)],
    )


def condition_look(code: int) -> ConditionLook:
    """Return the look of a condition by its code in ``CONDITIONS``."""
    return CONDITION_LOOKS[CONDITIONS[code]]


def mark_look(code: int) -> dict[str, Any]:
    """Return how the point where a condition begins is drawn, as arguments of a line."""
    look = condition_look(code)
    return {
        "linestyle": "none", "marker": look.marker, "markersize": 6, "color": look.colour,
        "markeredgecolor": INK, "markeredgewidth": 0.6, "zorder": 5,
    }  # fmt: skip


def wheel_word(name: object) -> str:
    """Return a wheel's name as words, long ones cut."""
    return one_line(str(name).replace("_", " "), 24)


def signed(text: str) -> str:
    """Return ``text`` with true minus signs, as on the axes, and none before a zero."""
    return _MINUS_ZERO.sub(r"\1", text).replace("-", "−")


def one_line(text: object, most: int) -> str:
    """Return what a user wrote as one line of at most ``most`` characters."""
    line = " ".join(str(text).split())
    return line if len(line) <= most else line[: most - 1].rstrip() + "…"
