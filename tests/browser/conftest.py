"""Pages of runs for the tests in the browser, opened so that all that no page may do is heard."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))

from report_runs import SCENARIOS

import drivesim.report.run_page as run_page
from drivesim.analysis.files import write_run
from drivesim.analysis.run import Run, simulate
from drivesim.engine.timeline import Event
from drivesim.report.writing import write_report
from drivesim.scenario import scenario_from_text

EDGE = "{base: slab_edge.yaml, change: {duration: 5 s}}"
#: odd in all that a view could get wrong: five wheels at four places across, heading back along a slope, a tyre lost
ODD = """
name: odd
rover: rovers/crawler.yaml
drive: drives/speed_loop.yaml
ground:
  length: 1 m
  behind: 1 m
  width: 2 m
  features: [{kind: ramp, start: -1 m, end: 1 m, slope: 6 deg, cross_slope: 9 deg}]
start: {heading: 150 deg}
commands: [{at: 0.1 s, forward: 0.15 m/s}]
events: [{at: 1 s, kind: tyre_off, wheel: middle_right, radius: 24 mm}]
duration: 2 s
change:
  rover.wheelbase: null
  rover.track: null
  rover.wheels:
    front_left: {at: [90 mm, 50 mm]}
    front_right: {at: [90 mm, -50 mm]}
    middle_left: {at: [0 mm, 120 mm]}
    middle_right: {at: [0 mm, -120 mm]}
    rear: {at: [-90 mm, 0 mm]}
"""
RUBBLE = "{base: rubble_%s.yaml, change: {duration: 4 s}}"


HOSTILE = "</script></title><img src=x onerror=alert(1)><script>alert(2)</script>" + "w" * 3000


@dataclass
class Opened:
    """A page in the browser with all that it said, asked for and broke."""

    page: Any
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def go(self, moment: float) -> None:
        """Move the playback by its slider, and wait until the words have followed."""
        self.page.locator("#moment").evaluate(
            "(slider, moment) => { slider.value = moment; slider.dispatchEvent(new Event('input')); }", moment
        )
        self.page.wait_for_timeout(130)

    def until(self, truth: str) -> None:
        """Wait until ``truth`` holds on the page; the page's policy forbids Playwright's own way to wait."""
        for _ in range(400):
            if self.page.evaluate(truth):
                return
            self.page.wait_for_timeout(25)
        raise AssertionError(f"never so: {truth}")

    @property
    def moment(self) -> float:
        return float(self.page.locator("#moment").input_value())

    def check_quiet(self) -> None:
        """Nothing was complained about, and nothing but the page itself was asked for."""
        assert self.said == []
        own = self.page.url.split("#")[0]
        assert all(address.split("#")[0] == own or address.startswith("data:") for address in self.asked), (
            self.asked
        )


@pytest.fixture(scope="session")
def runs(browser: Any) -> dict[str, Run]:
    """The runs shown: one, and a pair on the same ground."""
    texts = {"edge": EDGE, "odd": ODD, "loop": RUBBLE % "speed_loop", "locked": RUBBLE % "locked"}
    return {name: simulate(scenario_from_text(text, folder=SCENARIOS)) for name, text in texts.items()}


@pytest.fixture(scope="session")
def pages(runs: dict[str, Run], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The pages: of one run read back from its folder, and of two."""
    folder = tmp_path_factory.mktemp("pages")
    (folder / "edge").mkdir()
    write_run(runs["edge"], folder / "edge")
    with pytest.MonkeyPatch.context() as patch:  # pictures take long to draw: two of each run
        patch.setattr(run_page, "applicable", lambda run: ["speeds", "path"])
        one = write_report(folder / "edge", folder / "one.html")
        two = write_report([runs["loop"], runs["locked"]], folder / "two.html")
        bad = write_report([hostile(runs["loop"]), runs["locked"]], folder / "hostile.html")
        patch.setattr(run_page, "applicable", lambda run: [])
        odd = write_report(runs["odd"], folder / "odd.html")
    return {"one": one, "two": two, "hostile": bad, "odd": odd}


def hostile(run: Run) -> Run:
    """Return ``run`` with words that would break out of a page, or out of its width."""
    texts = dict.fromkeys(("name", "question", "verdict", "may_help", "step_reason"), HOSTILE)
    events = [Event(0.5, HOSTILE, HOSTILE, HOSTILE, HOSTILE), *run.events]
    return replace(run, summary=run.summary | texts | {"cautions": [HOSTILE]}, events=events)


@pytest.fixture(scope="session")
def open_page(browser: Any, pages: dict[str, Path]) -> Iterator[Any]:
    """A function that opens a page in a window of its own."""

    def opened(name: str, *, width: int = 1280, at: str = "", **settings: Any) -> Opened:
        page = browser.new_page(viewport={"width": width, "height": 900}, **settings)
        found = Opened(page)
        page.on("console", lambda m: found.said.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: found.said.append(str(error)))
        page.on("request", lambda request: found.asked.append(request.url))
        page.goto(pages[name].as_uri() + at)
        return found

    return opened


@pytest.fixture(scope="session")
def one_page(open_page: Any) -> Opened:
    return open_page("one")


@pytest.fixture(scope="session")
def two_page(open_page: Any) -> Opened:
    return open_page("two")


def _ready(opened: Opened) -> Opened:
    """Bring a page that other tests used back to its start."""
    opened.page.evaluate("document.activeElement?.blur()")
    if opened.page.locator("#play").text_content() == "Pause":
        opened.page.locator("#play").click()
    opened.page.locator("#pace").select_option("1")
    opened.page.get_by_role("button", name="Whole run").click()
    opened.page.mouse.move(2, 2)
    opened.go(0)
    return opened


@pytest.fixture
def one(one_page: Opened) -> Iterator[Opened]:
    """The page of one run, at its start; it must stay quiet."""
    yield _ready(one_page)
    one_page.check_quiet()


@pytest.fixture
def two(two_page: Opened) -> Iterator[Opened]:
    """The page of two runs, at their start; it must stay quiet."""
    yield _ready(two_page)
    two_page.check_quiet()
