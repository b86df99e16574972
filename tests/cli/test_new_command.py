"""``drivesim new`` as a user meets it, and the quick start's own way from new to compare."""

from __future__ import annotations

import contextlib
import io
import json
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from drivesim.cli import new
from drivesim.cli.main import main
from drivesim.scenario.starter_choices import DRIVES, GROUNDS

FILES = {"scenario.yaml", "rover.yaml", "changed.yaml", "sheet.html"}


def drivesim(place, *words):
    """Run the command in this process; return its exit code and what it prints."""
    out, err = io.StringIO(), io.StringIO()
    code = 0
    with contextlib.chdir(place), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main(list(words))
        except SystemExit as stop:
            code = int(stop.code or 0)
    return code, out.getvalue(), err.getvalue()


def test_the_choices_told_are_those_there_are():
    assert tuple(GROUNDS) == new.GROUNDS
    assert tuple(DRIVES) == new.DRIVES


def test_help_imports_no_scenario():
    code = "import sys; from drivesim.cli.main import main\ntry: main(['new', '--help'])\nexcept SystemExit: pass\n"
    code += "print([m for m in sys.modules if m.startswith('drivesim.scenario') or m == 'pydantic'])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize("name", ["my_rover", "rovers/Größe: 'a' $x", "two words"])
def test_what_it_says_to_do_next_can_be_done(name, tmp_path):
    code, out, _ = drivesim(tmp_path, "new", name)
    assert code == 0
    assert {p.name for p in (tmp_path / name).iterdir()} == FILES
    steps = [shlex.split(line) for line in out.splitlines() if line.startswith("  drivesim ")]
    assert [words[1] for words in steps] == ["check", "run", "report"]
    code, out, err = drivesim(tmp_path, *steps[0][1:])
    assert (code, err) == (0, "")
    assert "# good: " in out
    assert steps[1][-1] == steps[2][-1] == f"runs/{Path(name).name}"


def test_json_and_quiet(tmp_path):
    _, out, _ = drivesim(tmp_path, "new", "a/b", "--json")
    told = json.loads(out)
    assert set(told["files"]) == FILES
    assert told["folder"] == "a/b"
    assert told["next"][0] == ["drivesim", "check", "a/b/scenario.yaml"]
    assert drivesim(tmp_path, "new", "a/c", "-q") == (0, "", "")
    _, out, _ = drivesim(tmp_path, "new", "a/b", "--json", "--force")
    assert json.loads(out)["kept"] == "a/b-old"


def test_refusals_are_one_line_and_write_nothing(tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "thesis.txt").write_text("precious", encoding="utf-8")
    before = sorted(tmp_path.rglob("*"))
    for words in (
        ["mine"], ["mine", "--force"], ["."], ["..", "--force"], ["mine/thesis.txt/x"], ["x" * 61], ["--", "-x"],
        ["a\nb"], ["/"],
    ):  # fmt: skip
        code, out, err = drivesim(tmp_path, "new", *words)
        assert (code, out) == (2, ""), words
        assert err.count("\n") == 1, words
    assert sorted(tmp_path.rglob("*")) == before


def test_a_slip_of_the_pen_is_told_with_file_line_and_field(tmp_path):
    drivesim(tmp_path, "new", "r")
    file = tmp_path / "r" / "rover.yaml"
    text = file.read_text(encoding="utf-8").replace("wheelbase: 165 mm", "wheelbase: 165")
    file.write_text(text, encoding="utf-8")
    line = 1 + text[: text.index("\nwheelbase")].count("\n") + 1
    code, _, err = drivesim(tmp_path, "check", "r/scenario.yaml")
    assert code == 2
    assert err.startswith(f"r/rover.yaml:{line}: rover.wheelbase: ")


def test_what_is_unmeasured_is_found_as_the_file_says(tmp_path):
    drivesim(tmp_path, "new", "r")
    file = tmp_path / "r" / "rover.yaml"
    text = file.read_text(encoding="utf-8")
    search = re.search(r'grep "(.*)" rover.yaml', text)[1]
    assert len(re.findall(search, text)) == 15
    assert len(re.findall(search, text.replace("# measure 4:", "# measured 1 May 4:"))) == 14
