"""Every link of the pages leads somewhere, to the heading too; every picture that is kept is shown."""

from __future__ import annotations

import importlib
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(DOCS.glob("*.md"))]
LINK = re.compile(r"\]\(([^)\s]+)\)")
CODE = re.compile(r"^```.*?^```$", re.MULTILINE | re.DOTALL)


@pytest.fixture(scope="module")
def generated(tmp_path_factory) -> dict[str, str]:
    """The pages that are made when the site is built: path → text."""
    folder = tmp_path_factory.mktemp("generated")
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(DOCS))
        importlib.import_module("reference_pages").write(folder)
    return {f"generated/{path.name}": path.read_text(encoding="utf-8") for path in folder.glob("*.md")}


def anchors(text: str) -> set[str]:
    """Return the anchors of a page: its headings as a browser is led to them, and its own labels."""
    plain = CODE.sub("", text)
    found = set(re.findall(r"^\(([\w-]+)\)=$", plain, re.MULTILINE))
    for heading in re.findall(r"^#{1,4} (.+)$", plain, re.MULTILINE):
        words = re.sub(r"[^\w\- ]", "", re.sub(r"\[([^]]*)\]\([^)]*\)", r"\1", heading).lower())
        found.add(words.strip().replace(" ", "-"))
    return found


def test_links_and_anchors_lead_somewhere(generated):
    labels = {label for text in generated.values() for label in anchors(text)}
    for page in PAGES:
        text = CODE.sub("", page.read_text(encoding="utf-8"))
        for target in LINK.findall(text):
            if re.match(r"https?://|mailto:", target):
                continue
            name, _, anchor = target.partition("#")
            made = generated.get(name)
            assert made is not None or (page.parent / name).exists(), f"{page.name}: {target}"
            if anchor and not name:
                assert anchor in anchors(text) | labels, f"{page.name}: {target}"
            elif anchor:
                there = made or (page.parent / name).read_text(encoding="utf-8")
                assert anchor in anchors(there), f"{page.name}: {target}"


def test_links_of_the_generated_pages_lead_somewhere(generated):
    labels = {label for text in generated.values() for label in anchors(text)}
    for name, text in generated.items():
        for target in LINK.findall(CODE.sub("", text)):
            if target.startswith("#"):
                assert target[1:] in labels, f"{name}: {target}"
            else:
                path = f"generated/{target}".replace("generated/../", "")
                assert path in generated or (DOCS / path).exists(), f"{name}: {target}"


def test_pictures_are_there_and_shown():
    shown = set()
    for page in PAGES:
        for target in re.findall(r"!\[[^]]*\]\(([^)]+)\)", page.read_text(encoding="utf-8")):
            assert (page.parent / target).is_file(), f"{page.name}: {target}"
            shown.add((page.parent / target).resolve())
    kept = {path.resolve() for path in (DOCS / "pictures").iterdir()}
    assert kept <= shown, sorted(path.name for path in kept - shown)
