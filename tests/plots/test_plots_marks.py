"""What happened in a run stands in its pictures, at its time; nothing of it in a run where nothing did."""

from pathlib import Path

import numpy as np
import pytest

from drivesim import load_scenario, simulate
from drivesim.plots import draw
from drivesim.plots.marks import LOOKS, present

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.fixture(scope="module")
def stutter():
    return simulate(load_scenario(SCENARIOS / "brown_out.yaml"))


def verticals(ax, look):
    """Return where lines of a look stand upright."""
    return sorted(
        line.get_xdata()[0]
        for line in ax.lines
        if len(set(line.get_xdata())) == 1 and line.get_color() == look["color"] and line.get_zorder() == 0.5
    )


def panel(figure, word):
    """Return the panel whose heading begins with ``word``."""
    return next(ax for ax in figure.axes if any(t.get_text().startswith(word) for t in ax.texts))


@pytest.mark.parametrize(("picture", "word"), [("electrics", "bus voltage"), ("speeds", "front left")])
def test_resets_stand_at_their_times(stutter, picture, word):
    ax = panel(draw(stutter, picture), word)
    assert verticals(ax, LOOKS["reset"][1]) == [e.time for e in stutter.events if e.kind == "reset"]


def test_times_without_power_are_hatched(stutter):
    ax = panel(draw(stutter, "electrics"), "bus voltage")
    spans = [p for p in ax.patches if p.get_hatch()]
    shaded = sum(p.get_width() for p in spans)
    assert len(spans) == stutter.summary["supply"]["resets"]
    assert shaded == pytest.approx(stutter.summary["supply"]["off_share"] * 10, abs=0.1)
    levels = {line.get_ydata()[0] for line in ax.lines if len(set(line.get_ydata())) == 1}
    assert {6.0, 6.4} <= levels


def test_housings_and_limits_are_drawn_where_given():
    scenario = load_scenario(SCENARIOS / "hot_board.yaml").model_copy(update={"duration": 30.0})
    run = simulate(scenario)
    ax = panel(draw(run, "electrics"), "winding temperatures, housings")
    curves = [line.get_ydata() for line in ax.lines if len(line.get_ydata()) == run.traces.sizes["time"]]
    for wheel in range(4):
        assert any(np.array_equal(c, run.traces["housing_temperature"].values[:, wheel]) for c in curves)


def test_a_plain_run_has_none_of_it():
    run = simulate(load_scenario(SCENARIOS / "bench_start.yaml"))
    assert present(run) == []
    figure = draw(run, "electrics")
    assert not any(p.get_hatch() for ax in figure.axes for p in ax.patches)
    assert not any("housings" in t.get_text() for ax in figure.axes for t in ax.texts)
