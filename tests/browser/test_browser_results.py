"""Pages of comparisons, tunings, sizings, sweeps and fits in Chromium: charts, tables, copying; all names hostile."""

from __future__ import annotations

import re
from types import SimpleNamespace

import numpy as np
import pytest
from report_studies import HOSTILE, MAKERS, made

from drivesim.report.writing import write_report

KINDS = list(MAKERS)
KEEPS_COPY = "navigator.clipboard.writeText = async (text) => { window.copied = text; };"


@pytest.fixture(scope="module")
def studies(browser, tmp_path_factory):
    home = tmp_path_factory.mktemp("studies")
    found = {}
    for kind in KINDS:
        folder, result = made(kind, home)
        found[kind] = SimpleNamespace(
            page=write_report(folder, home / f"{kind}.html"), folder=folder, result=result
        )
    return found


@pytest.fixture
def open_study(browser, studies):
    """A function that opens a study's page; whatever is complained about or asked for fails the test."""
    opened = []

    def opener(kind, *, width=1280, init="", **settings):
        page = browser.new_page(viewport={"width": width, "height": 900}, **settings)
        said, asked = [], []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("dialog", lambda dialog: (said.append(dialog.message), dialog.dismiss()))
        page.on("request", lambda request: asked.append(request.url))
        if init:
            page.add_init_script(init)
        page.goto(studies[kind].page.as_uri())
        opened.append((page, said, asked))
        return page

    yield opener
    for page, said, asked in opened:
        assert said == []
        assert [address for address in asked if not address.startswith("data:")] == [page.url]
        page.close()


def number(text):
    return float(text.replace("−", "-"))


def values(page, chart=0):
    """Return what a chart says, by line, without units."""
    found = {}
    for span in page.locator(".plotter").nth(chart).locator(".readout > span:not(.moment)").all():
        words, value = re.fullmatch(r"\s*(.*) ([−\d.e–]+)(?: \S+)?", span.text_content()).groups()
        found[words] = value
    return found


def at(page, row, chart=0):
    """Move a chart's slider to a row."""
    page.locator(".plotter input[type=range]").nth(chart).evaluate(
        "(slider, row) => { slider.value = row; slider.dispatchEvent(new Event('input')); }", row
    )
    return page.locator(".plotter").nth(chart).locator(".moment").text_content()


@pytest.mark.parametrize("kind", KINDS)
def test_pages_fit_their_window_and_axe_finds_no_fault(open_study, kind):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = open_study(kind, bypass_csp=True)  # axe itself is put into the page as a script
    for details in page.locator("details").all():
        details.evaluate("own => { own.open = true; }")
    found = axe.Axe().run(page)
    assert found.response["violations"] == [], found.generate_report()
    for width in (1280, 400):
        page.set_viewport_size({"width": width, "height": 900})
        for _ in range(80):  # charts follow the window a moment later
            if page.evaluate("document.documentElement.scrollWidth") <= width:
                break
            page.wait_for_timeout(25)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator(".plotter canvas").count() == {"tuning": 2}.get(kind, 1)


def test_the_chart_of_a_comparison_says_each_grounds_figures(open_study, studies):
    runs = studies["comparison"].result.runs
    page = open_study("comparison")
    page.locator("#shown-1").select_option(label="time stuck [s]")
    page.locator("#shown-1").select_option(label="energy drawn [J]")
    for row, ground in enumerate(runs["ground"].values):
        assert at(page, row) == f"ground {ground}"
        found = values(page)
        for case in (HOSTILE, "heavy"):
            true = float(runs["energy"].sel(case=case, ground=ground))
            assert number(found[case]) == pytest.approx(true, rel=6e-3)
    page.locator(".tick-box input").check()
    less = float(
        runs["energy"].sel(case="heavy", ground=1003) - runs["energy"].sel(case=HOSTILE, ground=1003)
    )
    assert at(page, 2) == "ground 1003"
    assert number(values(page)["heavy"]) == pytest.approx(less, rel=6e-3, abs=1e-3)
    assert number(values(page)[HOSTILE]) == 0
    page.get_by_role("checkbox", name="heavy").uncheck()
    assert list(values(page)) == [HOSTILE]


def test_the_pointer_finds_the_nearest_dot_and_keys_go_on_from_there(open_study, studies):
    page = open_study("comparison")
    over = page.locator(".u-over")
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    page.mouse.move(box["x"] + box["width"] * 0.52, box["y"] + box["height"] / 2)
    assert page.locator(".moment").text_content() == "ground 1002"
    page.locator(".plotter input[type=range]").focus()
    page.keyboard.press("ArrowRight")
    assert page.locator(".moment").text_content() == "ground 1003"
    told = page.locator(".plotter input[type=range]").get_attribute("aria-valuetext")
    assert told.startswith("ground 1003: ")
    assert all(value in told for value in values(page).values())


