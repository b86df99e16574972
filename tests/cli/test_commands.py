"""The command line as a user meets it: what it prints, writes, refuses, and its exit codes."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from drivesim.cli.main import main

ROOT = Path(__file__).parents[2]
SHORT = "base: scenarios/bench_start.yaml\nname: short\nduration: 1 s\n"


@pytest.fixture
def place(tmp_path):
    """A folder with the shipped scenarios and a short one of its own."""
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    (tmp_path / "short.yaml").write_text(SHORT, encoding="utf-8")
    return tmp_path


@dataclass
class Result:
    returncode: int
    stdout: str
    stderr: str


def drivesim(place: Path, *words: str) -> Result:
    """Run the command in this process, which spares a second an import; a real process is tried below."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.chdir(place), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main(list(words))
        except SystemExit as stop:
            code = stop.code
    return Result(int(code or 0), out.getvalue(), err.getvalue())


def leftovers(place: Path) -> set[str]:
    return {p.name for p in place.iterdir()} - {"scenarios", "short.yaml"}


def test_run_writes_a_whole_folder_and_prints_the_verdict(place):
    result = drivesim(place, "run", "short.yaml", "--csv")
    assert result.returncode == 0, result.stderr
    folder = place / "runs" / "short"
    names = {p.name for p in folder.iterdir()}
    assert {"scenario.yaml", "summary.json", "traces.nc", "events.csv", "traces.csv"} <= names
    assert sum(name.endswith(".png") for name in names) >= 7
    summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    flat = " ".join(result.stdout.split())
    assert summary["verdict"] in flat
    assert "not accounted for" in flat
    assert "current-limited supply" in flat
    header = (folder / "traces.csv").read_text(encoding="utf-8").splitlines()[0]
    assert "wheel_speed front_left [rad/s]" in header
    # the resolved scenario is a scenario: running it again gives the same traces
    again = drivesim(place, "run", "runs/short/scenario.yaml", "-o", "again", "--no-pictures")
    assert again.returncode == 0, again.stderr
    assert (place / "again" / "traces.nc").read_bytes() == (folder / "traces.nc").read_bytes()


def test_a_second_run_takes_the_next_free_folder(place):
    for _ in range(2):
        assert drivesim(place, "run", "short.yaml", "--no-pictures").returncode == 0
    assert {p.name for p in (place / "runs").iterdir()} == {"short", "short-2"}


def test_existing_output_is_never_lost_by_accident(place):
    (place / "mine").mkdir()
    (place / "mine" / "thesis.txt").write_text("precious", encoding="utf-8")
    refused = drivesim(place, "run", "short.yaml", "-o", "mine", "--no-pictures")
    forced = drivesim(place, "run", "short.yaml", "-o", "mine", "--force", "--no-pictures")
    assert (refused.returncode, forced.returncode) == (2, 2)
    assert "--force" in refused.stderr
    assert "not a run" in forced.stderr
    assert (place / "mine" / "thesis.txt").read_text(encoding="utf-8") == "precious"


def test_json_is_all_there_is_on_standard_output(place):
    result = drivesim(place, "run", "short.yaml", "--json", "--no-pictures", "--check-step")
    assert json.loads(result.stdout)["name"] == "short"
    assert "half step" in result.stderr


@pytest.mark.parametrize(
    ("bar", "code"),
    [
        ("distance > 10 m", 1),
        ("distance > 1 cm", 0),
        ("distnce > 1 m", 2),
        ("distance > 1 kg", 2),
        ("distance", 2),
    ],
)
def test_require(place, bar, code):
    result = drivesim(place, "run", "short.yaml", "--no-pictures", "--require", bar)
    assert result.returncode == code
    if code == 1:
        assert "not met: distance > 10 m (found 0." in result.stderr
    if code == 2:
        assert result.stderr.count("\n") == 1
        assert leftovers(place) == set()


BROKEN = [
    ("mass: 5 V", "rover.mass", "180 g"),
    ("mass: 0.6", "rover.mass", "unit"),
    ("mass: -2 kg", "rover.mass", "more than 0"),
    ("maas: 2 kg", "rover.maas", "mass"),
    ("wheelbase: .nan m", "rover.wheelbase", "number"),
]


