"""Styles: legible by calculation, nothing of the light style left in another, grey in print, names told."""

import itertools
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from matplotlib.colors import LogNorm, to_hex
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text
from matplotlib.ticker import FixedLocator
from test_plots_look import lab

from drivesim.errors import DrivesimError
from drivesim.plots import STYLES, draw, palettes, style, write_pictures
from drivesim.plots.files import pixels, write_figures
from drivesim.plots.palettes import LEVERS, ON, PALETTES, SHADES, contrast, palette, restyle
from drivesim.plots.sizing import draw_limits, draw_lines
from drivesim.plots.sizing_levers import draw_levers
from drivesim.plots.style import CONDITION_LOOKS, wheel_look
from drivesim.scenario import load_scenario
from drivesim.sizing.size import size

SCENARIOS = Path(__file__).parents[2] / "scenarios"
#: least contrast of text and of what has to be seen, WCAG 2.2, success criteria 1.4.3 and 1.4.11
TEXT, SEEN = 4.5, 3.0
BEHIND = {style.PALE, style.GUIDE}  # lines that only guide the eye


@pytest.fixture(scope="module")
def sizing():
    return size(load_scenario(SCENARIOS / "slab_edge.yaml"))


@pytest.fixture(scope="module")
def in_style(rough, hot, sizing):
    """Give the figures of a style, each drawn once."""

    @cache
    def figures(name):
        found = {one: draw(rough, one, name) for one in ("speeds", "path", "slip", "load_angle")}
        found["electrics"] = draw(hot, "electrics", name)
        return found | {
            one.__name__: restyle(one(sizing), name) for one in (draw_lines, draw_limits, draw_levers)
        }

    return figures


def test_contrast_is_that_of_the_guidelines():
    # WCAG 2.2, definition of contrast ratio: 21 for black on white; #767676 is the lightest grey that gives 4.5 on
    # white (from memory)
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert contrast("#FFFFFF", "#767676") >= TEXT > contrast("#FFFFFF", "#777777")


def page_of(figure: Figure) -> str:
    return to_hex(figure.get_facecolor())


def too_faint(figure: Figure, name: str) -> list[str]:
    """Return the words and lines of a figure that its page, or the shade they are on, makes hard to see."""
    own, page, found = palette(name), page_of(figure), []
    behind = {to_hex(own.colour(colour)) for colour in BEHIND}
    for text in figure.findobj(Text):
        if text.get_text().strip() and text.get_visible():
            gid, ground = text.get_gid() or "", page
            if gid.startswith(ON):
                kind, share = gid.removeprefix(ON).split(":")
                ground = to_hex(own.shade(kind)(float(share)))
            if contrast(text.get_color(), ground) < TEXT:
                found.append(f"{text.get_text()!r} {text.get_color()} on {ground}")
    for line in figure.findobj(Line2D):
        colour = to_hex(line.get_color())
        drawn = line.get_visible() and line.get_linestyle() != "None" and len(line.get_xdata()) > 0
        if drawn and colour not in behind and contrast(colour, page) < SEEN:
            found.append(f"{line} {colour} on {page}")
    return found


@pytest.mark.parametrize("name", STYLES)
def test_words_and_lines_can_be_seen(in_style, name):
    for figure in in_style(name).values():
        assert page_of(figure) == palette(name).page.lower()
        assert not too_faint(figure, name)


@pytest.mark.parametrize("name", STYLES)
def test_all_colours_of_wheels_and_words_can_be_seen(name):
    own = palette(name)
    for colour in (*(wheel_look(i).colour for i in range(7)), style.DIM, style.AGAINST, style.VERMILLION):
        assert contrast(own.colour(colour), own.page) >= SEEN, colour
    for colour in (style.INK, style.FAINT):
        assert contrast(own.colour(colour), own.page) >= TEXT
    assert contrast(own.colour(style.INK), own.colour(style.GROUND)) >= TEXT
    for kind in (SHADES, LEVERS):
        shade = own.shade(kind)
        for share in np.linspace(0, 1, 41):
            assert contrast(palettes.ink_on(shade(share)), shade(share)) >= TEXT


def test_a_push_against_the_command_differs_from_one_as_commanded_on_a_grey_printer():
    own = palette("print")
    assert contrast(own.colour(style.BLUE), own.colour(style.AGAINST)) >= SEEN


