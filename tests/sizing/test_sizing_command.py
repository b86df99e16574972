"""``drivesim size``: tables, folder, mistakes, every shipped scenario; and its pictures."""

from __future__ import annotations

import csv
import json
import math

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image
from sizing_rovers import SCENARIOS, plain, shelf

from drivesim import load_scenario
from drivesim.cli.main import main
from drivesim.plots.sizing import draw_limits, draw_lines
from drivesim.plots.sizing_levers import draw_levers
from drivesim.sizing.answers import NOW, Rover, answers
from drivesim.sizing.ask import asked
from drivesim.sizing.lines import torque_lines
from drivesim.sizing.loading import loading_table
from drivesim.sizing.size import rover_scenario, size

ROVER = SCENARIOS / "rovers" / "crawler.yaml"
PICTURES = ("size_lines.png", "size_limits.png", "size_levers.png")


def call(capsys, *words):
    with pytest.raises(SystemExit) as ended:
        main(["size", *(str(word) for word in words)])
    out, err = capsys.readouterr()
    return ended.value.code, out, err


@pytest.mark.parametrize("path", sorted(SCENARIOS.glob("*.yaml")), ids=lambda path: path.stem)
def test_every_shipped_scenario_can_be_sized(path):
    scenario = load_scenario(path)
    rover, ask = Rover.of(scenario), asked(scenario, None, None, None, None)
    found, _ = answers(rover, ask)
    assert found["grade", NOW].value > 0
    assert math.isfinite(found["turn", NOW].value)
    assert (loading_table(rover, ask)["bus_V"] > 0).all()
    lines = torque_lines(rover, ask)
    assert np.isfinite(lines["force_now"].values).all()
    assert (np.diff(lines["force_now"].values) <= 1e-9).all()


def test_a_folder_with_tables_and_pictures(capsys, tmp_path):
    folder = tmp_path / "sized"
    code, out, err = call(
        capsys, ROVER, "--charge", "20%", "--step", "10 mm", "--slope", "15deg", "-o", folder
    )
    assert (code, err) == (0, "")
    assert "→ At 20% charge it climbs" in out
    assert f"written to {folder}/" in out
    summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    assert summary["asked"] == {
        "speed_m_s": 0.1,
        "slope_rad": pytest.approx(math.radians(15)),
        "step_m": 0.01,
        "tow_N": None,
    }
    assert load_scenario(folder / "scenario.yaml").rover.battery.state_of_charge == 0.2
    for name in PICTURES:
        grey = np.asarray(Image.open(folder / name).convert("L"))
        assert grey.shape[1] == 1080
        assert 0.005 < (grey < 128).mean() < 0.5
    with (folder / "lines.csv").open(encoding="utf-8") as file:
        rows = list(csv.reader(file))
    assert rows[0][0] == "speed [m/s]"
    assert "torque_now front_left [N*m]" in rows[0]
    with (folder / "levers.csv").open(encoding="utf-8") as file:
        levers = list(csv.DictReader(file))
    assert {"mass", "one_cell_more"} <= {row["lever"] for row in levers}
    code, _, err = call(capsys, ROVER, "-o", folder)
    assert (code, err.count("\n")) == (2, 1)
    assert "exists already" in err


def test_json_is_all_that_is_known(capsys):
    code, out, _ = call(capsys, SCENARIOS / "rubble_locked.yaml", "--json", "--tow", "0.5 N")
    found = json.loads(out)
    assert code == 0
    assert found["drive"] == "forced"
    assert found["limits"]["turn"]["now"]["limit"] == "pull-out"
    assert found["limits"]["tow"]["asked"] == 0.5
    assert found["cautions"][-1].startswith("Sizing is statics")
    assert any("Hot board" in caution for caution in found["cautions"])
    assert found == json.loads(
        json.dumps(size(load_scenario(SCENARIOS / "rubble_locked.yaml"), tow=0.5).summary)
    )


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (["--charge", "120%"], "charge: found 1.2, allowed: more than 0 and at most 1 (100 %)"),
        (
            ["--speed", "fast"],
            "--speed: found 'fast', which is not a number and a unit; write it like '0.15 m/s'",
        ),
        (["--step", "10"], "--step: found the bare number '10', a unit is needed; write it like '35 mm'"),
        (["--slope", "95 deg"], "slope: found 95 deg, allowed: more than 0 and less than 90 deg"),
        (["--tow", "1 kg"], "--tow: found '1 kg', but 'kg' is not a unit of this kind; write it like '25 N'"),
    ],
)
def test_a_mistake_is_one_line(capsys, words, text):
    code, out, err = call(capsys, ROVER, *words)
    assert (code, out, err) == (2, "", text + "\n")


def test_a_wrong_file_is_told_as_check_tells_it(capsys, tmp_path):
    wrong = tmp_path / "rover.yaml"
    wrong.write_text(ROVER.read_text(encoding="utf-8").replace("mass: 620 g", "mass: 620"), encoding="utf-8")
    code, _, err = call(capsys, wrong)
    assert code == 2
    assert err.startswith(f"{wrong}:4: rover.mass: found the bare number 620, a unit is needed")
    scenario = tmp_path / "scenario.yaml"
    scenario.write_text("name: x\nrover: 3\n", encoding="utf-8")
    for path in (scenario, tmp_path / "none.yaml"):
        code, _, err = call(capsys, path)
        with pytest.raises(SystemExit):
            main(["check", str(path)])
        assert (code, err) == (2, capsys.readouterr().err)


def test_a_bare_rover_stands_on_a_dry_hard_floor():
    scenario = rover_scenario(ROVER)
    assert scenario.ground.friction == 1.0
    assert scenario.ground.soil is None
    assert scenario.rover == load_scenario(SCENARIOS / "steep_ramp.yaml").rover
    assert not Rover.of(scenario).design.forced


def words_of(figure) -> str:
    return "\n".join(text.get_text() for text in figure.findobj(lambda artist: hasattr(artist, "get_text")))


def test_pictures_say_what_they_show():
    found = size(shelf("slab_edge.yaml"))
    lines = words_of(draw_lines(found))
    assert "force at the rim, all wheels [N]" in lines
    assert "torque of each of 4 wheels [mN·m]" in lines
    assert "turn on the spot: " in lines
    limits = words_of(draw_limits(found))
    assert "[torque at hand / torque needed]" in limits
    assert "asked: 16 mm (dashed)" in limits
    assert "for ever:" in limits
    levers = words_of(draw_levers(found))
    assert "flux linkage (magnets)" in levers
    assert "−" in levers


def test_unlike_wheels_are_drawn_one_by_one():
    found = size(plain({"rover.wheels": {"rear_left": {"resistance_factor": 1.3}}}))
    lines = words_of(draw_lines(found))
    assert "rear left" in lines
    assert "torque of each" not in lines


def test_help_has_an_example():
    from drivesim.cli.size import command

    text = CliRunner().invoke(command, ["--help"]).output
    assert "drivesim size scenarios/slab_edge.yaml" in text
