"""Every example in README.md and docs/ runs as written: console commands, Python blocks, scenario fragments."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path
from typing import get_args

import pytest
from click.testing import CliRunner

from drivesim.cli.main import cli
from drivesim.scenario.meanings import written_models
from drivesim.scenario.scenario import Scenario

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

    if re.search("^scenario:", text, re.MULTILINE):
        own = copy / "scenarios" / "studies" / "own.yaml"
        own.write_text(text, encoding="utf-8")
        result = CliRunner().invoke(cli, ["check", str(own)], catch_exceptions=False)
        assert result.output.startswith("good: "), result.output
    elif not re.search("^(spread|axes|cases):", text):
        assert scenario_from_text(text, copy / "scenarios").name


@pytest.mark.parametrize("path", sorted((ROOT / "scenarios").glob("*.yaml")), ids=lambda p: p.stem)
def test_every_scenario_says_its_question(path):
    assert path.read_text(encoding="utf-8").startswith("# Question: ")


#: a word of the verdict in which each scenario's story shows, where chance does not decide it
STORIES = {
    "thin_inner_layers": "^stuck .* at full bus voltage",
    "hot_board": r"cut-back leaves of the voltage .* from \d\d\.\d s on",
    "heat_cascade": "driver dead.*tripped for heat",
    "brown_out": r"^stuttered in a brown-out: the bus fell below 6 V \d+ times",
    "parallel_cells": "^stuck .* at full bus voltage",
    "battery_bounce": "^moved: .*with the battery disconnected .*below 5.6 V once",
    "lossy_link": "91% of the way commanded.*fail-safe of its radio link stopped it once",
    "loose_magnets": "^stuck .* its rotor angle so far off",
    "fixed_point": "^moved",
    "fixed_point_coarse": "^stuck .*, below full voltage",
    "rubble_locked": "out of step",
    "rubble_trimmed": "^stuck .* out of step",
    "payload": "payload of 350 g",
    "loose_fill": "at the soil's limit",
    "cross_slope": "^moved: .*drifted 0.0[4-7] m to the right",
    "joist_smooth": "^stuck .* against the joist at its friction limit",
    "joist_spikes": "^moved",
    "driver_dies": "^stuck .* against the slab edge .*driver dead",
    "faults": "tyre off.*rear_left ran away .* its sensor stuck",
}


@pytest.mark.parametrize("name", STORIES)
def test_a_scenario_shows_what_it_was_made_for(name):
    from drivesim import load_scenario, simulate

    verdict = simulate(load_scenario(ROOT / "scenarios" / f"{name}.yaml")).verdict
    assert re.search(STORIES[name], verdict), verdict


def test_only_the_copper_keeps_the_rover_from_climbing():
    from drivesim import scenario_from_text, simulate

    text = "base: thin_inner_layers.yaml\nname: as drawn\nchange: {rover.wheel.motor.conductor.finish: nominal}\n"
    drawn = simulate(scenario_from_text(text, ROOT / "scenarios")).summary
    assert drawn["stuck_s"] == 0
    assert drawn["progress_m"] > 0.8


def test_the_scenario_page_names_every_file_kind_and_setting():
    page = (ROOT / "docs" / "scenarios.md").read_text(encoding="utf-8")
    for path in (ROOT / "scenarios").glob("*.yaml"):
        assert f"`{path.name}`" in page
    models = written_models(Scenario)
    assert len(models) > 40
    for model in models:
        for field in set(model.model_fields) - {
            "all_wheels"
        }:  # which nobody writes: its keys stand in drive itself
            assert re.search(rf"[`{{ ]{field}[`:]|^{field}:", page, re.MULTILINE), f"{model.__name__}.{field}"
        for kind in get_args(model.model_fields["kind"].annotation) if "kind" in model.model_fields else ():
            assert re.search(rf"[`( ]{kind}[`,) ]", page), f"{model.__name__}: {kind}"
