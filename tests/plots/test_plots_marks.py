"""What happened in a run stands in its pictures, at its time; nothing of it in a run where nothing did."""

from pathlib import Path

import numpy as np
import pytest

from drivesim import load_scenario, scenario_from_text, simulate
from drivesim.plots import draw, layout
from drivesim.plots.marks import few_words, plan, present

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.fixture(scope="module")
def stutter():
    return simulate(load_scenario(SCENARIOS / "brown_out.yaml"))


def verticals(ax, kind):
    """Return where the lines of a kind of event stand upright."""
    lines = [c for c in ax.collections if c.get_gid() == f"event:{kind}"]
    return sorted(segment[0, 0] for c in lines for segment in c.get_segments())


def panel(figure, word):
    """Return the panel whose heading begins with ``word``."""
    return next(ax for ax in figure.axes if any(t.get_text().startswith(word) for t in ax.texts))


@pytest.mark.parametrize(("picture", "word"), [("electrics", "bus voltage"), ("speeds", "front left")])
def test_resets_stand_at_their_times(stutter, picture, word):
    ax = panel(draw(stutter, picture), word)
    assert verticals(ax, "reset") == [e.time for e in stutter.events if e.kind == "reset"]


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


@pytest.mark.parametrize("width", [layout.INSIDE, layout.INSIDE / 2.2])
def test_every_fault_and_its_end_is_told(failing, width):
    strip = plan(failing, width)
    faults = [event for event in failing.events if event.kind == "fault"]
    assert len(faults) == 9
    assert strip.items == [(event, few_words(event)) for event in faults]
    assert strip.items[-1][1] == "battery: resistance back to 140 mΩ"


def test_a_wheel_without_tyre_is_drawn_with_its_rim(failing):
    """At the end: the front left wheel with the radius the event gives, the others whole."""
    figure = draw(failing, "path")
    sizes = [
        (patch.width, patch.height)
        for ax in figure.axes
        for patch in ax.patches
        if patch.get_gid() == "wheel"
    ]
    whole = 2 * failing.scenario.rover.wheel.radius
    assert sorted(width for width, _ in sizes) == pytest.approx([0.052, whole, whole, whole])
    assert all(height == pytest.approx(1e3 * width) for width, height in sizes)


def test_levels_and_their_words_stand_beside_the_panel(hot):
    figure = draw(hot, "electrics")
    ax = panel(figure, "winding temperatures")
    drawn = {line.get_ydata()[0] for line in ax.lines if len(set(line.get_ydata())) == 1}
    words = [t.get_text() for t in ax.texts]
    for value, text in (
        (65, "cut-back begins 65 °C"),
        (85, "no voltage from 85 °C"),
        (95, "trips above 95 °C"),
    ):
        assert value in drawn
        assert text in words


def test_the_current_limit_is_drawn_and_named():
    text = "{base: bench_start.yaml, change: {rover.wheel.driver.current_limit: 0.4 A}}"
    figure = draw(simulate(scenario_from_text(text, SCENARIOS)), "electrics")
    keys = [t.get_text() for t in figure.legends[0].get_texts()]
    assert {"controller holds 0.4 A", "limit (controller 2 A, beyond the scale)"} <= set(keys)
    for word in ("front left", "rear right"):
        assert 0.4 in {line.get_ydata()[0] for line in panel(figure, word).lines}
