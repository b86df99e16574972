"""The manual builds as a site without one warning, and asks nothing of the network when it is read."""

from __future__ import annotations

import importlib.util
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from drivesim.scenario.starter_sheet import sheet_html

ROOT = Path(__file__).parents[2]
NEEDED = ("sphinx", "myst_parser", "furo")


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Path:
    """The site, built once; warnings are errors, and so are names that lead nowhere."""
    missing = [name for name in NEEDED if importlib.util.find_spec(name) is None]
    if missing and os.environ.get("DRIVESIM_FULL") != "1":
        pytest.skip(f"the site needs {', '.join(missing)}: pip install 'drivesim[docs]'")
    assert not missing
    folder = tmp_path_factory.mktemp("site")
    words = ["-W", "--keep-going", "-n", "-q", "-b", "html", "-d", str(folder / "read"), str(ROOT / "docs")]
    done = subprocess.run(
        [sys.executable, "-m", "sphinx", *words, str(folder / "html")], capture_output=True, text=True, check=False
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return folder / "html"


def pages(site: Path) -> list[Path]:
    return [path for path in site.rglob("*.html") if path.name not in ("genindex.html", "search.html")]


def test_every_page_is_in_the_site(site):
    written = {path.stem for path in (ROOT / "docs").glob("*.md")}
    assert written <= {path.stem for path in pages(site)}
    assert {"commands", "rover_file", "bench_logs"} <= {path.stem for path in pages(site)}


def test_nothing_is_fetched_from_elsewhere(site):
    """Scripts, styles, fonts and pictures come from the site itself; links to read on are free to lead out."""
    fetched = re.compile(
        r"""<(?:script|img|iframe|source|link)\b[^>]*?\b(?:src|href)\s*=\s*["'](?:https?:)?//"""
    )
    for path in pages(site):
        found = [
            hit for hit in fetched.findall(path.read_text(encoding="utf-8")) if 'rel="canonical"' not in hit
        ]
        assert not found, path.name
    for path in [*site.rglob("*.css")]:
        assert not re.search(r"(?:url\(|@import)\s*[\"']?(?:https?:)?//", path.read_text(encoding="utf-8"))


def test_the_first_thing_is_the_question(site):
    text = (site / "index.html").read_text(encoding="utf-8")
    assert re.search(r"<h1>Will it move\?", text)
    assert text.count('href="run.html"') >= 2  # in the table of questions too, not in the sidebar alone


def test_our_colours_can_be_read():
    """Text on its ground has a contrast of 4.5:1 at least (WCAG 2, relative luminance), in both looks."""
    spec = importlib.util.spec_from_file_location("site_settings", ROOT / "docs" / "conf.py")
    conf = importlib.util.module_from_spec(spec)
    pytest.importorskip("sphinx")
    spec.loader.exec_module(conf)

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    for look in ("light_css_variables", "dark_css_variables"):
        colours = conf.html_theme_options[look]
        grounds = [colours[f"color-background-{kind}"] for kind in ("primary", "secondary", "hover")]
        grounds.append(colours["color-inline-code-background"])
        texts = [
            "foreground-primary",
            "foreground-secondary",
            "foreground-muted",
            "brand-content",
            "brand-visited",
        ]
        for ground in grounds:
            for name in texts:
                a, b = sorted((luminance(colours[f"color-{name}"]), luminance(ground)))
                assert (b + 0.05) / (a + 0.05) >= 4.5, (look, name, ground)


@pytest.mark.parametrize("look", ["light", "dark"])
def test_pages_can_be_read_by_ear_and_by_keyboard(site, browser, look):
    """No finding of axe-core on pages with commands, tables and keys; the sheet is two pages of paper."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = browser.new_page(color_scheme=look)
    for name in ("quick_start", "sheet", "generated/rover_file"):
        page.goto((site / f"{name}.html").as_uri())
        found = axe.Axe().run(page).response["violations"]
        assert not found, (name, [(one["id"], one["nodes"][0]["target"]) for one in found])
    sheet = sheet_html("a rover with a name as long as they come, of sixty characters")
    page.set_content(sheet)
    page.set_viewport_size({"width": 360, "height": 740})
    assert page.evaluate("document.documentElement.scrollWidth") <= 360, "wider than a phone"
    assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(format="A4", prefer_css_page_size=True))) == 2
    page.close()
