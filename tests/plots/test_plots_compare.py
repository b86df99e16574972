"""Pictures of a comparison: labelled, nothing cut off or on top of each other."""

import sys
from itertools import combinations
from pathlib import Path

import pytest
from matplotlib.legend import Legend

sys.path.insert(0, str(Path(__file__).parents[1] / "study"))
from study_samples import short

from drivesim import compare
from drivesim.plots.compare import PICTURES


@pytest.fixture(scope="module")
def found():
    cases = {
        "as it is": short(),
        "a case with quite a long name": short(rover__mass="900 g"),
        "weak $x$": short(ambient="5 degC"),
    }
    return compare(cases, grounds=4)


@pytest.mark.parametrize("name", PICTURES)
def test_nothing_is_cut_off_or_overlaps(found, name):
    figure = PICTURES[name](found)
    figure.canvas.draw()
    box = figure.bbox
    texts = [
        text for axes in figure.axes for text in (axes.title, axes.xaxis.label, axes.yaxis.label, *axes.texts)
    ]
    texts += [label for axes in figure.axes for label in axes.get_yticklabels()] + figure.texts
    shown = [(t.get_text(), t.get_window_extent()) for t in texts if t.get_text() and t.get_visible()]
    assert len(shown) > 3
    keys = [legend for legend in figure.findobj(Legend) if legend.get_texts()]
    for key in keys:
        assert not [words for words, extent in shown if key.get_window_extent().overlaps(extent)]
        assert key.get_window_extent().x1 <= box.x1 + 1
    assert len(keys) == (name == "conditions")
    for words, extent in shown:
        assert extent.x0 >= box.x0 - 1, words
        assert extent.x1 <= box.x1 + 1, words
        assert extent.y0 >= box.y0 - 1, words
        assert extent.y1 <= box.y1 + 1, words
    labels = [(axes.xaxis.label.get_text(), axes.xaxis.label.get_window_extent()) for axes in figure.axes]
    for (a, one), (b, other) in combinations(labels, 2):
        assert not one.overlaps(other), (a, b)


def test_every_axis_has_its_unit(found):
    for name in ("differences", "way"):
        for axes in PICTURES[name](found).axes:
            assert "[" in axes.get_xlabel()


def test_a_dot_is_filled_where_it_is_decided(found):
    decided = found.differences["decided"].copy()
    found.differences["decided"] = [True, False] * (len(decided) // 2)
    try:
        figure = PICTURES["differences"](found)
        means = [line for line in figure.axes[0].lines if line.get_marker() == "o"]
        filled = [line.get_markerfacecolor() != "white" for line in means]
        expected = [
            bool(found.differences.loc[(case, "progress"), "decided"]) for case in list(found.scenarios)[1:]
        ]
        assert filled == expected
    finally:
        found.differences["decided"] = decided
