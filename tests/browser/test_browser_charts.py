"""The traces in Chromium: zoom, values in words, lines hidden, traces chosen; in step with the playback."""

from __future__ import annotations

import re

import numpy as np
import pytest

#: what a chart's time axis spans [s] may be read from how far its marker moves between two moments
SPAN = """() => {
  const over = document.querySelector('.panel .u-over'), now = over.querySelector('.now');
  const at = () => new DOMMatrix(getComputedStyle(now).transform).m41;
  return { x: at(), width: over.clientWidth, hidden: now.hidden };
}"""


def panel(opened, number=0):
    return opened.page.locator(".panel").nth(number)


def readout(place):
    """Return the moment and the values that a chart says, by wheel."""
    moment = float(place.locator(".moment").text_content().removesuffix(" s"))
    found = {}
    for span in place.locator(".readout > span:not(.moment, .letter)").all():
        if span.is_visible():
            word, _, value = span.text_content().strip().rpartition(" ")
            found[word.replace(" ", "_")] = value
    return moment, found


def check_values(run, channel, moment, found):
    traces = run.traces
    row = np.argmin(np.abs(traces["time"].values - moment))
    for wheel, value in found.items():
        true = (
            traces[channel].sel(wheel=wheel).values[row] if wheel != "rover" else traces[channel].values[row]
        )
        digits = len(value.partition(".")[2])
        assert float(value.replace("−", "-")) == pytest.approx(true, abs=0.51 * 10**-digits), (channel, wheel)


def hover(opened, place, share):
    over = place.locator(".u-over")
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    opened.page.mouse.move(box["x"] + share * box["width"], box["y"] + box["height"] / 2)
    opened.page.wait_for_timeout(130)
    return share * 5.0


def visible(opened):
    """Return the times [s] that the first chart shows, found from where it puts two moments of the playback."""
    opened.go(2.5)
    first = opened.page.evaluate(SPAN)
    opened.go(2.6)
    second = opened.page.evaluate(SPAN)
    scale = (second["x"] - first["x"]) / 0.1
    low = 2.5 - first["x"] / scale
    return low, low + first["width"] / scale


def test_values_at_the_pointer_are_those_of_the_traces(one, runs):
    for number, channel in ((0, "wheel_speed"), (1, "normal_load"), (5, "bus_voltage")):
        moment = hover(one, panel(one, number), 0.62)
        said, found = readout(panel(one, number))
        assert said == pytest.approx(moment, abs=0.03)
        assert len(found) == (1 if channel == "bus_voltage" else 4)
        check_values(runs["edge"], channel, said, found)
        assert readout(panel(one, max(0, number - 1)))[0] == said  # one pointer for all charts in sight


def test_without_a_pointer_they_are_those_of_the_playback(one, runs):
    panel(one).scroll_into_view_if_needed()
    one.page.mouse.move(2, 2)
    one.go(3.2)
    said, found = readout(panel(one))
    assert said == pytest.approx(3.2, abs=0.011)
    check_values(runs["edge"], "wheel_speed", said, found)


def test_the_marker_stands_where_its_moment_is(one):
    panel(one).scroll_into_view_if_needed()
    one.go(2.0)
    found = one.page.evaluate(SPAN)
    assert found["x"] / found["width"] == pytest.approx(0.4, abs=0.002)
    assert not found["hidden"]


def test_a_click_moves_the_playback(one):
    over = panel(one).locator(".u-over")
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    one.page.mouse.click(box["x"] + 0.3 * box["width"], box["y"] + 20)
    assert one.moment == pytest.approx(1.5, abs=0.02)
    strip = one.page.get_by_label(re.compile("^Condition of each wheel"))
    box = strip.bounding_box()
    one.page.mouse.click(box["x"] + 62 + 0.8 * (box["width"] - 72), box["y"] + 10)
    assert one.moment == pytest.approx(4.0, abs=0.02)


def test_a_drag_shows_what_was_dragged_over_in_every_chart(one):
    over = panel(one, 1).locator(".u-over")
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    one.page.mouse.move(box["x"] + 0.4 * box["width"], box["y"] + 30)
    one.page.mouse.down()
    one.page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 35, steps=4)
    one.page.mouse.move(box["x"] + 0.6 * box["width"], box["y"] + 40, steps=4)
    one.page.mouse.up()
    assert visible(one) == pytest.approx((2.0, 3.0), abs=0.02)
    one.page.mouse.dblclick(box["x"] + 0.5 * box["width"], box["y"] + 30)
    assert visible(one) == pytest.approx((0.0, 5.0), abs=0.02)


def test_buttons_zoom_about_the_moment_and_stop_at_the_ends(one):
    panel(one).scroll_into_view_if_needed()
    one.go(2.5)
    one.page.get_by_role("button", name="Zoom in").click()
    assert visible(one) == pytest.approx((1.25, 3.75), abs=0.02)
    for _ in range(3):
        one.page.get_by_role("button", name="Zoom out").click()
    assert visible(one) == pytest.approx((0.0, 5.0), abs=0.02)
    for _ in range(20):
        one.page.get_by_role("button", name="Zoom in").click()
    one.page.get_by_role("button", name="Whole run").click()
    assert visible(one) == pytest.approx((0.0, 5.0), abs=0.02)


def test_wheels_boxes_hide_their_lines_everywhere(one):
    page = one.page
    ink = "() => document.querySelector('.panel canvas').toDataURL()"
    before = page.evaluate(ink)
    box = page.locator("fieldset.key").get_by_label("front left")
    box.uncheck()
    page.wait_for_timeout(150)
    assert "front_left" not in readout(panel(one))[1]
    assert len(readout(panel(one, 1))[1]) == 3
    assert page.evaluate(ink) != before
    box.check()
    page.wait_for_timeout(150)
    assert "front_left" in readout(panel(one))[1]


def test_traces_are_changed_added_and_removed(one, runs):
    page = one.page
    count = page.locator(".panel").count()
    page.get_by_role("button", name="Add a trace").click()
    added = panel(one, count)
    assert added.locator("select").evaluate("own => own === document.activeElement")
    added.locator("select").select_option("motor_torque")
    added.scroll_into_view_if_needed()
    one.go(3.0)
    said, found = readout(added)
    check_values(runs["edge"], "motor_torque", said, found)
    for _ in range(30):
        button = page.get_by_role("button", name="Add a trace")
        if button.is_disabled():
            break
        button.click()
    assert page.locator(".panel").count() == 12
    while page.locator(".panel").count() > count:
        panel(one, count).get_by_role("button", name=re.compile("^Remove")).click()
    assert page.get_by_role("button", name="Add a trace").is_enabled()


def test_charts_of_two_runs_have_the_same_scales(two):
    two.page.locator(".panel").first.scroll_into_view_if_needed()
    assert two.page.locator(".panel").first.locator(".u-over").count() == 2
    two.go(1.0)
    places = (
        two.page.locator(".panel")
        .first.locator(".now")
        .evaluate_all("all => all.map((one) => one.style.transform)")
    )
    assert len(set(places)) == 1
