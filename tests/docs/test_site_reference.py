"""The reference pages hold every key of every file with its meaning, and every option of every command."""

from __future__ import annotations

import importlib
import json
import re
from pathlib import Path

import click
import pytest

import drivesim
from drivesim.cli.main import COMMANDS
from drivesim.fitting.kinds import KINDS
from drivesim.scenario import json_schema
from drivesim.scenario.compare_file import Comparison
from drivesim.scenario.drive import Drive
from drivesim.scenario.meanings import meanings, written_models
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.sweep_file import SweepFile
from drivesim.scenario.tune_file import TuneFile

DOCS = Path(__file__).parents[2] / "docs"
MODELS = written_models(Scenario, Comparison, TuneFile, SweepFile)


def maker(name: str):
    """Return a module that makes pages."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(DOCS))
        return importlib.import_module(name)


@pytest.fixture(scope="module")
def files():
    """The module that makes the pages about files."""
    return maker("reference_files")


@pytest.fixture(scope="module")
def commands():
    """The module that makes the page about commands."""
    return maker("reference_commands")


def test_models_are_found_down_to_the_last():
    assert len(MODELS) > 60
    assert {"Layer", "CutBack", "Payload", "Search", "Axis"} <= {model.__name__ for model in MODELS}


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_every_key_has_a_meaning(model):
    found = meanings(model)
    assert set(found) == set(model.model_fields)
    for key, words in found.items():
        assert len(words) > 4, f"{model.__name__}.{key} has no meaning"
        assert words.endswith("."), f"{model.__name__}.{key}: {words}"


def test_every_key_is_in_the_reference_with_its_meaning(files):
    text = "\n".join(files.file_pages().values())
    for model in set(MODELS) - {Drive}:
        begin = text.index(f"({files.label(model)})=")
        own = text[begin:].split("\n## ", 2)[1]
        for key, words in meanings(model).items():
            row = re.search(rf"^\| `{key}` \|([^|]*)\|([^|]*)\|[^|]*\| (.+) \|$", own, re.MULTILINE)
            assert row, f"{model.__name__}.{key}"
            assert row[1].strip(), f"{model.__name__}.{key}: how it is written"
            assert row[2].strip(), f"{model.__name__}.{key}: its default"
            assert row[3] == files.plain(words)


@pytest.mark.parametrize(
    ("key", "row"),
    [
        ("terminal_resistance", "| `2.4 ohm` | – | more than 0 ohm |"),
        ("pole_pairs", "| whole number | must be given | 1 to 200 |"),
        ("connection", "| `star`, `delta` | `star` |  |"),
        ("clock_error", "| `40 ppm` | `0` | at least -0.001 and at most 0.001 |"),
        ("bus_capacitance", "| `220 uF` | `220 uF` | more than 0 F |"),
        ("ambient", "| `25 degC` | `22 degC` | at least -273.15 degC |"),
        ("require", "| [mapping](#file-require) | `{phase_margin: 30 deg, rounding: 0.05}` |  |"),
    ],
)
def test_a_row_says_unit_default_and_range(files, key, row):
    assert f"| `{key}` {row}" in "\n".join(files.file_pages().values())


def test_the_schema_for_editors_has_the_meanings_too():
    schema = json.loads(json.dumps(json_schema()))
    parts = {**schema["$defs"], "Scenario": schema}
    for model in written_models(Scenario):
        if model is not Drive:
            for key, words in meanings(model).items():
                assert parts[model.__name__]["properties"][key]["description"] == words
    mass = parts["Rover"]["properties"]["mass"]
    assert mass["examples"] == ["180 g"]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_of_every_command_is_told(commands, name):
    own = commands.command_page().split(f"(command-{name})=")[1].split("\n(command-")[0]
    command = commands.command_of(name)
    for option in command.params:
        if isinstance(option, click.Option):
            assert option.help, f"{name} {option.opts[0]} has no words"
            for spelling in option.opts:
                assert re.search(rf"{spelling}\b", own), f"{name} {spelling}"
        else:
            assert option.make_metavar(click.Context(command)).strip("[].") in own
    for part in ("Synopsis", "Description", "Options", "Exit codes", "Examples"):
        assert f"**{part}**" in own
    assert f"drivesim {name}" in own.split("**Examples**")[1]


def test_every_kind_of_log_and_column_is_told(files):
    text = files.log_page()
    for kind in KINDS.values():
        own = text.split(f"# test: {kind.name}`")[1].split("\n## ")[0]
        for column in kind.columns:
            assert f"`{column.name}`" in own


def test_every_public_name_is_in_the_reference():
    page = (DOCS / "api.md").read_text(encoding="utf-8")
    told = set(re.findall(r"^\.\. auto\w+:: drivesim\.(\w+)(?:\(\))?$", page, re.MULTILINE))
    assert told >= set(drivesim.__all__)
