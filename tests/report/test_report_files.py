"""``drivesim report`` on disk: what it refuses, and that it writes whole pages or nothing."""

from __future__ import annotations

import contextlib
import io
import json
import os
import shutil
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from report_runs import EDGE, made

from drivesim.analysis.files import write_run
from drivesim.cli.main import main
from drivesim.errors import RunError
from drivesim.report.run_page import run_page
from drivesim.report.writing import OURS, write_report

SHORT = "{base: slab_edge.yaml, change: {duration: 0.5 s}}"
FILES = ("summary.json", "scenario.yaml", "traces.nc", "events.csv")


@pytest.fixture(scope="session")
def kept(tmp_path_factory):
    folder = tmp_path_factory.mktemp("kept") / "edge"
    folder.mkdir()
    write_run(made(EDGE), folder)
    return folder


@pytest.fixture
def folder(kept, tmp_path, bare):
    return shutil.copytree(kept, tmp_path / "runs" / "edge")


def drivesim(*words):
    """Run the command in this process; return its exit code, output and errors."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main([str(word) for word in words])
        except SystemExit as stop:
            code = int(stop.code or 0)
    return code, out.getvalue(), err.getvalue()


def spoiled(folder, name, how):
    path = folder / name
    content = path.read_bytes()
    if how == "gone":
        path.unlink()
    elif how == "empty":
        path.write_bytes(b"")
    elif how == "cut":
        path.write_bytes(content[: len(content) // 3])
    elif how == "other":
        path.write_bytes(b"[1, 2]\n")
    else:
        noise = np.random.default_rng(5).integers(0, 256, len(content) // 2, dtype="u1")
        path.write_bytes(noise.tobytes() + content[len(content) // 2 :])


@pytest.mark.parametrize(
    ("name", "how"),
    [(name, how) for name in FILES for how in ("gone", "empty", "cut", "other", "noise")],
)
def test_a_file_that_is_missing_or_spoiled_is_one_line_and_nothing_is_written(folder, name, how):
    spoiled(folder, name, how)
    before = {path.name for path in folder.iterdir()}
    code, out, err = drivesim("report", folder)
    if name == "events.csv" and how in ("empty", "cut", "other"):
        # a table of events that is cut, or has other columns, may still be read as fewer events
        assert code in (0, 2)
        if code == 0:
            return
    assert code == 2, (out, err)
    lines = err.strip().splitlines()
    # mistakes in a scenario are told all at once, a line each
    assert len(lines) == 1 or all(line.startswith(f"{folder / 'scenario.yaml'}:") for line in lines), err
    assert "Traceback" not in err
    assert out == ""
    assert {path.name for path in folder.iterdir()} == before


@pytest.mark.parametrize("where", ["start", "middle", "end"])
def test_noise_anywhere_in_the_traces_is_never_a_traceback(folder, where):
    path = folder / "traces.nc"
    content = bytearray(path.read_bytes())
    at = {"start": 4, "middle": len(content) // 2, "end": len(content) - 400}[where]
    rng = np.random.default_rng(11)
    for trial in range(12 if where == "start" else 3):
        broken = bytearray(content)
        places = at + rng.integers(0, 300, 6)
        broken[places[0] : places[0] + 3] = rng.integers(0, 256, 3, dtype="u1").tobytes()
        path.write_bytes(broken)
        code, _, err = drivesim("report", folder)
        assert code in (0, 2), trial
        assert len(err.strip().splitlines()) <= 1, (trial, err)


def test_traces_of_other_dimensions_are_refused(folder):
    xr.Dataset({"speed": ("t", [1.0, 2.0])}).to_netcdf(folder / "traces.nc", engine="scipy")
    code, _, err = drivesim("report", folder)
    assert code == 2
    assert len(err.strip().splitlines()) == 1


def test_a_scenario_that_was_edited_afterwards_is_refused(folder):
    path = folder / "scenario.yaml"
    path.write_text(path.read_text(encoding="utf-8") + "\nnonsense: 3\n", encoding="utf-8")
    code, _, err = drivesim("report", folder)
    assert code == 2
    assert "nonsense" in err
    assert "scenario.yaml" in err
    assert not (folder / "report.html").exists()


def test_every_value_of_the_summary_may_be_missing_without_a_traceback(bare):
    run, refused = made(SHORT), 0
    whole = run.summary
    places = [(key,) for key in whole] + [
        (k, sub) for k, v in whole.items() if isinstance(v, dict) for sub in v
    ]
    places += [("wheels", "front_left", sub) for sub in whole["wheels"]["front_left"]]
    for place in places:
        data = json.loads(json.dumps(whole))
        inner = data
        for key in place[:-1]:
            inner = inner[key]
        del inner[place[-1]]
        told = None
        try:
            run_page([replace(run, summary=data)])
        except RunError as error:
            told = str(error)
        assert told is None or "\n" not in told, place
        refused += told is not None
    assert 10 < refused < len(places)


def test_a_page_lands_in_the_runs_folder_and_replaces_an_older_one(folder):
    code, out, _ = drivesim("report", folder)
    page = folder / "report.html"
    assert (code, out.strip()) == (0, str(page))
    first = page.read_bytes()
    assert OURS.encode() in first[:4096]
    page.write_bytes(first + b"<!-- older -->")
    assert drivesim("report", folder)[0] == 0
    assert page.read_bytes() == first
    assert oct(page.stat().st_mode & 0o777) == "0o644"


def test_several_runs_get_a_page_beside_their_folders(folder):
    other = shutil.copytree(folder, folder.parent / "other")
    code, out, _ = drivesim("report", folder, other)
    assert (code, out.strip()) == (0, str(folder.parent / "edge_beside_other.html"))


def test_a_file_of_somebody_else_is_left_alone_unless_forced(folder, tmp_path):
    foreign = tmp_path / "mine.html"
    foreign.write_text("my own page", encoding="utf-8")
    code, _, err = drivesim("report", folder, "-o", foreign)
    assert code == 2
    assert "--force" in err
    assert foreign.read_text(encoding="utf-8") == "my own page"
    assert drivesim("report", folder, "-o", foreign, "--force")[0] == 0
    assert OURS in foreign.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("target", "words"),
    [("", "is a folder"), ("scenario.yaml/page.html", "cannot be"), ("a" * 300 + ".html", "cannot be")],
)
def test_a_place_where_no_page_can_be_written_is_one_line(folder, target, words):
    code, _, err = drivesim("report", folder, "-o", folder / target)
    assert code == 2
    assert words in err
    assert len(err.strip().splitlines()) == 1


def test_what_is_neither_file_nor_folder_is_left_alone_even_if_forced(folder):
    pipe = folder / "pipe.html"
    os.mkfifo(pipe)
    code, _, err = drivesim("report", folder, "-o", pipe, "--force")
    assert code == 2
    assert err.strip().endswith("is not a file that a page can replace")
    assert pipe.is_fifo()


def test_a_page_that_cannot_be_put_in_place_leaves_the_old_one_and_no_scraps(folder, monkeypatch):
    write_report(folder, folder / "report.html")
    old = (folder / "report.html").read_bytes()

    def refuse(source, target):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("drivesim.report.writing.os.replace", refuse)
    before = {path.name for path in folder.iterdir()}
    with pytest.raises(RunError, match="cannot be written"):
        write_report(folder, folder / "report.html")
    assert {path.name for path in folder.iterdir()} == before
    assert (folder / "report.html").read_bytes() == old


def test_a_run_in_memory_gives_the_page_of_its_folder(folder, tmp_path):
    one = write_report(folder, tmp_path / "one.html").read_bytes()
    two = write_report(folder, tmp_path / "two.html").read_bytes()
    assert one == two
    three = write_report([made(EDGE)], tmp_path / "three.html").read_text(encoding="utf-8")
    assert "slab edge" in three
