"""Levels across a panel, such as limits, with their words at its right; imports the layout and the style."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from drivesim.analysis.heat_limits import told_limits
from drivesim.plots import layout
from drivesim.plots.style import FAINT, INK, LIMIT

if TYPE_CHECKING:
    from drivesim.analysis.run import Run

NEAR = 0.4  # a level is drawn where this share of the way to it is used, else it is said in words
GUARD: Any = {"color": FAINT, "linestyle": ":", "linewidth": 1.0}  # where something sets in
TIE: Any = {
    "arrowstyle": "-",
    "linewidth": 0.5,
    "color": FAINT,
    "shrinkA": 0,
    "shrinkB": 0,
    "relpos": (0, 0.5),
}
#: words and look of what heat_limits names
HEAT: dict[str, tuple[str, Any]] = {
    "winding": ("winding limit", LIMIT),
    "adhesive": ("adhesive limit", LIMIT),
    "magnet": ("magnet limit", LIMIT),
    "touch": ("hot to touch", GUARD),
}
LINE = 0.135  # inches from one line of words to the next
AWAY = 0.2  # inches from the panel to the words


class Level(NamedTuple):
    """A level: its value, words, unit, and how far what may reach it has come at most."""

    value: float
    words: str
    unit: str
    peak: float
    look: Any

    @property
    def text(self) -> str:
        """What the level is, and its value."""
        return f"{self.words} {self.value:.4g} {self.unit}"


def split(levels: Sequence[Level], start: float, top: float) -> tuple[list[Level], list[Level]]:
    """Return the levels that a scale from ``start`` to at least ``top`` shows, and the others.

    Those that something came near to are shown, and what lies below them.
    """
    near = [level.value for level in levels if level.peak - start > NEAR * (level.value - start)]
    top = max([top, *near])
    return [level for level in levels if level.value <= top], [level for level in levels if level.value > top]


def room(levels: Sequence[Level]) -> float:
    """Return how much room the words of ``levels`` need at the right of a panel [inch]."""
    return max((layout.text_width(level.text) + AWAY + 0.05 for level in levels), default=0.0)


def draw(axes: Axes, levels: Sequence[Level], *, words: bool = True) -> None:
    """Draw lines at ``levels``, which the scale reaches, and their words at the right, apart from each other."""
    for level in levels:
        axes.axhline(level.value, **level.look)
    figure = axes.get_figure()
    if not words or not levels:
        return
    assert isinstance(figure, Figure)
    ordered = sorted(levels, key=lambda level: level.value)
    box, (low, high) = axes.get_position(), axes.get_ylim()
    height, width = box.height * figure.get_figheight(), box.width * figure.get_figwidth()
    places = [(level.value - low) / (high - low) * height for level in ordered]
    bottoms = layout.apart(
        [place - LINE / 2 for place in places], [LINE] * len(places), max(height, LINE * len(places))
    )
    for level, bottom in zip(ordered, bottoms, strict=True):
        axes.annotate(
            level.text, (1.0, level.value), xycoords=("axes fraction", "data"),
            xytext=(1 + AWAY / width, (bottom + LINE / 2) / height), textcoords="axes fraction", va="center",
            fontsize=layout.WORD_SIZE, color=INK, arrowprops=TIE, annotation_clip=False,
        )  # fmt: skip


def of_heat(run: Run) -> list[Level]:
    """Return the temperatures [°C] at which something of the windings and housings is too hot or sets in."""
    winding, driver = run.scenario.rover.wheel.winding, run.scenario.rover.wheel.driver
    hottest = float(run.traces["winding_temperature"].max())
    housing = float(run.traces["housing_temperature"].max())
    levels: list[tuple[float | None, str, float, Any]] = [
        (degC, HEAT[name][0], housing if of_housing else hottest, HEAT[name][1])
        for name, of_housing, degC in told_limits(winding)
    ]
    if driver.cut_back is not None:
        levels.append((driver.cut_back.start, "cut-back begins", hottest, GUARD))
        levels.append((driver.cut_back.end, "no voltage from", hottest, GUARD))
    if driver.trip is not None:
        levels.append((driver.trip.above, "trips above", hottest, GUARD))
        levels.append((driver.trip.resume, "on again below", hottest, GUARD))
    return [Level(value, words, "°C", peak, look) for value, words, peak, look in levels if value is not None]


def of_bus(run: Run) -> list[Level]:
    """Return the bus voltages [V] at which cells or controllers are too low, or controllers boot again."""
    cells, lockout = run.scenario.rover.battery, run.scenario.rover.wheel.driver.lockout
    levels = [Level(cells.cut_off * cells.cells_in_series, "cut-off", "V", 0.0, LIMIT)]
    if lockout is not None:
        levels.append(Level(lockout.below, "resets below", "V", 0.0, GUARD))
        levels.append(Level(lockout.above, "boots above", "V", 0.0, GUARD))
    return levels


def of_battery(run: Run) -> list[Level]:
    """Return the battery currents [A] that cells and connector are rated for."""
    cells, peak = run.scenario.rover.battery, float(run.traces["battery_current"].max())
    levels = [Level(cells.current_rating, "rating", "A", peak, LIMIT)]
    if cells.connector_rating is not None:
        levels.append(Level(cells.connector_rating, "connector", "A", peak, GUARD))
    return levels


def of_phases(run: Run) -> list[Level]:
    """Return the amplitudes [A] that a wheel's controller is rated for and holds."""
    driver = run.scenario.rover.wheel.driver
    peak = float((run.traces["current_d"] ** 2 + run.traces["current_q"] ** 2).max() ** 0.5)
    levels = ((driver.current_rating, "controller", LIMIT), (driver.current_limit, "controller holds", GUARD))
    return [Level(value, words, "A", peak, look) for value, words, look in levels if value is not None]
