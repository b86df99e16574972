"""docs/fit.md shows what the program prints, and the columns that the tests have."""

from __future__ import annotations

import re
import shlex
import shutil

from click.testing import CliRunner
from fitting_logs import ROOT

from drivesim.cli.fit import command
from drivesim.fitting.kinds import KINDS, OF_WHEELS, SETTINGS

PAGE = (ROOT / "docs" / "fit.md").read_text(encoding="utf-8")


def test_the_first_answer_is_the_one_printed(tmp_path, monkeypatch):
    block = re.search(r"```console\n(.*?)```", PAGE, re.DOTALL)[1]
    line, shown = block.partition("\n$ ")[0].split("\n", 1)
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(command, [*shlex.split(line)[3:], "--no-pictures"], catch_exceptions=False)
    assert result.exit_code == 0
    assert [text.rstrip() for text in result.output.rstrip().splitlines()] == shown.splitlines()


def test_every_test_column_and_setting_is_told():
    for kind in KINDS.values():
        assert f"| `{kind.name}` |" in PAGE
        for column in kind.columns:
            assert f"`{column.name}`" in PAGE, column.name
    for column in OF_WHEELS:
        assert f"`{column.name} WHEEL`" in PAGE
    for name in SETTINGS:
        assert re.search(rf"# {name}:", PAGE), name