@pytest.mark.parametrize("name", STYLES)
def test_conditions_differ_also_in_grey(name):
    own = palette(name)
    assert list(own.conditions) == list(CONDITION_LOOKS)
    for a, b in itertools.combinations(own.conditions.values(), 2):
        apart = abs(lab(a.colour)[0] - lab(b.colour)[0]) > 30
        assert apart or set(a.hatch) != set(b.hatch), (a.label, b.label)
        assert a.marker != b.marker
    for look in own.conditions.values():
        assert not look.hatch or contrast(look.colour, look.hatch_colour) >= SEEN, look.label
        told = contrast(look.colour, own.page) >= SEEN or look.hatch or look.label == "grips"
        assert told, look.label
    assert contrast(own.conditions["stalled"].colour, own.page) >= 7  # black would vanish on a dark page


def counted(figure: Figure) -> dict[str, int]:
    """Return how many pixels of a figure have each colour."""
    red, green, blue = np.moveaxis(np.asarray(pixels(figure)).astype(np.uint32), 2, 0)
    colours, counts = np.unique((red << 16) | (green << 8) | blue, return_counts=True)
    return {f"#{colour:06X}": count for colour, count in zip(colours.tolist(), counts.tolist(), strict=True)}


@pytest.mark.parametrize("name", ["speeds", "path"])
def test_nothing_light_is_left_in_the_dark(in_style, name):
    light, dark = (counted(in_style(one)[name]) for one in ("light", "dark"))
    gone = {style.INK, style.FAINT, style.DIM, style.PALE, style.GROUND, style.AGAINST, "#F1F1F1"}
    assert len([colour for colour in gone if light.get(colour, 0) > 100]) > 3  # they would be found
    assert not {colour: dark[colour] for colour in gone if dark.get(colour, 0) > 5}  # single ones are blends
    assert light["#FFFFFF"] > 0.5 * sum(light.values())
    assert dark[palette("dark").page] > 0.5 * sum(dark.values())


def test_print_is_grey_and_its_lines_heavier(in_style):
    for name in ("speeds", "draw_levers"):
        for colour in counted(in_style("print")[name]):
            assert colour[1:3] == colour[3:5] == colour[5:7]
    light, heavy = (
        [line.get_linewidth() for line in in_style(one)["speeds"].axes[0].lines] for one in ("light", "print")
    )
    assert heavy == pytest.approx([PALETTES["print"].heavier * width for width in light])


def test_a_style_leaves_other_threads_alone(rough, tmp_path):
    with ThreadPoolExecutor(3) as pool:
        first, dark, last = pool.map(
            lambda job: write_pictures(rough, tmp_path / str(job), names=["energy"], style=STYLES[job % 2]),
            (0, 1, 2),
        )
    assert first[0].read_bytes() == last[0].read_bytes() != dark[0].read_bytes()
    alone = write_pictures(rough, tmp_path / "alone", names=["energy"], style="dark")
    assert dark[0].read_bytes() == alone[0].read_bytes()


def test_unknown_styles_get_one_line(rough, tmp_path):
    line = r"^style of pictures: found 'drak', allowed: light, dark, print; nearest is dark$"
    for call in (
        lambda: draw(rough, "energy", "drak"),
        lambda: write_pictures(rough, tmp_path, style="drak"),
        lambda: write_figures({}, tmp_path, style="drak"),
    ):
        with pytest.raises(DrivesimError, match=line):
            call()
    assert not list(tmp_path.iterdir())


def test_every_format_of_a_study_in_a_style(sizing, tmp_path):
    made = [
        write_figures({"limits": lambda: draw_limits(sizing)}, tmp_path / name, forms, name)
        for name, forms in (("light", ("svg",)), ("dark", ("svg", "pdf")))
    ]
    assert [path.name for path in made[1]] == ["limits.svg", "limits.pdf"]
    ink = style.INK.lower().encode()
    assert ink in made[0][0].read_bytes()
    assert ink not in made[1][0].read_bytes()


def test_a_scale_of_colours_keeps_its_ticks():
    figure = Figure()
    axes = figure.subplots()
    bar = figure.colorbar(axes.scatter([1, 2], [1, 2], c=[0.9, 1.5], cmap=SHADES, norm=LogNorm()))
    bar.ax.yaxis.set_major_locator(FixedLocator([1.0, 1.2]))
    bar.ax.yaxis.set_major_formatter("{x:.1f}")
    restyle(figure, "print")
    assert [text.get_text() for text in bar.ax.get_yticklabels()] == ["1.0", "1.2"]
