"""``drivesim compare`` as a user meets it: printed, written, refused."""

import json
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from drivesim.cli.main import cli

ROOT = Path(__file__).parents[2]
OWN = """
scenario: {base: scenarios/bench_start.yaml, duration: 1 s}
cases:
  one:
  two [V/m]: {rover.mass: 900 g}
grounds: 3
spread: {rover.mass: {normal: 3 %}}
"""


@pytest.fixture
def place(tmp_path, monkeypatch):
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    (tmp_path / "own.yaml").write_text(OWN)
    for name, mass in (("light", 500), ("heavy", 900)):
        text = f"base: scenarios/bench_start.yaml\nduration: 1 s\nchange: {{rover.mass: {mass} g}}\n"
        (tmp_path / f"{name}.yaml").write_text(text)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def drivesim(*words):
    return CliRunner().invoke(cli, words)


def test_a_file_with_cases_is_printed_and_written(place):
    result = drivesim("compare", "own.yaml")
    assert result.exit_code == 0, result.output
    assert result.stderr == ""
    assert "two [V/m]" in result.output
    assert re.search(
        r"way along what was commanded \[mm\] +\d+ \(\d+ … \d+\) +\d+ \(\d+ … \d+\)", result.output
    )
    assert "3 grounds from seed 1001 on, parts drawn: rover.mass; mean (95 % interval)" in result.output
    folder = place / "runs" / "own"
    found_on = json.loads((folder / "summary.json").read_text())["most_different_ground"]
    assert {p.name for p in folder.iterdir()} == {
        "summary.json", "runs.nc", "runs.csv", "differences.csv", "case_0.yaml", "case_1.yaml",
        "differences.png", "way.png", "conditions.png", f"ground_{found_on}",
    }  # fmt: skip


def test_a_folder_may_be_called_anything(place):
    result = drivesim("compare", "own.yaml", "-o", "h[/red]x", "--no-pictures", "--grounds", "1")
    assert "written to h[/red]x/" in result.output
    assert "nan" not in result.output
    assert not list(place.glob(".h*"))
    checked = drivesim("check", "own.yaml", "--json")
    assert json.loads(checked.output)["kind"] == "compare"


def test_two_scenarios_go_by_the_names_of_their_files(place):
    result = drivesim(
        "compare", "light.yaml", "heavy.yaml", "--grounds", "2", "--json", "--no-pictures", "-o", "x"
    )
    summary = json.loads(result.output)
    assert list(summary["cases"]) == ["light", "heavy"]
    assert summary["grounds"] == 2
    assert not list((place / "x").glob("*.png"))
    again = drivesim("compare", "light.yaml", "heavy.yaml", "-o", "x")
    assert "x exists already; give another --output, or --force to replace it" in str(again.exception)
    forced = drivesim(
        "compare", "light.yaml", "heavy.yaml", "--grounds", "2", "-o", "x", "--force", "--jobs", "1"
    )
    assert forced.exit_code == 0


def test_files_of_one_name_in_folders_of_long_names_can_be_compared(place):
    files = []
    for name in ("a", "b"):
        folder = place / ("deep" * 20) / name
        folder.mkdir(parents=True)
        files.append(str(folder / "one.yaml"))
        (folder / "one.yaml").write_text("base: ../../scenarios/bench_start.yaml\nduration: 0.3 s\n")
    result = drivesim("compare", *files, "--grounds", "1", "--json", "--no-pictures", "-o", "x")
    assert result.exit_code == 0, result.exception
    names = list(json.loads(result.output)["cases"])
    assert [name[-14:] for name in names] == ["a/one.yaml (1)", "b/one.yaml (2)"]
    assert [len(name) for name in names] == [60, 60]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (
            ("light.yaml",),
            "light.yaml:1: this looks like a scenario; a file of many runs names one under scenario:\n",
        ),
        (("own.yaml", "--success", "speed"), "--success: found 'speed', needed: NAME > VALUE"),
        (("own.yaml", "--against", "three"), "against: found 'three'; "),
        (("light.yaml", "nope.yaml"), "nope.yaml:1: no such file"),
    ],
)
def test_mistakes(place, words, told, capsys):
    from drivesim.cli.main import main

    with pytest.raises(SystemExit) as stop:
        main(["compare", *words])
    assert stop.value.code == 2
    assert told in capsys.readouterr().err
    assert not (place / "runs").exists()


@pytest.mark.parametrize("name", sorted(p.name for p in (ROOT / "scenarios" / "studies").glob("*.yaml")))
def test_shipped_studies_are_good(name):
    """``check`` reads files of many runs too, and tells what they ask for."""
    result = drivesim("check", str(ROOT / "scenarios" / "studies" / name))
    assert re.match(r"good: (compare|sweep|tune on) \d+ ", result.output), result.output
