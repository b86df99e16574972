"""The page as text: its policy, hostile words, bounds, and runs that went wrong."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from report_runs import EDGE, RUBBLE, SCENARIOS, Elements, data_of, made, tiled

from drivesim.engine.channels import BODY_CHANNELS, WHEEL_CHANNELS
from drivesim.engine.timeline import Event
from drivesim.errors import DrivesimError, RunError
from drivesim.report.page import render
from drivesim.report.run_page import MOST, ROOM, _points, run_page
from drivesim.scenario import scenario_from_text

MEGABYTE = 1e6
HOSTILE = [
    "</script><img src=x onerror=alert(1)>",
    "</title></style><script>alert(1)</script>",
    "--><!--<script>",
    "{{7*7}}{% raw %}",
    "\" onload='alert(1)' x=\"",
    "a\u2028b\u2029c",
    "nul \0 bell \a escape \x1b[31m delete \x7f c1 \x9b",
    "half \ud800 of a letter \udfff",
    "<b>bold</b> & &lt;b&gt;",
    "w" * 10_000,
]


def hashes(texts):
    return {
        f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
        for text in texts
        if text
    }


def policy_of(elements):
    meta = next(m for m in elements.named("meta") if m.get("http-equiv") == "Content-Security-Policy")
    return {words.split()[0]: words.split()[1:] for words in meta["content"].split(";")}


def test_the_policy_names_exactly_the_scripts_and_styles_of_the_page(bare):
    elements = Elements(run_page([made(EDGE)]))
    policy = policy_of(elements)
    data, *scripts = elements.raw["script"]
    assert json.loads(data)
    assert len(scripts) == 2
    assert set(policy["script-src"]) == hashes(scripts)
    assert set(policy["style-src"]) == hashes(elements.raw["style"])
    assert policy["default-src"] == policy["base-uri"] == policy["form-action"] == ["'none'"]
    assert policy["img-src"] == ["data:"]
    assert not any("style" in attributes for _, attributes in elements.found)
    assert not any(name.startswith("on") for _, attributes in elements.found for name in attributes)
    # the policy must come before anything that it is about
    tags = [tag for tag, _ in elements.found]
    assert tags.index("meta") < tags.index("style")


def wearing(word: str):
    """Return a run that has ``word`` wherever somebody can write one."""
    run = made(RUBBLE)
    label = word.replace("\ud800", "").replace("\udfff", "")[:60]
    scenario = run.scenario.model_copy(
        update={
            "name": word[:120],
            "question": word,
            "ground": run.scenario.ground.model_copy(
                update={"patches": (run.scenario.ground.patches[0].model_copy(update={"label": label}),)}
            ),
        }
    )
    summary = run.summary | {
        "name": word, "question": word, "verdict": word, "may_help": word, "cautions": [word],
        "step_reason": word, "versions": {word: word},
    }  # fmt: skip
    events = [Event(0.5, word, word, word, "front_left"), Event(0.6, word, word, word, word)]
    return replace(run, scenario=scenario, summary=summary, events=events)


@cache
def plain_page() -> Elements:
    return Elements(run_page([wearing("plain")] * 2))


@pytest.mark.parametrize("word", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_words_stay_words(bare, word):
    plain, page = plain_page(), run_page([wearing(word)] * 2)
    found = Elements(page)
    assert [(tag, set(own)) for tag, own in found.found] == [(tag, set(own)) for tag, own in plain.found]
    assert set(policy_of(found)["script-src"]) == hashes(found.raw["script"][1:])
    page.encode("utf-8")
    assert not any(ord(sign) < 32 and sign not in "\n\t" for sign in page)
    data = data_of(page)
    same = "".join("\ufffd" if 127 <= ord(s) < 160 or 0xD800 <= ord(s) <= 0xDFFF else s for s in word)
    assert data["runs"][0]["name"] == same
    inner = found.raw["script"][0]
    assert "<" not in inner
    assert "\u2028" not in inner
    shown = "".join(
        "\ufffd" if ord(s) < 32 or 127 <= ord(s) < 160 or 0xD800 <= ord(s) <= 0xDFFF else s for s in word
    )
    assert found.text.count(shown) >= 8  # it is told, and not lost


def test_a_page_without_data_allows_no_script():
    elements = Elements(render("page.html.j2", title="nothing"))
    assert policy_of(elements)["script-src"] == ["'none'"]
    assert not elements.named("script")


def test_an_hour_is_bounded_in_traces_events_and_size(bare):
    hour = tiled(made(RUBBLE), 20_000)
    flood = [Event(i / 10, "fault", f"fault {i}", "wheel off", "front_left") for i in range(20_000)]
    page = run_page([replace(hour, events=flood)] * MOST)
    data = data_of(page)
    assert len(page.encode()) < 5 * MEGABYTE
    assert all(500 < len(base64.b64decode(run["time"])) // 4 < 800 for run in data["runs"])
    assert page.count("data-time=") == MOST * 300
    assert page.count("19700 more are in events.csv") == MOST
    assert len(data["grounds"]) == 1


def test_many_wheels_have_fewer_points_each():
    places = ((i, way) for i in range(8) for way in ("left", "right"))
    wheels = ", ".join(
        f"w{i}_{way}: {{at: [{75 * i - 260} mm, {80 if way == 'left' else -80} mm]}}" for i, way in places
    )
    change = f"{{duration: 20 ms, rover.wheelbase: null, rover.track: null, rover.wheels: {{{wheels}}}}}"
    long = made(f"{{base: bench_start.yaml, change: {change}}}")
    each = 16 * (len(WHEEL_CHANNELS) + 3) + len(BODY_CHANNELS)
    assert ROOM - MOST * each < _points([long] * MOST) * MOST * each <= ROOM
    assert _points([made(RUBBLE)]) == 4000


def test_a_real_run_of_twenty_seconds_with_its_pictures_stays_below_five_megabytes():
    page = run_page([made("{base: rubble_speed_loop.yaml, change: {duration: 20 s}}")])
    elements = Elements(page)
    assert len(elements.named("img")) >= 7
    assert all(
        image["alt"] and image["src"].startswith("data:image/png;base64,") for image in elements.named("img")
    )
    assert len(page.encode()) < 5 * MEGABYTE


def test_runs_on_other_ground_or_grip_are_not_said_to_be_on_the_same(bare):
    run = made(RUBBLE)
    assert data_of(run_page([run, run]))["same_ground"] is True
    slippery = replace(run, ground=replace(run.ground, fields=run.ground.fields * 0.5))
    page = run_page([run, slippery])
    assert data_of(page)["same_ground"] is False
    assert "different grounds" in page
    assert len(data_of(page)["grounds"]) == 2


def test_a_run_gone_wild_says_so_and_the_other_one_is_still_played(bare):
    run = made(RUBBLE)
    wild = replace(run, summary=run.summary | {"ending": "not_finite"}, traces=run.traces * np.nan)
    wild.traces["condition"] = run.traces["condition"]
    wild = replace(wild, traces=wild.traces.assign_attrs(run.traces.attrs))
    alone = run_page([wild])
    assert "not finite" in alone
    assert not Elements(alone).named("script")
    both = run_page([wild, run])
    assert [own["letter"] for own in data_of(both)["runs"]] == ["B"]


@pytest.mark.parametrize("load", [0.0, np.nan, np.inf])
def test_a_first_load_that_is_no_measure_still_gives_a_page(bare, load):
    run = made(RUBBLE)
    loads = run.traces["normal_load"].copy()
    loads[0] = load
    page = run_page([replace(run, traces=run.traces.assign(normal_load=loads))])
    assert data_of(page)["runs"][0]["even_load"] == 1.0


@pytest.mark.parametrize("rows", [1, 2])
def test_a_run_of_one_row_has_a_page(bare, rows):
    run = made(RUBBLE)
    data = data_of(run_page([replace(run, traces=run.traces.isel(time=slice(0, rows)))]))
    assert len(base64.b64decode(data["runs"][0]["time"])) == 4 * rows


def test_a_run_that_ended_early_ends_there(bare):
    text = "{base: bench_start.yaml, change: {duration: 2 s, name: short ground, ground.length: 0.3 m}}"
    run = made(text)
    end = data_of(run_page([run]))["runs"][0]["end"]
    assert end == pytest.approx(run.summary["duration_s"])


def test_more_runs_than_there_is_room_for_are_refused():
    with pytest.raises(DrivesimError, match="1 to 6 runs, found 7"):
        run_page([made(RUBBLE)] * 7)


def test_the_same_run_gives_the_same_page(monkeypatch):
    monkeypatch.setattr("drivesim.report.run_page.applicable", lambda run: ["speeds"])
    run = made(EDGE)
    again = replace(run, scenario=scenario_from_text(EDGE, folder=SCENARIOS))
    assert run_page([run]) == run_page([again])


@pytest.mark.parametrize(
    "key", ["name", "verdict", "cautions", "ledger", "wheels", "step_s", "duration_s", "versions"]
)
@pytest.mark.parametrize("value", ["missing", 7, None, []])
def test_a_summary_that_lacks_something_is_refused_in_one_line(bare, key, value):
    run = made(RUBBLE)
    summary = {k: v for k, v in run.summary.items() if k != key} | (
        {} if value == "missing" else {key: value}
    )
    if (key, value) in (("cautions", []), ("duration_s", 7), ("step_s", 7)):
        return
    with pytest.raises(RunError) as caught:
        run_page([replace(run, summary=summary)])
    assert "\n" not in str(caught.value)
    assert "summary.json" in str(caught.value)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda t: t.drop_vars("normal_load"), "'normal_load' is missing"),
        (lambda t: t.rename(time="moment"), "no times"),
        (lambda t: t.isel(wheel=slice(0, 2)), "its wheels are"),
        (lambda t: t.assign(bus_voltage=t["wheel_speed"]), "'bus_voltage' is missing, or not one value"),
        (lambda t: t.assign_coords(time=t["time"].values[::-1]), "times do not rise"),
        (lambda t: t.assign(condition=t["condition"] + 40), "codes"),
        (lambda t: t.assign_attrs(recording_interval_s="soon"), "recording_interval_s"),
        (lambda t: t.isel(time=slice(0, 0)), "no times"),
    ],
)
def test_traces_of_another_kind_are_refused_in_one_line(bare, spoil, words):
    run = made(RUBBLE)
    with pytest.raises(RunError, match=words) as caught:
        run_page([replace(run, traces=spoil(run.traces))])
    assert "\n" not in str(caught.value)


def test_a_caution_for_all_runs_stands_once_and_others_with_their_letters(bare):
    run = made(EDGE)
    runs = [replace(run, summary=run.summary | {"cautions": own}) for own in (["hot", "cells"], ["cells"])]
    page = run_page(runs)
    listed = re.search(r'<ul class="cautions">(.*?)</ul>', page, re.DOTALL)[1]
    items = re.findall(r"<li>(.*?)</li>", listed)
    assert items == ['<span class="letter">A</span> hot', "cells"]
