"""Every example in README.md and docs/ runs as written: console commands, Python blocks, scenario fragments."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from drivesim.cli.main import cli

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def blocks(kind: str) -> list:
    found = []
    for page in PAGES:
        for number, (language, text) in enumerate(BLOCK.findall(page.read_text(encoding="utf-8"))):
            if language == kind:
                found.append(pytest.param(text, id=f"{page.name}-{number}"))
    return found


@pytest.fixture
def copy(tmp_path, monkeypatch):
    """A folder with the shipped scenarios, to work in."""
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("text", blocks("console"))
def test_console(text, copy):
    commands = [line[2:] for line in text.splitlines() if line.startswith("$ drivesim ")]
    assert commands, "a console block shows at least one command"
    for command in commands:
        words = shlex.split(command)[1:]
        target = None
        if ">" in words:
            target = words[words.index(">") + 1]
            words = words[: words.index(">")]
        result = CliRunner().invoke(cli, words, catch_exceptions=False)
        assert result.exit_code == 0, result.output
        if target:
            (copy / target).write_text(result.output, encoding="utf-8")


@pytest.mark.parametrize("text", blocks("python"))
def test_python(text, copy, capsys):
    exec(compile(text, "<example>", "exec"), {})
    assert capsys.readouterr().out


@pytest.mark.parametrize("text", blocks("yaml"))
def test_yaml(text, copy):
    from drivesim import scenario_from_text

    assert scenario_from_text(text, copy / "scenarios").name


def test_links_lead_somewhere():
    for page in PAGES:
        for target in re.findall(r"\]\(([^)#:]+)\)", page.read_text(encoding="utf-8")):
            assert (page.parent / target).exists(), f"{page.name}: {target}"


@pytest.mark.parametrize("path", sorted((ROOT / "scenarios").glob("*.yaml")), ids=lambda p: p.stem)
def test_every_scenario_says_its_question(path):
    assert path.read_text(encoding="utf-8").startswith("# Question: ")


def test_the_scenario_page_names_every_file_kind_and_setting():
    from drivesim.scenario import drive, ground, motor, rover, scenario

    page = (ROOT / "docs" / "scenarios.md").read_text(encoding="utf-8")
    for path in (ROOT / "scenarios").glob("*.yaml"):
        assert f"`{path.name}`" in page
    models = [
        drive.SpeedLoop,
        drive.LockedFrequency,
        drive.TrimmedFrequency,
        drive.FixedVoltage,
        drive.Sensor,
    ]
    models += [ground.Ramp, ground.Step, ground.Pavers, ground.Bumps, ground.Twist, ground.Washboard]
    models += [ground.Roughness, ground.Profile, ground.HeightMap]
    models += [
        rover.Rover,
        rover.Wheel,
        rover.WheelPlace,
        rover.Tyre,
        rover.Bearing,
        motor.Motor,
        motor.Winding,
    ]
    models += [
        motor.Driver,
        motor.Battery,
        scenario.Scenario,
        scenario.Command,
        scenario.Recovery,
        scenario.Link,
    ]
    for model in models:
        for field in model.model_fields:
            assert re.search(rf"[`{{ ]{field}[`:]|^{field}:", page, re.MULTILINE), f"{model.__name__}.{field}"