@pytest.mark.parametrize(("line", "field", "hint"), BROKEN)
@pytest.mark.parametrize("verb", ["run", "check"])
def test_a_mistake_is_one_line_with_file_line_and_field(place, verb, line, field, hint):
    rover = (ROOT / "scenarios/rovers/crawler.yaml").read_text(encoding="utf-8").splitlines()
    key = "wheelbase" if "wheelbase" in line else "mass"
    number = next(i for i, text in enumerate(rover) if text.startswith(f"{key}:"))
    rover[number] = line
    (place / "scenarios/rovers/crawler.yaml").write_text("\n".join(rover), encoding="utf-8")
    result = drivesim(place, verb, "scenarios/bench_start.yaml")
    assert result.returncode == 2
    assert result.stdout == ""
    assert leftovers(place) == set()
    lines = result.stderr.splitlines()
    told = [t for t in lines if t.startswith(f"scenarios/rovers/crawler.yaml:{number + 1}: {field}:")]
    assert len(told) == 1
    assert hint in told[0]
    assert all(t.startswith("scenarios/rovers/crawler.yaml:") for t in lines)


LATE = [
    ("change:\n  ground.cell: 30 mm\n", "late.yaml:3: ground.cell: found 30 mm, allowed at most 8.5 mm"),
    (
        "change:\n  ground.features:\n    - {kind: profile, file: floor.csv}\n",
        "floor.csv:3: column z: found 'wall'",
    ),
]


@pytest.mark.parametrize(("text", "told"), LATE, ids=["grid", "profile"])
@pytest.mark.parametrize("verb", ["run", "check"])
def test_what_shows_only_when_the_ground_is_built_is_told_at_its_line_too(place, verb, text, told):
    (place / "late.yaml").write_text("base: scenarios/rubble_locked.yaml\n" + text, encoding="utf-8")
    (place / "floor.csv").write_text("x [m], z [mm]\n0, 1\n1, wall\n", encoding="utf-8")
    result = drivesim(place, verb, "late.yaml")
    assert (result.returncode, result.stdout) == (2, "")
    assert told in result.stderr
    assert result.stderr.count("\n") == 1
    assert not (place / "runs").exists()


def test_check_prints_values_that_can_be_run(place):
    result = drivesim(place, "check", "scenarios/slab_edge.yaml")
    assert result.returncode == 0
    (place / "resolved.yaml").write_text(result.stdout, encoding="utf-8")
    again = drivesim(place, "check", "resolved.yaml")
    assert again.stdout == result.stdout
    schema = json.loads(drivesim(place, "check", "--schema").stdout)
    assert "commands" in schema["properties"]


def comments(place: Path, scenario: str) -> str:
    """Return the comment lines that check prints after the values."""
    lines = drivesim(place, "check", scenario).stdout.splitlines()
    return "\n".join(line for line in lines if line.startswith("# "))


def test_check_tells_what_follows_from_the_rover(place):
    told = comments(place, "scenarios/thin_inner_layers.yaml")
    for words in (
        "# winding, 2.81 ohm a phase", "2 outer layers of 47.9 um", "4 inner layers of 24.9 um", "vias: ",
        "cost 61% more resistance", "of the torque at standstill", "front_left   2.81 ohm", "rear_right ",
        "the bus sags to ", "torque for slopes up to ", "friction for slopes up to ", "bus capacitance carries",
        "# good: step ",
    ):  # fmt: skip
        assert words in told, words
    plain = comments(place, "short.yaml")
    assert "layers" not in plain
    found = json.loads(drivesim(place, "check", "short.yaml", "--json").stdout)["derived"]
    assert found["winding"] is None
    assert set(found["wheels"]) == {"front_left", "front_right", "rear_left", "rear_right"}
    force = found["wheels"]["rear_left"]["stall_force_N"]
    assert f"{force:.2f} N" in plain


