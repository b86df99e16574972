"""``drivesim fit`` as a builder uses it: what it prints, the fragment that a scenario reads, pictures, exit codes."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner
from fitting_logs import BENCH, CRAWLER, ROOT, ROVER, TRUTH, made

from drivesim import load_scenario, scenario_from_text
from drivesim.cli.fit import command
from drivesim.cli.main import main
from drivesim.fitting.fit import fit
from drivesim.fitting.places import changed
from drivesim.fitting.words import number_text, plus_minus, share_words, written_unit
from drivesim.fitting.writing import fragment
from drivesim.units import parse

SCENARIO = ROOT / "scenarios" / "bench_start.yaml"
QUICK = [str(BENCH / "no_load.csv"), str(BENCH / "locked_rotor.csv")]


def run(*words, code=0):
    result = CliRunner().invoke(command, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == code, result.output
    return result.output


def test_it_prints_numbers_verdict_outlier_cautions_and_a_fragment():
    out = run(CRAWLER, *QUICK)
    assert "The winding's resistance between two terminals is 5.2" in out
    assert "% more than the file says" in out
    assert (
        f"left out, beyond chance: {BENCH / 'locked_rotor.csv'}:10: dc_current 0.569 A, the model says 0.468"
        in out
    )
    assert "caution: locked-rotor and warm-up tests heat board" in out
    assert "current-limited supply" in out
    text = out.partition("to stand in a scenario:")[2]
    changed_ = scenario_from_text(f"base: {SCENARIO}\nname: measured\n{text}")
    assert pytest.approx(5.23, abs=0.03) == 2 * changed_.rover.wheel.motor.R


def test_json_is_the_summary():
    found = json.loads(run(CRAWLER, *QUICK, "--json", "--bootstrap", "50"))
    assert found["verdict"].startswith("the winding's resistance")
    resistance = found["parameters"]["rover.wheel.motor.terminal_resistance"]
    assert resistance["beyond_chance"] is True
    assert resistance["unit"] == "ohm"
    assert resistance["low"] < resistance["fitted"] < resistance["high"]
    assert found["tests"][1]["noise"]["current"]["unit"] == "A"
    assert found["seed"] == 1


def test_the_folder_is_whole_and_a_scenario_of_its_own(tmp_path):
    folder = tmp_path / "a" / "bench"
    out = run(SCENARIO, *QUICK, "-o", folder, "--bootstrap", "50")
    assert "written to" in out
    assert "to stand in a scenario" not in out
    names = [
        "fit_measured.png",
        "fit_residuals.png",
        "fitted.yaml",
        "parameters.csv",
        "residuals.csv",
        "summary.json",
    ]
    assert sorted(p.name for p in folder.iterdir()) == names
    assert [p.name for p in folder.parent.iterdir()] == ["bench"]
    measured, before = load_scenario(folder / "fitted.yaml"), load_scenario(SCENARIO)
    assert measured.name == f"{before.name}, as measured"
    assert measured.rover.wheel.motor.R > 1.08 * before.rover.wheel.motor.R
    assert measured.rover.wheel.bearing.dry > 1.4 * before.rover.wheel.bearing.dry
    assert measured.rover.battery == before.rover.battery
    text = (folder / "fitted.yaml").read_text()
    assert "terminal_resistance: 5.23" in text
    assert "# ± 0.0" in text
    again = tmp_path / "again"
    run(SCENARIO, *QUICK, "-o", again, "--bootstrap", "50", "--no-pictures")
    for name in ("parameters.csv", "residuals.csv"):  # same seed, same bytes
        assert (again / name).read_bytes() == (folder / name).read_bytes()


def test_an_older_fit_is_replaced_only_when_told(tmp_path, capsys):
    folder = tmp_path / "bench"
    words = ["fit", str(CRAWLER), *QUICK, "-o", str(folder), "--bootstrap", "0", "--no-pictures"]
    codes = []
    for extra in ([], [], ["--force"]):
        with pytest.raises(SystemExit) as ended:
            main([*words, *extra])
        codes.append(ended.value.code)
    assert codes == [0, 2, 0]
    assert "exists already; give another --output, or --force" in capsys.readouterr().err
    foreign = tmp_path / "mine"
    foreign.mkdir()
    (foreign / "notes.txt").write_text("keep")
    with pytest.raises(SystemExit):
        main([*words[:-5], "-o", str(foreign), "--force"])
    assert (foreign / "notes.txt").read_text() == "keep"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([str(CRAWLER), str(BENCH / "no_lod.csv")], "found no such file; did you mean 'no_load.csv'?"),
        ([str(CRAWLER.with_name("crawlr.yaml")), *QUICK], "no such file; did you mean 'crawler.yaml'?"),
        ([str(CRAWLER), str(BENCH / "driven.csv"), "--free", "rover.mass"], "needs the scenario it was driven in"),
        ([str(SCENARIO), str(BENCH / "driven.csv")], "give --free PATH, such as --free rover.wheel.tyre.rolling"),
        ([str(CRAWLER), *QUICK, "--free", "rover.wheel.bering.dry"], "did you mean 'rover.wheel.bearing.dry'?"),
        ([str(CRAWLER), QUICK[0], QUICK[0]], "found two logs named 'no_load'"),
        ([str(CRAWLER)], "LOG.csv is missing"),
    ],
)  # fmt: skip
def test_mistakes_end_with_one_line_and_code_2(words, told, capsys):
    with pytest.raises(SystemExit) as ended:
        main(["fit", *words])
    assert ended.value.code == 2
    error = capsys.readouterr().err
    assert told in error
    assert "Traceback" not in error


# -- the fragment in the file's own form


def in_another_form(**fields):
    motor = ROVER.rover.wheel.motor.model_copy(
        update={"terminal_resistance": None, "flux_linkage": None} | fields
    )
    wheel = ROVER.rover.wheel.model_copy(update={"motor": motor})
    return ROVER.model_copy(update={"rover": ROVER.rover.model_copy(update={"wheel": wheel})})


@pytest.mark.parametrize(
    ("fields", "names"),
    [
        ({"phase_resistance": 2.4, "torque_constant": 0.02}, ("phase_resistance", "torque_constant")),
        (
            {"phase_resistance": 7.2, "speed_constant": 43.0, "connection": "delta"},
            ("phase_resistance", "speed_constant"),
        ),
        ({"terminal_resistance": 4.8, "back_emf_constant": 0.0231}, ("terminal_resistance", "back_emf_constant")),
    ],
    ids=["star", "delta", "terminals"],
)  # fmt: skip
def test_numbers_come_in_the_words_of_the_file(fields, names):
    truth = {path: value for path, value in TRUTH.items() if "motor" not in path}
    truth |= {
        f"rover.wheel.motor.{names[0]}": fields[names[0]] * 1.1,
        f"rover.wheel.motor.{names[1]}": fields[names[1]] * 0.95,
    }
    rover = in_another_form(**fields)
    logs = [made(kind, scenario=rover, truth=truth) for kind in ("locked_rotor", "back_emf")]
    found = fit(
        changed(rover, truth | {f"rover.wheel.motor.{n}": fields[n] for n in names}), logs, bootstrap=0
    )
    assert list(found.parameters.index) == [f"rover.wheel.motor.{name}" for name in names]
    for name, factor in zip(names, (1.1, 0.95), strict=True):
        row = found.parameters.loc[f"rover.wheel.motor.{name}"]
        assert abs(row.fitted - factor * fields[name]) < 1.6 * row.plus_minus
        assert f"rover.wheel.motor.{name}: " in fragment(found)


def test_a_wound_conductor_gives_way_to_the_measured_resistance():
    layers = CRAWLER.with_name("crawler_layers.yaml")
    text = run(layers, BENCH / "locked_rotor.csv", "--bootstrap", "0").partition("to stand in a scenario:")[2]
    assert "conductor: null" in text
    base = f"base: {SCENARIO}\nname: measured\nrover: {layers}\n"
    assert pytest.approx(5.23, abs=0.03) == 2 * scenario_from_text(base + text).rover.wheel.motor.R


# -- words and pictures


@pytest.mark.parametrize(
    ("value", "error", "unit", "text"),
    [
        (5.2341, 0.0151, "ohm", "5.234 ± 0.015 ohm"), (1.623e-3, 3.7e-6, "Wb", "1.6230 ± 0.0037 mWb"),
        (6.16e-4, 1.7e-5, "N*m", "616 ± 17 uN*m"), (3.07e-5, 3.7e-7, "kg*m^2", "307.0 ± 3.7 g*cm^2"),
        (0.0454, 0.0008, "1", "4.540 ± 0.080 %"), (0.81, 0.02, "1", "0.810 ± 0.020"),
        (0.0, 1.2e-4, "N*m", "0 ± 120 uN*m"),
        (205.1, 57.0, "rad/s", "205 ± 57 rad/s"),
    ],
)  # fmt: skip
def test_a_value_has_as_many_digits_as_its_error_leaves(value, error, unit, text):
    assert plus_minus(value, error, unit) == text
    back = parse(number_text(value, error, unit), unit)
    assert back == pytest.approx(value, abs=0.06 * error)


def test_shares_in_words():
    assert share_words(5.232, 4.8) == "9.0 % more than the file says"
    assert share_words(4.0, 4.8) == "17 % less than the file says"
    assert share_words(0.07, 0.03) == "2.3 times what the file says"
    assert share_words(0.04, 0.0) == "the file says none"
    assert share_words(1.0, np.nan) == ""
    assert written_unit(0.0, "N*m") == ("N*m", 1.0)


def test_pictures_have_a_panel_for_each_quantity():
    from drivesim.plots.fitting import fit_measured, fit_residuals

    logs = [made(kind) for kind in ("no_load", "locked_rotor", "pull_out", "loaded")]
    table = {**logs[1].table, "current": logs[1].table["current"].copy()}
    table["current"][2] += 0.2
    logs[1] = type(logs[1])("locked_rotor", "locked_rotor", table)
    found = fit(ROVER, logs, bootstrap=0)
    for figure in (fit_measured(found), fit_residuals(found)):
        titles = [ax.texts[0].get_text() if not ax.get_title() else ax.get_title() for ax in figure.axes]
        assert len(titles) == 7
        assert all(
            ax.get_xlabel() and ("[" in ax.get_ylabel() or "/" in ax.get_ylabel()) for ax in figure.axes
        )
    residuals = fit_residuals(found)
    crosses = [line for line in residuals.axes[2].lines if line.get_marker() == "x"]
    assert [len(line.get_xdata()) for line in crosses] == [1]
    assert all(abs(line.get_ydata()[0]) <= 4.5 for line in crosses)
    words = [text.get_text() for text in fit_measured(found).axes[4].texts]
    assert "5 Hz" in words
    assert "40 Hz" in words
