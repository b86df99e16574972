"""docs/quick_start.md as a new user follows it: what it shows is what comes out."""

from __future__ import annotations

import contextlib
import io
import re
import shlex
from pathlib import Path

import pytest

from drivesim.cli.main import main

PAGE = (Path(__file__).parents[2] / "docs" / "quick_start.md").read_text(encoding="utf-8")


def done(words):
    """Run a command line; return its exit code and all that it prints."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        try:
            main(words)
        except SystemExit as stop:
            return int(stop.code or 0), out.getvalue()
    return 0, out.getvalue()


def shown_after(words):
    """Return the first output that the page shows after ``words``."""
    return re.search(r"```text\n(.*?)```", PAGE[PAGE.index(words) :], re.DOTALL)[1]


@pytest.fixture
def begun(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, printed = done(["new", "my_rover"])
    assert code == 0
    return printed


def test_new_prints_what_the_page_shows(begun):
    assert begun == shown_after("```sh\ndrivesim new my_rover")


def test_check_prints_what_the_page_shows(begun):
    _, printed = done(["check", "my_rover/scenario.yaml"])
    assert shown_after("Without slips all values are printed") in printed
    file = Path("my_rover/rover.yaml")
    file.write_text(
        file.read_text(encoding="utf-8").replace("wheelbase: 165 mm", "wheelbase: 165"), encoding="utf-8"
    )
    assert done(["check", "my_rover/scenario.yaml"]) == (2, shown_after("A slip is told by its line"))


def test_run_prints_the_verdict_that_the_page_shows(begun):
    command = re.search(r"^drivesim run my_rover.*$", PAGE, re.MULTILINE)[0]
    code, printed = done([*shlex.split(command)[1:], "--no-pictures"])
    assert code == 0
    assert " ".join(shown_after("The line after the arrow is the answer").split()) in " ".join(
        printed.split()
    )


def test_the_changed_file_is_the_one_shown(begun):
    text = Path("my_rover/changed.yaml").read_text(encoding="utf-8")
    assert shown_after("is the same rover on the same ground, with a pack") in text