def test_figures_are_shown_only_where_they_say_something(place):
    plain = drivesim(place, "run", "short.yaml", "--no-pictures").stdout
    for words in (
        "peak housing",
        "torque by commutation",
        "controllers reset",
        "tries that freed",
        "events:",
    ):
        assert words not in plain, words
    (place / "more.yaml").write_text(
        SHORT.replace("1 s", "2 s")
        + "change:\n  rover.wheel.winding.housing: {thermal_resistance: 10 K/W, heat_capacity: 5 J/K}\n"
        "  rover.wheel.driver.lockout: {below: 5.6 V, above: 6.2 V, boot: 0.1 s}\n"
        "  drive.sensor: {kind: hall, sensors: 3, timer_tick: 4 us, timeout: 300 ms, commutation: sectors}\n"
        "events:\n  - {at: 1 s, kind: battery_loose, lasts: 0.1 s}\n",
        encoding="utf-8",
    )
    more = drivesim(place, "run", "more.yaml", "--no-pictures")
    assert more.returncode == 0, more.stderr
    for words in (
        "peak housing",
        "torque by commutation",
        "controllers reset once, off for 0.",
        "events: fault 2",
    ):
        assert words in more.stdout, words


def test_plot_draws_again_what_run_drew(place):
    drivesim(place, "run", "short.yaml", "-o", "short", "--no-pictures")
    result = drivesim(place, "plot", "short", "--picture", "energy", "--format", "svg", "-o", "pictures")
    assert result.returncode == 0, result.stderr
    assert [p.suffix for p in (place / "pictures").iterdir()] == [".svg"]
    unknown = drivesim(place, "plot", "short", "--picture", "enrgy")
    assert unknown.returncode == 2
    assert "energy" in unknown.stderr
    assert drivesim(place, "plot", "scenarios").returncode == 2


def test_an_interrupted_run_leaves_nothing(place, monkeypatch):
    from click.testing import CliRunner

    import drivesim.analysis.files as files
    from drivesim.cli.main import cli

    def interrupted(*_args, **_options):
        raise KeyboardInterrupt

    monkeypatch.chdir(place)
    monkeypatch.setattr(files, "write_run", interrupted)
    CliRunner().invoke(cli, ["run", "short.yaml", "-o", "out"])
    assert leftovers(place) == set()


def test_a_real_process_is_quiet_in_a_pipe(place):
    command = [sys.executable, "-m", "drivesim", "run", "short.yaml", "--no-pictures", "--json"]
    result = subprocess.run(command, cwd=place, capture_output=True, text=True, timeout=120, check=True)
    assert json.loads(result.stdout)["ending"] == "finished"
    assert "\x1b" not in result.stdout + result.stderr
    assert result.stderr == ""


def test_a_terminal_without_our_signs_still_gets_the_verdict(place):
    command = [sys.executable, "-m", "drivesim", "run", "short.yaml", "--no-pictures"]
    result = subprocess.run(
        command, cwd=place, capture_output=True, timeout=120, check=True,
        env=os.environ | {"PYTHONIOENCODING": "cp1252"},
    )  # fmt: skip
    assert b"of the way commanded" in result.stdout


def test_what_cannot_be_written_is_one_line(place):
    drivesim(place, "run", "short.yaml", "-o", "short", "--no-pictures")
    result = drivesim(place, "plot", "short", "-o", "short.yaml", "--picture", "energy")
    assert result.returncode == 2
    assert result.stderr.count("\n") == 1


def test_a_run_of_hours_in_tiny_steps_is_refused_at_once(place):
    (place / "late.yaml").write_text("base: scenarios/bench_start.yaml\nstep: 1 ns\n", encoding="utf-8")
    result = drivesim(place, "check", "late.yaml")
    assert result.returncode == 2
    assert "duration: found 6 s in steps of 1e-09 s, allowed: 1e+08 steps" in result.stderr


def test_check_names_the_limit_that_binds_and_never_rounds_up(place):
    told = drivesim(place, "check", "scenarios/hot_board.yaml").stdout
    figures = json.loads(drivesim(place, "check", "scenarios/hot_board.yaml", "--json").stdout)["derived"]
    wheel = figures["wheels"]["front_left"]
    words = re.search(r"front_left .* ([\d.]+) A, ([\d.]+) V peak \(cut-back, 65 degC\)", told)
    assert wheel["continuous_limit"] == "cut-back"
    for shown, key in zip(
        words.groups(), ("continuous_current_A", "continuous_stall_voltage_V"), strict=True
    ):
        assert 0.99 * wheel[key] < float(shown) <= wheel[key]


def test_a_rover_file_given_as_a_scenario_gets_one_line(place):
    result = drivesim(place, "run", "scenarios/rovers/crawler.yaml")
    assert result.returncode == 2
    assert result.stderr.count("\n") == 1
    assert "this looks like a rover file; a scenario names it under rover:" in result.stderr
