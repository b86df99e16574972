"""Styles of pictures: what becomes of each colour and line of a figure drawn in ``style``; imports matplotlib.

A figure is drawn in the light style, whose colours each have one meaning, and then turned into another one: this
module alone knows the others.  What must not follow the tables says so by its gid: ``KEEP``, or ``on_shade``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np
from matplotlib import colormaps
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.collections import Collection
from matplotlib.colors import Colormap, LinearSegmentedColormap, ListedColormap, to_hex, to_rgba
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.text import Annotation, Text

from drivesim.plots import chosen_style, style
from drivesim.plots.style import BLACK, BLUE, CONDITION_LOOKS, GREEN, ORANGE, PURPLE, SKY_BLUE, VERMILLION
from drivesim.plots.style import ConditionLook as Look

WHITE = "#FFFFFF"
KEEP = "keep"  # gid of what is the same in every style
ON = "on shade:"  # gid of words on a shade, with the map's name and the place in it
SHADES = "cividis"  # of maps; its lightness grows evenly, also in grey and for most colour blindness
LEVERS = "levers"  # of what hinders and what helps, from −1 to 1
RELIEF = "relief"  # of ground, the low darker


@dataclass(frozen=True)
class Palette:
    """A style: its page, what each colour of the light style becomes, conditions, shades, and how heavy lines are."""

    page: str = WHITE
    colours: Mapping[str, str] = field(default_factory=dict)
    conditions: Mapping[str, Look] = field(default_factory=lambda: CONDITION_LOOKS)
    shades: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    heavier: float = 1.0
    grey: bool = False

    def colour(self, light: Any) -> tuple[float, float, float, float]:
        """Return what a colour of the light style becomes, as transparent as it was."""
        r, g, b, a = to_rgba(light)
        found = self.colours.get(to_hex((r, g, b)).upper())
        if found is None:
            found = to_hex((even_grey((r, g, b)),) * 3) if self.grey else to_hex((r, g, b))
        return (*to_rgba(found)[:3], a)

    def shade(self, name: str) -> Colormap:
        """Return a map of colours: ``SHADES``, ``LEVERS``, ``RELIEF``."""
        return _shade(name, self.shades.get(name, _LIGHT_SHADES.get(name, ())), self.grey)


#: levers end where black words are still legible
_LIGHT_SHADES = {LEVERS: ("#EB8B4A", WHITE, "#5FA8D8"), RELIEF: ("#BFBFBF", WHITE)}

_DARK_PAGE = "#15181C"
_DARK = {
    WHITE: _DARK_PAGE, BLACK: WHITE, style.INK: "#E8E8E8", style.FAINT: "#A0A6AD", style.DIM: "#7F868D",
    style.PALE: "#565C63", style.GUIDE: "#2F343A", style.GROUND: "#3A342C", style.AGAINST: "#B4B9BF",
    BLUE: "#3D8BD9", style.OCHRE: ORANGE, style.STEEL: SKY_BLUE, "#F1F1F1": "#31363C",
}  # fmt: skip
_PRINT = {
    BLUE: "#000000", VERMILLION: "#6E6E6E", GREEN: "#404040", PURPLE: "#8C8C8C", style.OCHRE: "#555555",
    style.STEEL: "#7A7A7A", ORANGE: "#B4B4B4", SKY_BLUE: "#DADADA", style.INK: BLACK, style.FAINT: "#4D4D4D",
    style.AGAINST: "#808080", style.DIM: "#8C8C8C",
}  # fmt: skip

PALETTES = {
    "light": Palette(),
    "dark": Palette(
        page=_DARK_PAGE,
        colours=_DARK,
        conditions={
            **CONDITION_LOOKS,
            "gripping": Look("#31363C", "", "#31363C", "o", "grips"),
            "stalled": Look(WHITE, "", WHITE, "s", "stalled"),
            "dragged": Look("#3D8BD9", "----", "#0B0D10", "D", "dragged"),
            "out_of_step": Look(VERMILLION, "xxxx", "#0B0D10", "X", "out of step"),
        },
        shades={LEVERS: ("#9C4A10", "#24282D", "#1B5F9E"), RELIEF: ("#15181C", "#3A4047")},
    ),
    "print": Palette(
        colours=_PRINT,
        conditions={
            **CONDITION_LOOKS,
            "slipping": Look("#B4B4B4", "////", BLACK, "v", "slips"),
            "airborne": Look("#DADADA", "...", BLACK, "^", "in the air"),
            "out_of_step": Look("#7A7A7A", "xxxx", WHITE, "X", "out of step"),
            "dragged": Look("#4A4A4A", "----", WHITE, "D", "dragged"),
        },
        shades={LEVERS: ("#A0A0A0", WHITE, "#A0A0A0")},
        heavier=1.35,
        grey=True,
    ),
}


def palette(name: str) -> Palette:
    """Return a style by its name; raises DrivesimError for others."""
    return PALETTES[chosen_style(name)]


def luminance(colour: Any) -> float:
    """Return the relative luminance of an sRGB colour, 0 (black) to 1 (white); WCAG 2.2."""
    rgb = np.array(to_rgba(colour)[:3])
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


def contrast(a: Any, b: Any) -> float:
    """Return the contrast ratio of two colours, 1 to 21: (L1 + 0.05) / (L2 + 0.05); WCAG 2.2."""
    low, high = sorted((luminance(a), luminance(b)))
    return (high + 0.05) / (low + 0.05)


def even_grey(colour: Any) -> float:
    """Return the grey, 0 to 1, that is as bright as ``colour``."""
    y = luminance(colour)
    return 12.92 * y if y <= 0.0031308 else 1.055 * y ** (1 / 2.4) - 0.055


def ink_on(colour: Any) -> str:
    """Return black or white, whichever is more legible on ``colour``; at least 4.58 to 1."""
    return max((BLACK, WHITE), key=lambda ink: contrast(ink, colour))


def on_shade(name: str, share: float) -> dict[str, Any]:
    """Return how words on the shade at ``share`` (0 to 1) of a map of colours are drawn, as arguments of a text."""
    return {"color": ink_on(PALETTES["light"].shade(name)(share)), "gid": f"{ON}{name}:{share:.4f}"}


def shades(name: str) -> Colormap:
    """Return a map of colours as figures are drawn with."""
    return PALETTES["light"].shade(name)


@cache
def _shade(name: str, ends: tuple[str, ...], grey: bool) -> Colormap:
    if ends:
        return LinearSegmentedColormap.from_list(name, list(ends))
    own = colormaps[name]
    if not grey:
        return own
    return ListedColormap([[even_grey(own(i))] * 3 for i in range(own.N)], name)


@style.styled()  # ticks may be made here
def restyle(figure: Figure, name: str) -> Figure:
    """Turn a figure drawn by ``drivesim.plots`` into the style ``name``, and return it; once only.

    Raises DrivesimError where there is no such style.
    """
    own = palette(name)
    if name == "light":
        return figure
    for artist in {id(one): one for one in figure.findobj(include_self=True)}.values():
        _restyle(artist, own)
    for axes in figure.findobj(Axes):
        axes.tick_params(
            which="both", color=own.colour(style.FAINT), labelcolor=own.colour(style.INK),
            grid_color=own.colour(style.GUIDE), width=0.7 * own.heavier,
        )  # fmt: skip
    return figure


def _restyle(artist: Artist, own: Palette) -> None:
    gid = artist.get_gid() or ""
    if isinstance(artist, ScalarMappable) and artist.get_array() is not None:
        _shades(artist, own)
    if gid == KEEP:
        return
    for kind, change in _CHANGES:
        if isinstance(artist, kind):
            change(artist, own)


def _shades(mappable: ScalarMappable, own: Palette) -> None:
    axis = mappable.colorbar.long_axis if mappable.colorbar is not None else None
    if axis is not None:  # another map of colours makes it forget its ticks
        places, small, words = axis.get_major_locator(), axis.get_minor_locator(), axis.get_major_formatter()
    mappable.set_cmap(own.shade(mappable.get_cmap().name))
    if axis is not None:
        axis.set_major_locator(places)
        axis.set_minor_locator(small)
        axis.set_major_formatter(words)


def _line(line: Line2D, own: Palette) -> None:
    face, edge = line.get_markerfacecolor(), line.get_markeredgecolor()
    line.set_color(own.colour(line.get_color()))
    for colour, change in ((face, line.set_markerfacecolor), (edge, line.set_markeredgecolor)):
        if not (isinstance(colour, str) and colour == "none"):
            change(own.colour(colour))
    line.set_linewidth(own.heavier * line.get_linewidth())


def _text(text: Text, own: Palette) -> None:
    gid = text.get_gid() or ""
    if gid.startswith(ON):
        name, share = gid.removeprefix(ON).split(":")
        text.set_color(ink_on(own.shade(name)(float(share))))
    else:
        text.set_color(own.colour(text.get_color()))
    box = text.get_bbox_patch()
    if box is not None:
        _patch(box, own)
    if isinstance(text, Annotation) and text.arrow_patch is not None:
        _patch(text.arrow_patch, own)


def _patch(patch: Patch, own: Palette) -> None:
    face, edge = to_rgba(patch.get_facecolor()), to_rgba(patch.get_edgecolor())
    for name, look in CONDITION_LOOKS.items():
        if look.hatch and patch.get_hatch() == look.hatch:
            same = to_hex(face) == to_hex(look.colour) and to_hex(edge) == to_hex(look.hatch_colour)
            if same:
                now = own.conditions[name]
                patch.set_facecolor(now.colour)
                patch.set_edgecolor(now.hatch_colour)
                return
    if face[3] > 0:  # a transparency of the whole patch would show what is not drawn
        patch.set_facecolor(own.colour(face))
    if edge[3] > 0:
        patch.set_edgecolor(own.colour(edge))
    patch.set_linewidth(own.heavier * patch.get_linewidth())


def _collection(collection: Collection, own: Palette) -> None:
    edges = collection.get_edgecolor()
    if collection.get_array() is None:
        collection.set_facecolor(
            [own.colour(one) for one in np.atleast_2d(collection.get_facecolor()) if len(one)]
        )
    if len(edges):
        collection.set_edgecolor([own.colour(one) for one in np.atleast_2d(edges)])
    collection.set_linewidth(
        [own.heavier * float(width) for width in np.atleast_1d(collection.get_linewidth())]
    )


_CHANGES: tuple[tuple[type[Artist], Callable[[Any, Palette], None]], ...] = (
    (Line2D, _line), (Text, _text), (Patch, _patch), (Collection, _collection),
)  # fmt: skip
