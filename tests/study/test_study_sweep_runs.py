"""Doing the runs of a sweep: the same bytes however they come about, and nothing twice after a kill."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import time

import pytest
from sweep_studies import GRID, made, results_in, study_text, written

from drivesim.cli import progress
from drivesim.cli.main import main
from drivesim.errors import RunError, ScenarioError
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.writing import resolved
from drivesim.study import keys as keys_module
from drivesim.study import sweep as sweep_module
from drivesim.study.keys import Keys
from drivesim.study.sweep import sweep

MANY = GRID.replace("count: 3", "count: 12").replace("grounds: 2", "grounds: 3")  # 72 runs


def runs_in(folder) -> list[str]:
    """Return the keys in the store, whole lines only, in the order in which they were written."""
    found = []
    for path in folder.glob("runs-*.jsonl"):
        for line in path.read_bytes().splitlines(keepends=True):
            if line.endswith(b"\n") and isinstance(item := json.loads(line[9:]), list):
                found.append(item[0])
    return found


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory):
    """The same sweep in one go."""
    folder = tmp_path_factory.mktemp("undisturbed")
    sweep(written(folder.parent, MANY, "many.yaml"), folder=folder, jobs=1)
    return folder


def test_killed_and_resumed_is_as_if_undisturbed(tmp_path, undisturbed):
    folder, study = tmp_path / "killed", written(tmp_path, MANY, "many.yaml")
    words = [
        sys.executable,
        "-m",
        "drivesim",
        "sweep",
        str(study),
        "-o",
        str(folder),
        "--no-pictures",
        "--jobs",
        "2",
    ]
    process = subprocess.Popen(words, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL)
    until = time.monotonic() + 120
    while len(runs_in(folder)) < 20:
        assert process.poll() is None, process.stderr.read()
        assert time.monotonic() < until
        time.sleep(0.01)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    kept = runs_in(folder)
    assert 20 <= len(kept) < 72
    assert not (folder / "summary.json").exists()
    found = sweep(study, folder=folder)
    assert found.notes[0] == f"{72 - len(kept)} runs done now, {len(kept)} there already"
    assert runs_in(folder)[: len(kept)] == kept
    assert len(runs_in(folder)) == len(set(runs_in(folder))) == 72
    assert results_in(folder) == results_in(undisturbed)


def test_interrupted_says_how_to_go_on(tmp_path, undisturbed, monkeypatch, capsys):
    @contextlib.contextmanager
    def pressed(total, **_options):
        def report(done):
            if done == 5:
                raise KeyboardInterrupt

        yield report

    folder, study = tmp_path / "interrupted", written(tmp_path, MANY, "many.yaml")
    monkeypatch.setattr(progress, "counted", pressed)
    with pytest.raises(SystemExit) as stopped:
        main(["sweep", str(study), "-o", str(folder)])
    assert stopped.value.code == 130
    assert capsys.readouterr().err == (
        f"interrupted; finished runs are kept in {folder}/, and the same command goes on from there\n"
    )
    assert len(runs_in(folder)) == 5
    assert sweep(study, folder=folder).notes == ("67 runs done now, 5 there already",)
    assert results_in(folder) == results_in(undisturbed)


def test_the_number_of_threads_changes_no_byte(tmp_path):
    study = written(tmp_path)
    for jobs in (1, 2):
        sweep(study, folder=tmp_path / str(jobs), jobs=jobs)
    one, two = (results_in(tmp_path / str(jobs)) for jobs in (1, 2))
    assert set(one) == {
        "table.csv",
        "table.nc",
        "sensitivity.csv",
        "summary.json",
        "scenario.yaml",
        "study.yaml",
    }
    assert one == two


def test_a_torn_line_is_done_again(tmp_path):
    study, folder = written(tmp_path), tmp_path / "out"
    sweep(study, folder=folder)
    before = results_in(folder)
    (runs,) = folder.glob("runs-*.jsonl")
    runs.write_bytes(runs.read_bytes()[:-5])
    found = sweep(study, folder=folder)
    assert found.notes[:2] == ("1 runs done now, 11 there already", f"1 damaged line of {runs.name} not used")
    assert results_in(folder) == before


def test_a_changed_study_uses_what_still_fits(tmp_path):
    folder = tmp_path / "out"
    sweep(written(tmp_path), folder=folder)
    wider = GRID.replace("[0.5, 0.9]", "[0.5, 0.9, 1.1]").replace("name: small", "name: wider")
    assert sweep(written(tmp_path, wider), folder=folder).notes == ("6 runs done now, 12 there already",)
    fewer = GRID.replace("grounds: 2", "grounds: 1").replace("> 5 mm", "> 10 mm")
    assert sweep(written(tmp_path, fewer), folder=folder).notes == ("0 runs done now, 6 there already",)
    assert json.loads((folder / "summary.json").read_text())["success"] == ["distance > 10 mm"]


def test_results_of_other_code_are_not_mixed_in(tmp_path, monkeypatch):
    folder = tmp_path / "out"
    sweep(written(tmp_path), folder=folder)
    for module in (sweep_module, keys_module):
        monkeypatch.setattr(module, "stamp", lambda: "0123456789abcdef")
    found = sweep(written(tmp_path), folder=folder)
    assert found.notes[0] == "12 runs done now, 0 there already"
    assert "other code did are not used: runs-" in found.notes[1]
    assert len(list(folder.glob("runs-*.jsonl"))) == 2


def test_a_run_is_named_after_all_that_it_follows_from(tmp_path):
    keys, (first, second) = (
        Keys(),
        [s for _, _, s in made("axes: {rover.mass: [500 g, 501 g]}\ngrounds: 1\n").runs()],
    )
    assert keys.of(first, 1) == Keys().of(first, 1)
    assert len({keys.of(first, 1), keys.of(first, 2), keys.of(second, 1)}) == 3
    assert keys.of(first.model_copy(update={"name": "other", "question": "?"}), 1) == keys.of(first, 1)
    ground = tmp_path / "way.csv"
    feature = f"{{kind: profile, start: 0.3 m, file: '{ground}'}}"
    rest = (
        f"axes:\n  ground:\n    - {{label: way, value: {{name: way, features: [{feature}]}}}}\ngrounds: 1\n"
    )
    names = set()
    for height in (1, 2):
        ground.write_text(f"x [m],z [mm]\n0,0\n1,{height}\n", encoding="utf-8")
        os.utime(ground, ns=(height, height))
        (scenario,) = [s for _, _, s in made(rest).runs()]
        names.add(Keys().of(scenario, 1))
    assert len(names) == 2


def test_a_scenario_sent_as_text_is_the_same_to_the_last_bit():
    """What the workers of a cluster read: drawn numbers have as many digits as a file is read to."""
    setup = made("""\
