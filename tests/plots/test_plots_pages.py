"""The script that makes pages' outputs and pictures anew: whole or not at all, and words left alone where asked."""

import importlib.util
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGE = """\
# A page

```console
$ sh -c 'echo said; echo shown > a.png'
```

```text
old
```

![one](pictures/one.png) <!-- from a.png -->
![two](pictures/two.gif) <!-- from b.gif by sh -c 'tee -a b.gif < a.png' -->
![three](pictures/three.gif) <!-- from b.gif by sh -c 'tee -a b.gif < a.png' -->
"""


@pytest.fixture
def pages():
    spec = importlib.util.spec_from_file_location("pages", ROOT / "docs" / "studies" / "pages.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_words_and_pictures_of_a_page_are_made(pages, tmp_path):
    (tmp_path / "pictures").mkdir()
    page = tmp_path / "page.md"
    page.write_text(PAGE, encoding="utf-8")
    pages.remake(page, words=False)
    assert page.read_text(encoding="utf-8") == PAGE
    assert (tmp_path / "pictures" / "one.png").read_text() == "shown\n"
    assert (tmp_path / "pictures" / "two.gif").read_text() == "shown\n"  # the command ran once for both
    pages.remake(page)
    assert page.read_text(encoding="utf-8") == PAGE.replace("old", "said")


def test_a_page_stays_where_a_picture_is_not_made(pages, tmp_path):
    (tmp_path / "pictures").mkdir()
    page = tmp_path / "page.md"
    page.write_text(PAGE.replace("from a.png", "from nothing.png"), encoding="utf-8")
    with pytest.raises(SystemExit, match=r"made no nothing\.png"):
        pages.remake(page)
    assert "old" in page.read_text(encoding="utf-8")
    assert not list((tmp_path / "pictures").iterdir())


def test_every_picture_of_the_docs_can_be_made_by_one_command(pages):
    found = pages.with_pictures()
    assert {page.name for page in found} >= {
        "README.md",
        "compare.md",
        "fit.md",
        "size.md",
        "sweep.md",
        "tune.md",
    }
    made = {
        one["picture"].rsplit("/")[-1]
        for page in found
        for one in pages.PICTURE.finditer(page.read_text(encoding="utf-8"))
    }
    by_script = {"coordination.png"}
    kept = {path.name for path in (ROOT / "docs" / "pictures").iterdir() if path.suffix in (".png", ".gif")}
    assert kept - by_script <= made
    for name in made:
        assert (ROOT / "docs" / "pictures" / name).stat().st_size < 1.5e6
