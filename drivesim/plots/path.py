"""The picture of the way, from above and from the side; imports layout, profile and way."""

from __future__ import annotations

import textwrap
from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Patch, Rectangle
from matplotlib.ticker import MaxNLocator

from drivesim.plots import layout, profile
from drivesim.plots.palettes import RELIEF, shades
from drivesim.plots.profile import Profile, draw_marks, draw_profile, plan_profile
from drivesim.plots.style import FAINT, INK, condition_look, mark_look, one_line, signed, styled, wheel_look
from drivesim.plots.way import AROUND, Mark, last_radii, marks, sides, way
from drivesim.scenario.ground import Patch as GroundPatch
from drivesim.scenario.soil import Soil

if TYPE_CHECKING:
    from drivesim.analysis.run import Run

TALLEST, LEAST = 3.2, 1.1  # inches of the view from above
LANE = 0.22  # inches kept free for the words of patches
LEAST_RELIEF = 1e-3  # m of height that is worth shading
MOST_CELLS = 300  # of the shading along an axis
NARROW = 0.5  # share of the page from which the views go one below the other
NARROWEST = 2.4  # inches
BETWEEN = 0.35  # inches between views one below the other
GAP = 0.75  # inches between views side by side
HEADING, LETTER = 2.0, 0.06  # inches: of the view's heading and what may be more, of a small letter
BEHIND: Any = {"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 1.5}  # of words on the ground
START: Any = {"color": FAINT, "linestyle": (0, (2, 1))}
END: Any = {"color": INK, "linestyle": "solid"}
PATCH: Any = {"facecolor": "#FFFFFF80", "edgecolor": FAINT, "linewidth": 0.8}
#: hatches of kinds of other ground, and their words in the key
HATCHES = {
    "soil": ("....", "soil"),
    "less": ("\\\\\\\\", "less friction"),
    "more": ("||||", "more friction"),
    "hold": ("++++", "hold for bite"),
    "rolling": ("----", "other rolling resistance"),
}
SHADES: Any = {"origin": "lower", "aspect": "auto", "interpolation": "nearest", "zorder": -1}


class View(NamedTuple):
    """The view from above: ends along x and y [m], inch per metre, inches; beside: room at its side."""

    x: np.ndarray
    y: np.ndarray
    scale: float
    width: float
    height: float
    beside: bool


@styled()
def path(run: Run) -> Figure:
    """Return the picture of the way from above and from the side, with marks where wheels did not grip."""
    found, going, view = marks(run), way(run), _view(run)
    if not view.beside and going.straight and run.scenario.start.heading == 0:
        going = replace(going, span=(float(view.x[0]), float(view.x[1])))
    left, below, room = layout.LEFT, view.height + 0.75, layout.INSIDE
    if view.beside:
        left, below, room = left + view.width + GAP, 0.0, room - view.width - GAP
    words = profile.LANE if found else 0.0
    plans = _alike(
        [plan_profile(run, word, wheels, going, room, words) for word, wheels in sides(run).items()]
    )
    end = max(view.height, below + sum(plan.height + BETWEEN for plan in plans) - BETWEEN)
    title = "The way of the wheels, from above and from the side"
    legends = [_keys(run), _mark_keys(found)] if found else [_keys(run)]
    figure, top = layout.page(run, title, end + layout.BOTTOM, *legends)
    _from_above(run, layout.panel(figure, layout.LEFT, top, view.width, view.height), view, found)
    _from_the_side(run, figure, plans, found, (left, top + below, room))
    return figure


def _alike(plans: list[Profile]) -> list[Profile]:
    """Return plans that all show the widest stretch of them, as true to scale as before: one axis serves all."""
    x0, x1 = max((plan.x for plan in plans), key=lambda x: x[1] - x[0])
    return [
        replace(
            plan, x=(x0, x1),
            z=(plan.z[0], plan.z[0] + (plan.z[1] - plan.z[0]) * (x1 - x0) / (plan.x[1] - plan.x[0])),
        )
        for plan in plans
    ]  # fmt: skip


def _view(run: Run) -> View:
    """Return a view that holds all tracks: across the page, or narrow with the other views beside it."""
    room = run.scenario.rover.wheel.radius + AROUND
    lane = LANE if run.scenario.ground.patches else 0.0
    x, y = run.traces["hub_x"].values, run.traces["hub_y"].values
    span_x = np.array([x.min() - room, x.max() + room])
    span_y = np.array([y.min() - room, y.max() + room])
    scale = min(layout.INSIDE / np.ptp(span_x), TALLEST / np.ptp(span_y))
    width, height = np.ptp(span_x) * scale, max(np.ptp(span_y) * scale + lane, LEAST)
    beside = bool(width < NARROW * layout.INSIDE)
    width = max(width, NARROWEST) if beside else layout.INSIDE
    span_x = span_x.mean() + np.array([-0.5, 0.5]) * width / scale
    spare = (height - lane) / scale - np.ptp(span_y)
    span_y += np.array([-0.5, 0.5]) * spare - np.array([lane / scale, 0.0])
    return View(span_x, span_y, scale, width, height, beside)


def _from_the_side(
    run: Run, figure: Figure, plans: list[Profile], found: list[Mark], place: tuple[float, float, float]
) -> None:
    left, top, width = place
    for plan in plans:
        ax = layout.panel(figure, left, top, width, plan.height)
        draw_profile(run, ax, plan, [mark for mark in found if mark.wheel in plan.wheels])
        ax.xaxis.set_major_locator(MaxNLocator(max(2, int(width))))
        if plan is plans[-1]:
            ax.set_xlabel(plan.way.word)
        else:
            ax.tick_params(labelbottom=False)
        top += plan.height + BETWEEN


def _from_above(run: Run, axes: Axes, view: View, found: list[Mark]) -> None:
    """Draw ground, patches, tracks and the rover's outline at start and end, all to one scale."""
    traces = run.traces
    axes.set_xlim(*view.x)
    axes.set_ylim(*view.y)
    heights = shade(run, axes)
    _ground_edge(run, axes)
    _patches(run, axes)
    x, y = traces["hub_x"].values, traces["hub_y"].values
    for i in range(traces.sizes["wheel"]):
        look = wheel_look(i)
        axes.plot(x[:, i], y[:, i], color=look.colour, linestyle=look.line)
    whole = np.full(traces.sizes["wheel"], run.scenario.rover.wheel.radius)
    _outline(run, axes, 0, whole, **START)
    _outline(run, axes, -1, last_radii(run), **END)
    draw_marks(axes, found, x, y)
    axes.xaxis.set_major_locator(MaxNLocator(max(2, int(view.width))))
    axes.set_xlabel("x [m]")
    axes.set_ylabel("y [m]")
    layout.heading(axes, "from above, to scale")
    words = "; ".join(words for words in (_throughout(run), heights) if words)
    if layout.text_width(words) + HEADING <= view.width:
        layout.remark(axes, words)
    elif words:  # a narrow view says it inside
        axes.text(
            0.02, 0.02, "\n".join(textwrap.wrap(words, int(view.width / LETTER))), transform=axes.transAxes,
            fontsize=layout.WORD_SIZE, bbox=BEHIND, zorder=6,
        )  # fmt: skip


def _mark_keys(found: list[Mark]) -> list[Artist]:
    return [
        layout.line_key(f"begins: {condition_look(code).label}", **mark_look(code))
        for code in sorted({mark.code for mark in found})
    ]


def _keys(run: Run) -> list[Artist]:
    keys: list[Artist] = [*layout.wheel_keys(run.traces["wheel"].values, markers=False)]
    keys += [layout.line_key("start", **START), layout.line_key("end", **END)]
    kinds = {_kind(patch) for patch in run.scenario.ground.patches}
    return keys + [
        Patch(label=words, hatch=hatch, **PATCH) for kind, (hatch, words) in HATCHES.items() if kind in kinds
    ]


def shade(run: Run, axes: Axes) -> str:
    """Shade the ground by its height; return the key to it in words, or nothing on level ground."""
    ground = run.ground
    rows, step_x = _seen(axes.get_xlim(), ground.x_axis)
    columns, step_y = _seen(axes.get_ylim(), ground.y_axis)
    part = ground.heights[rows, columns]
    if part.size == 0 or np.ptp(part) < LEAST_RELIEF:
        return ""
    low, high = float(part.min()), float(part.max())
    thin = part[::step_x, ::step_y]
    dx, dy = step_x * ground.dx, step_y * ground.dy
    x0, y0 = ground.x_axis[rows.start] - dx / 2, ground.y_axis[columns.start] - dy / 2
    extent = (x0, x0 + thin.shape[0] * dx, y0, y0 + thin.shape[1] * dy)
    limits = axes.get_xlim(), axes.get_ylim()
    axes.imshow(thin.T, extent=extent, vmin=low, vmax=high, cmap=shades(RELIEF), **SHADES)
    axes.set_xlim(limits[0])
    axes.set_ylim(limits[1])
    return signed(f"ground from {1e3 * low:.0f} mm (darker) to {1e3 * high:.0f} mm (lighter)")


def _seen(limits: tuple[float, float], places: np.ndarray) -> tuple[slice, int]:
    """Return which of the grid's ``places`` lie within ``limits``, and every how many to shade."""
    first, last = np.searchsorted(places, limits)
    seen = slice(max(0, int(first) - 1), min(len(places), int(last) + 1))
    return seen, max(1, -(-(seen.stop - seen.start) // MOST_CELLS))


def _ground_edge(run: Run, axes: Axes) -> None:
    ground = run.scenario.ground
    corner = (-ground.behind, -ground.width / 2)
    axes.add_patch(
        Rectangle(
            corner, ground.behind + ground.length, ground.width, fill=False, edgecolor=FAINT, gid="edge"
        )
    )


def _kind(patch: GroundPatch) -> str:
    """Return what is mainly different on a patch: a key of ``HATCHES``."""
    if patch.soil is not None:
        return "soil"
    if patch.factor != 1:
        return "less" if patch.factor < 1 else "more"
    return "hold" if patch.hold else "rolling"


def _difference(patch: GroundPatch) -> str:
    """Return in words what is different on a patch."""
    words = [_soil_word(patch.soil)] if patch.soil is not None else []
    words += [f"friction ×{patch.factor:g}"] if patch.factor != 1 else []
    words += [f"rolling ×{patch.rolling_factor:g}"] if patch.rolling_factor != 1 else []
    words += [f"hold {patch.hold:g}"] if patch.hold else []
    return ", ".join(words) or "as around"


def _soil_word(soil: Soil) -> str:
    return f"soil {(soil.preset or 'of its own').replace('_', ' ')}"


def _throughout(run: Run) -> str:
    """Return in words what the ground is of away from its patches, where that is said."""
    ground = run.scenario.ground
    if ground.soil is not None:
        return _soil_word(ground.soil)
    words = [ground.surface.replace("_", " ")] if ground.surface is not None else []
    words += [f"hold {ground.hold:g}"] if ground.hold else []
    return ", ".join(words)


def _patches(run: Run, axes: Axes) -> None:
    """Draw the patches of other ground, with their words in the lane at the bottom."""
    words = []
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    for patch in run.scenario.ground.patches:
        x0, x1 = max(patch.x[0], left), min(patch.x[1], right)
        y0, y1 = max(patch.y[0], bottom), min(patch.y[1], top)
        if x0 >= x1 or y0 >= y1:
            continue
        axes.add_patch(
            Rectangle(
                (patch.x[0], patch.y[0]), *np.ptp([patch.x, patch.y], axis=1), gid="patch",
                hatch=HATCHES[_kind(patch)][0], **PATCH,
            )
        )  # fmt: skip
        text = one_line(f"{patch.label or 'patch'}: {_difference(patch)}", 50)
        words.append(((x0 + x1) / 2, y0 + 0.1 * (y1 - y0), text))
    layout.words_in_lane(axes, words, at_top=False)


def _outline(run: Run, axes: Axes, row: int, radii: np.ndarray, **look: Any) -> None:
    """Draw the rover's outline at ``row``: its frame, an arrow head at its front, and its wheels of ``radii``."""
    traces, rover = run.traces, run.scenario.rover
    yaw = float(traces["yaw"].values[row])
    turn = np.array([[np.cos(yaw), -np.sin(yaw)], [np.sin(yaw), np.cos(yaw)]])
    hubs = np.stack([traces["hub_x"].values[row], traces["hub_y"].values[row]], axis=-1)
    places = np.array([rover.place(str(name)).at for name in traces["wheel"].values])
    middle = (hubs - places @ turn.T).mean(axis=0)
    half_x, half_y = np.abs(places).max(axis=0)
    frame = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]]) * (half_x, half_y)
    arrow = np.array([[0.4, -0.3], [0.75, 0.0], [0.4, 0.3]]) * (half_x, half_y or half_x)
    shapes = [
        frame,
        arrow,
        *(at + np.array([[-r, 0.0], [r, 0.0]]) for at, r in zip(places, radii, strict=True)),
    ]
    lines = [middle + shape @ turn.T for shape in shapes]
    widths = [1.0, 1.0, *[2.5] * len(places)]
    axes.add_collection(
        LineCollection(lines, colors=look["color"], linestyles=[look["linestyle"]], linewidths=widths),
        autolim=False,
    )