def test_lines_of_a_sizing_zoom_and_come_back(open_study, studies):
    lines = studies["sizing"].result.lines
    page = open_study("sizing")
    at(page, 20)
    assert number(values(page)["full bus, windings cold"]) == pytest.approx(
        float(lines["force_now"][20]), rel=6e-3
    )
    wheel = str(lines["wheel"].values[1]).replace("_", " ")
    page.locator("#shown-1").select_option(label=f"torque, {wheel} [mN·m]")
    torque = 1e3 * float(lines["torque_hot"][20, 1])
    assert number(values(page)["full bus, windings at their limit"]) == pytest.approx(torque, rel=6e-3)
    at(page, 2)
    ring = page.locator(".ring").first
    assert ring.is_visible()
    over = page.locator(".u-over")
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + 50)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.8, box["y"] + 50, steps=4)
    page.mouse.up()
    at(page, 2)
    assert not ring.is_visible()
    page.get_by_role("button", name="Show all").click()
    assert ring.is_visible()


def test_designs_of_a_sweep_over_an_axis_of_words(open_study, studies):
    swept = studies["sweep"].result
    page = open_study("sweep")
    page.locator("#over-1").select_option(label=HOSTILE)
    page.locator("#shown-1").select_option(label="energy drawn [J]")
    order = sorted(range(4), key=lambda design: (design % 2, design))
    for row, design in enumerate(order):
        assert at(page, row).startswith(f"design {design} ({HOSTILE} {'other' if design % 2 else HOSTILE}")
        assert number(values(page)["designs"]) == pytest.approx(swept.means("energy")[design], rel=6e-3)


def test_tables_are_filtered_and_sorted(open_study, studies):
    runs = studies["comparison"].result.runs
    page = open_study("comparison")
    table = page.locator("table.tools")
    heads = [head.strip() for head in table.locator("thead th").all_text_contents()]
    column = heads.index("energy per metre [J/m]")
    energies = runs["energy_per_metre"].values.ravel()
    middle = float(np.median(energies))
    page.locator("#filter-1").fill(f"energy per metre < {middle:.6g}")
    assert table.locator("tbody tr:visible").count() == np.sum(energies < middle) > 0
    page.locator("#filter-1").fill(f"HEAVY, energy per metre >= {energies.min():.3g}")
    assert table.locator("tbody tr:visible").count() == 3
    assert page.get_by_role("status").first.text_content() == "3 of 6 rows"
    page.locator("#filter-1").fill("")
    for direction in ("ascending", "descending"):
        table.locator("thead button").nth(column).click()
        assert table.locator("thead th").nth(column).get_attribute("aria-sort") == direction
        shown = [
            number(row.locator("th, td").nth(column).text_content())
            for row in table.locator("tbody tr").all()
        ]
        assert shown == sorted(shown, reverse=direction == "descending")
        assert max(shown) == pytest.approx(energies.max(), rel=1e-3)


@pytest.mark.parametrize("kind", KINDS)
def test_the_example_beside_a_filter_finds_some_rows_and_not_all(open_study, kind):
    page = open_study(kind)
    for number_of, table in enumerate(page.locator("table.tools").all(), 1):
        bar = page.locator(".bar", has=page.locator(f"#filter-{number_of}"))
        example = re.search('such as "(.*)"', bar.locator(".hint").last.text_content())[1]
        page.locator(f"#filter-{number_of}").fill(example)
        rows = table.locator("tbody tr")
        assert 0 < rows.locator("visible=true").count() < rows.count(), example


def test_a_condition_means_the_column_of_that_name_and_takes_a_sign(open_study):
    """In the levers' table "grade" stands in three columns' names, and changes are written with their sign."""
    page = open_study("sizing")
    page.locator("#filter-1").fill("grade for ever >= +1")
    shown = page.locator("table.tools tbody tr:visible")
    column = [
        head.strip()
        for head in page.locator("table.tools thead th, table.tools thead td").all_text_contents()
    ]
    place = column.index("grade for ever")
    found = [number(row.locator("th, td").nth(place).text_content()) for row in shown.all()]
    assert found
    assert min(found) >= 1


def test_gains_are_copied_as_they_are_in_the_folder(open_study, studies):
    page = open_study("tuning", init=KEEPS_COPY)
    for name in ("tuned.yaml", "gains.h"):
        page.get_by_role("button", name=f"Copy: {name}").click()
        page.wait_for_function("window.copied")
        assert page.evaluate("window.copied") == (studies["tuning"].folder / name).read_text(encoding="utf-8")
        page.evaluate("window.copied = ''")
    page.evaluate(
        "() => { navigator.clipboard.writeText = async () => { throw new Error('not allowed'); }; }"
    )
    page.get_by_role("button", name="Copy: tuned.yaml").click()
    page.wait_for_function("getSelection().toString()")
    assert page.evaluate("getSelection().toString()").startswith("# Gains tuned by drivesim")


@pytest.mark.parametrize("kind", KINDS)
def test_without_scripts_and_on_paper_words_stay_and_controls_go(open_study, kind):
    page = open_study(kind, java_script_enabled=False)
    paper = open_study(kind)
    paper.emulate_media(media="print")
    for own in (page, paper):
        assert own.locator(".answer").first.is_visible()
        assert own.locator("table").first.is_visible()
        assert own.locator("img").is_visible()
        controls = own.locator("input, select, .plotter, canvas")
        assert controls.locator("visible=true").count() == 0
    assert page.locator("button").count() == 0
