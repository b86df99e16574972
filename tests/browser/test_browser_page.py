"""The page as a whole in Chromium: shut in, readable without scripts, on paper, small, and for everybody."""

from __future__ import annotations

import itertools

import pytest

BROKEN_IN = """async () => {
  const found = {};
  const script = document.createElement('script');
  script.textContent = 'window.brokenIn = true';
  document.body.append(script);
  found.script = window.brokenIn === true;
  const place = document.createElement('div');
  place.innerHTML = '<img src="data:," onerror="window.byImage = true"><p style="color: rgb(1, 2, 3)">x</p>';
  document.body.append(place);
  await new Promise((done) => setTimeout(done, 100));
  found.image = window.byImage === true;
  found.style = getComputedStyle(place.querySelector('p')).color === 'rgb(1, 2, 3)';
  try { found.eval = eval('1 + 1') === 2; } catch { found.eval = false; }
  try { await fetch('https://example.invalid/'); found.fetch = true; } catch { found.fetch = false; }
  found.frame = await new Promise((done) => {
    document.addEventListener('securitypolicyviolation', (event) => {
      if (event.effectiveDirective.startsWith('connect-src')) done(false);
    });
    const socket = (() => { try { return new WebSocket('wss://example.invalid/'); } catch { return null; } })();
    if (!socket) done(false);
    setTimeout(() => done(false), 200);
  });
  return found;
}"""


def test_nothing_foreign_can_run_or_be_fetched(open_page):
    opened = open_page("one")
    asked = len(opened.asked)
    found = opened.page.evaluate(BROKEN_IN)
    assert found == dict.fromkeys(found, False)
    assert not [address for address in opened.asked[asked:] if not address.startswith("data:")]
    assert any("Content Security Policy" in words for words in opened.said)
    opened.page.close()


@pytest.mark.parametrize("width", [400, 1280])
def test_hostile_words_are_read_and_nothing_more(open_page, width):
    opened = open_page("hostile", width=width)
    page, dialogs = opened.page, []
    page.on("dialog", lambda dialog: dialogs.append(dialog.message))
    page.locator("details").evaluate_all("all => all.forEach((own) => { own.open = true; })")
    assert page.locator(".question").first.text_content().startswith("</script></title><img src=x")
    assert page.locator("img[src=x]").count() == 0
    wide = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    assert wide[0] <= wide[1]
    opened.go(0.5)
    assert dialogs == []
    opened.check_quiet()
    page.close()


@pytest.fixture(scope="session")
def axe(browser, missing):
    """The rules of accessibility, run on a page or on a part of it; returns what broke them."""
    try:
        from axe_playwright_python.sync_playwright import Axe
    except ImportError:
        missing("the package axe-playwright-python")
    return lambda page, *parts: Axe().run(
        page, context={"include": [[part] for part in parts]} if parts else None
    )


@pytest.mark.parametrize(
    ("name", "width", "parts"),
    [
        ("one", 1280, ()),
        ("two", 320, ()),  # as 1280 are at four times the size: WCAG 1.4.10
        ("two", 1280, ("#playback",)),
    ],
)
def test_no_side_to_side_scrolling_and_no_fault_that_axe_finds(open_page, axe, name, width, parts, tmp_path):
    opened = open_page(name, width=width, bypass_csp=True)  # axe itself is put into the page as a script
    page = opened.page
    page.locator("details").evaluate_all("all => all.forEach((own) => { own.open = true; })")
    wide = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    assert wide[0] <= wide[1]
    paused = axe(page, *parts)
    page.locator("#pace").select_option("0.1")
    page.locator("#play").click()
    playing = axe(page, "#playback")
    for found in (paused, playing):
        assert found.response["violations"] == [], found.generate_report()
    page.screenshot(path=tmp_path / f"{name}_{width}.png", full_page=True)
    page.close()


def test_with_the_systems_own_colours_drawings_keep_theirs_and_their_paper(open_page):
    opened = open_page("one", forced_colors="active", color_scheme="dark")
    page, paper = opened.page, "own => getComputedStyle(own).backgroundColor"
    around = page.locator("body").evaluate(paper)
    for drawing in (".run-view svg", ".panel .chart", "ul.key svg", "fieldset.key svg"):
        assert page.locator(drawing).first.evaluate(paper) == "rgb(255, 255, 255)" != around
    opened.check_quiet()
    page.close()


def test_without_scripts_the_answer_tables_and_pictures_are_there(open_page):
    opened = open_page("one", java_script_enabled=False)
    page = opened.page
    assert page.locator(".answer").is_visible()
    assert page.locator("table").first.is_visible()
    assert page.locator(".events tr").count() > 5
    pictures = page.locator("#pictures img")
    assert pictures.count() == 2
    assert all(picture.is_visible() and picture.bounding_box()["height"] > 100 for picture in pictures.all())
    for control in page.locator("button, input, select, #player, #charts").all():
        assert not control.is_visible()
    page.close()


def test_on_paper_there_are_pictures_and_no_controls(one, tmp_path):
    page = one.page
    page.emulate_media(media="print")
    assert page.locator("#pictures img").first.is_visible()
    assert page.locator(".answer").is_visible()
    assert not page.locator("#playback").is_visible()
    assert not page.locator("#traces").is_visible()
    cell = page.locator(".events td[data-time]").first
    assert cell.text_content().endswith(" s")
    assert cell.locator("button").evaluate("own => getComputedStyle(own).borderTopWidth") == "0px"
    sheet = tmp_path / "page.pdf"
    page.pdf(path=sheet, format="A4")
    assert sheet.read_bytes().startswith(b"%PDF")
    page.emulate_media(media="screen")


def test_with_reduced_motion_nothing_moves_by_itself(open_page):
    opened = open_page("one", reduced_motion="reduce")
    opened.page.wait_for_timeout(200)
    assert opened.moment == 0
    moving = opened.page.evaluate("document.getAnimations().length")
    assert moving == 0
    opened.check_quiet()
    opened.page.close()


def test_the_focus_goes_from_top_to_bottom_and_is_seen(one):
    page = one.page
    page.evaluate("window.scrollTo(0, 0)")
    page.locator(".player").focus()
    names, tops = [], []
    for _ in range(9):
        page.keyboard.press("Tab")
        name, top, outline = page.evaluate("""() => {
          const own = document.activeElement, box = own.getBoundingClientRect();
          const shown = getComputedStyle(own).outlineStyle;
          return [own.id || own.getAttribute('aria-label') || own.textContent, box.top + window.scrollY, shown];
        }""")
        names.append(name)
        tops.append(top)
        assert outline != "none", name
    assert names[:7] == [
        "play",
        "Back by 0.1 s",
        "Forward by 0.1 s",
        "Previous event",
        "Next event",
        "pace",
        "moment",
    ]
    assert all(later >= earlier - 30 for earlier, later in itertools.pairwise(tops))