axes: {rover.mass: {normal: 7 %}}
design: sobol
designs: 8
grounds: 2
spread: {rover.wheel.bearing.dry: {normal: 20 %, each: wheel}, drive.slew: {uniform: 3 %}}
""")
    for _, _, scenario in setup.runs():
        assert Scenario.model_validate(json.loads(json.dumps(resolved(scenario)))) == scenario


def test_corners_that_cannot_be_built_are_told_and_the_rest_is_driven(tmp_path):
    found = sweep(
        written(tmp_path, "axes: {rover.wheel.radius: [34 mm, 80 mm]}\ngrounds: 2\n"), folder=tmp_path / "o"
    )
    assert found.table["refused"].str.contains("160 mm across").tolist() == [False, False, True, True]
    for name in ("distance", "success"):
        assert found.dataset[name].isnull().values.tolist() == [[False, False], [True, True]]
    assert found.summary["refused"]["runs"] == 2
    assert "2 runs could not be made; the table says why." in found.verdict
    with pytest.raises(ScenarioError, match=r"not one design can be driven; .* rover\.wheelbase"):
        sweep(written(tmp_path, "axes: {rover.wheel.radius: [80 mm]}\ngrounds: 1\n"))


def test_a_run_that_fails_when_it_is_built_is_kept_as_refused(tmp_path):
    study = written(
        tmp_path, "axes: {ground.cell: [8 mm, 80 mm]}\ngrounds: 1\n".replace("ground.cell", "step")
    )
    study.write_text(study.read_text().replace("[8 mm, 80 mm]", "[0.5 ms, 50 ms]"), encoding="utf-8")
    for _ in range(2):
        found = sweep(study, folder=tmp_path / "o")
        assert found.summary["refused"]["runs"] == 1
        assert "step" in found.table["refused"][1]
    assert found.notes == ("0 runs done now, 2 there already",)


def test_the_same_scenario_twice_is_driven_once(tmp_path):
    values = "[{label: a, value: 500 g}, {label: b, value: 0.5 kg}, {label: c, value: 600 g}]"
    found = sweep(written(tmp_path, f"axes: {{rover.mass: {values}}}\ngrounds: 1\n"), folder=tmp_path / "o")
    assert found.notes == ("2 runs done now, 1 there already",)
    came = found.table["distance [m]"].tolist()
    assert came[0] == came[1] != came[2]


def test_keys_of_a_study_do_as_well_as_a_file(tmp_path):
    (tmp_path / "scenario.yaml").write_text(
        study_text("").replace("scenario:\n", "").replace("\n  ", "\n").strip()
    )
    fields = {"axes": {"rover.mass": {"from": "500 g", "to": "900 g", "count": 3}}, "grounds": 2}
    found = sweep({"scenario": tmp_path / "scenario.yaml", **fields})
    same = sweep(written(tmp_path, "axes: {rover.mass: {from: 500 g, to: 900 g, count: 3}}\ngrounds: 2\n"))
    assert found.table.equals(same.table)
    assert list(tmp_path.glob("runs-*")) == []
    with pytest.raises(ScenarioError, match=r"axes.rover.mass.1: found '1 m'"):
        sweep({"scenario": tmp_path / "scenario.yaml", "axes": {"rover.mass": ["1 kg", "1 m"]}})


def test_folders_that_are_not_sweeps_are_left_alone(tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear")
    with pytest.raises(RunError, match="is not a sweep of drivesim"):
        sweep(written(tmp_path), folder=tmp_path / "mine")
