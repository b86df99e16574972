"""Mistakes in a bench log: one line each with file, line, what was found and what is allowed; what may be written."""

from __future__ import annotations

import math

import numpy as np
import pytest

from drivesim import ScenarioError
from drivesim.fitting.kinds import KINDS
from drivesim.fitting.reading import read_log, read_logs

WHEELS = ("front_left", "front_right", "rear_left", "rear_right")
LOCKED = "# test: locked_rotor\ndc_voltage [V], dc_current [A]\n1,0.2\n2,0.4\n3,0.6\n"
SPIN = "# test: spin_down\ntime [s], speed [rpm]\n" + "".join(f"{i / 10},{900 - i}\n" for i in range(9))
WARM = "# test: warm_up\ntime [s], dc_current [A], winding_temperature [degC]\n" + "".join(
    f"{i},0.5,{20 + i}\n" for i in range(9)
)


def read(tmp_path, text, name="log.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return read_log(path, WHEELS)


MISTAKES = {
    "no kind": ("time [s], speed [rpm]\n0,1\n", ":1: test: is missing; begin with a line such as '# test: no_load'"),
    "unknown kind": ("# test: locked_rotr\n", "log.csv:1: test: found 'locked_rotr'; did you mean 'locked_rotor'?"),
    "unknown column": (
        LOCKED.replace("dc_current", "dc_curent"),
        "log.csv:2: column dc_curent: unknown in a locked_rotor test; did you mean 'dc_current'? allowed: phase_v",
    ),
    "wrong unit": (LOCKED.replace("[A]", "[ohm]"), ":2: column dc_current: 'ohm' is not a unit of this kind; write it"),
    "no unit": (LOCKED.replace(" [A]", ""), ":2: column dc_current: has no unit; write it like 'dc_current [A]'"),
    "speed's unit": (SPIN.replace("[rpm]", "[km/h]"), "'km/h' is not a unit of this kind; write it like 'speed [rpm]'"),
    "odd unit": (LOCKED.replace("[A]", "[apples]"), ":2: column dc_current: unit 'apples' is not known"),
    "missing column": (
        SPIN.replace(", speed [rpm]", ""),
        ":2: header: a spin_down test needs the column speed [rad/s]",
    ),
    "missing partner": (
        "# test: locked_rotor\ndc_voltage [V]\n1\n2\n3\n",
        ":2: header: a locked_rotor test with this voltage needs the column dc_current [A]",
    ),
    "mixed ways": (
        LOCKED.replace("dc_current", "phase_current"), "needs the column dc_current [A] instead of the other current",
    ),
    "twice": (
        LOCKED.replace("dc_current [A]", "dc_current [A], phase_current [A]"),
        ":2: column phase_current: says the same as dc_current, allowed: one of them",
    ),
    "blank": (LOCKED.replace("2,0.4", "2,"), ":4: column dc_current: found a blank, needed: a number"),
    "word": (LOCKED.replace("0.4", "high"), ":4: column dc_current: found 'high', needed: a number in A"),
    "nan": (LOCKED.replace("0.4", "nan"), ":4: column dc_current: found 'nan', needed: a number in A"),
    "negative": (LOCKED.replace("0.4", "-0.4"), ":4: column dc_current: found -0.4 A, allowed: at least 0 A"),
    "width": (LOCKED.replace("2,0.4", "2,0.4,1"), ":4: columns: found 3, allowed: 2 as in the header"),
    "few rows": (LOCKED.replace("3,0.6\n", ""), ":4: rows: found 2, allowed: at least 3 for a locked_rotor test"),
    "time": (SPIN.replace("0.4,", "0.2,"), ":7: column time: found 0.2 s after 0.3 s, allowed: times that rise"),
    "setting": (
        "# winding_temp: 22 degC\n" + LOCKED,
        ":1: winding_temp: unknown setting of a locked_rotor test; did you mean 'winding_temp",
    ),
    "setting elsewhere": ("# inertia: 3 g*cm^2\n" + LOCKED, ":1: inertia: unknown setting of a locked_rotor test"),
    "setting's unit": ("# winding_temperature: 22\n" + LOCKED, ":1: winding_temperature: found the bare number '22'"),
    "wheel": ("# wheel: frontleft\n" + LOCKED, ":1: wheel: found 'frontleft'; did you mean 'front_left'?"),
    "charge": (
        "# test: cell_pulse\n# state_of_charge: 120 %\ntime [s], current [A], terminal_voltage [V]\n"
        + "".join(f"{i},1,3.7\n" for i in range(9)),
        ":2: state_of_charge: found '120 %', allowed: at most 1",
    ),
    "lever": (
        "# test: pull_out\nfrequency [Hz], phase_voltage [V], brake_force [N]\n5,1,1\n5,2,2\n5,3,3\n",
        ":2: arm: is missing: brake_force needs its lever, such as '# arm: 34 mm'",
    ),
    "warm without a thermometer": (
        WARM.replace(", winding_temperature [degC]", ""),
        "a warm_up test needs winding_temperature [degC], terminal_res",
    ),
    "both commas": (
        LOCKED.replace(",", ";").replace("0.4", "1,000.4"), ":4: column dc_current: found '1,000.4', needed: a number",
    ),
    "half a spreadsheet's row": (LOCKED.replace("2,0.4", "2,,"), ":4: column dc_current: found a blank, needed"),
    "torque's unit": (
        "# test: locked_rotor\ndc_voltage [V], dc_current [A], torque [kg]\n1,1,1\n2,2,2\n3,3,3\n",
        ":2: column torque: 'kg' is not a unit of this kind; write it like 'torque [mN*m]'",
    ),
    "no header": ("# test: no_load\n", ":1: header: found none, needed: names and units"),
    "empty": ("", ":1: header: found none"),
    "wheel of a rover": (
        "# test: rover\ntime [s], wheel_speed frontleft [rad/s]\n" + "".join(f"{i},1\n" for i in range(9)),
        ":2: column wheel_speed frontleft: unknown wheel; did you mean 'front_left'?",
    ),
    "nothing measured": (
        "# test: rover\ntime [s], forward [m/s]\n" + "".join(f"{i},1\n" for i in range(9)), "needs something measured",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", MISTAKES)
def test_a_mistake_is_told_in_one_line(tmp_path, name):
    text, words = MISTAKES[name]
    with pytest.raises(ScenarioError) as raised:
        read(tmp_path, text)
    assert any(words in line for line in raised.value.problems), raised.value
    assert all("\n" not in line and line.startswith(str(tmp_path)) for line in raised.value.problems)


def test_all_mistakes_of_all_files_are_told_at_once(tmp_path):
    for name, text in (
        ("a.csv", LOCKED.replace("0.4", "x").replace("0.6", "y")),
        ("b.csv", MISTAKES["blank"][0]),
    ):
        (tmp_path / name).write_text(text)
    with pytest.raises(ScenarioError) as raised:
        read_logs([tmp_path / "a.csv", tmp_path / "b.csv", tmp_path / "locked.csv"], WHEELS)
    assert len(raised.value.problems) == 4
    assert "locked.csv:1: file: found no such file" in raised.value.problems[-1]


def test_a_near_file_name_is_offered(tmp_path):
    (tmp_path / "no_load.csv").write_text(LOCKED)
    with pytest.raises(ScenarioError, match=r"did you mean 'no_load\.csv'"):
        read_log(tmp_path / "no_loda.csv", WHEELS)


def test_bytes_that_are_no_text_are_told(tmp_path):
    (tmp_path / "x.csv").write_bytes(b"# test: no_load\n\xff\xfe\n")
    with pytest.raises(ScenarioError, match="not UTF-8"):
        read_log(tmp_path / "x.csv", WHEELS)
    with pytest.raises(ScenarioError, match="found a folder"):
        read_log(tmp_path, WHEELS)


def test_units_settings_and_remarks(tmp_path):
    log = read(
        tmp_path,
        "# made on a rainy day: by hand\n# test: loaded\n# wheel: rear_left\n# winding_temperature: 77 degF\n"
        "# arm: 34 mm\n"
        "# note: anything: goes\nphase_voltage [mV], brake_force [mN], speed [rpm], line_current_rms [mA]\n\n"
        "2000,100,600,70.7\n# in between\n2000,200,590,80\n2000,300,580,90\n",
    )  # fmt: skip
    assert log.kind == "loaded"
    assert log.settings["wheel"] == "rear_left"
    assert log.settings["winding_temperature"] == pytest.approx(25.0)
    assert log.table["voltage"] == pytest.approx(2.0)
    assert log.table["load"] == pytest.approx([0.0034, 0.0068, 0.0102])
    assert log.table["speed"][0] == pytest.approx(20 * math.pi)
    assert log.table["current"][0] == pytest.approx(0.1, rel=1e-3)  # √2 of the RMS value
    assert log.resolution["current"] == pytest.approx(0.1e-3 * math.sqrt(2) / math.sqrt(12))
    assert [log.line(i) for i in range(3)] == [9, 11, 12]


SPREADSHEETS = {
    "quotes": lambda line: ",".join(f'"{cell.strip()}"' for cell in line.split(",")),
    "empty cells": lambda line: f"{line},,",
    "quoted remarks": lambda line: f'"{line}",,' if line.startswith("#") else f"{line},,",
    "semicolons and decimal commas": lambda line: line if "#" in line else line.replace(",", ";").replace(".", ","),
    "semicolons and points": lambda line: line.replace(",", ";") + ";;",
    "tabs": lambda line: line.replace(",", "\t").replace(".", ","),
}  # fmt: skip


@pytest.mark.parametrize("name", SPREADSHEETS)
def test_what_a_spreadsheet_writes_is_read(tmp_path, name):
    lines = [*("# winding_temperature: 24.5 degC\n" + LOCKED).splitlines(), "# wheel: front_left"]
    lines = [lines[-1], *lines[:-1]]
    plain = read(tmp_path, "\n".join(lines))
    odd = read(tmp_path, "\ufeff" + "\r\n".join([*map(SPREADSHEETS[name], lines), ",,", ""]), "odd.csv")
    assert odd.settings == plain.settings
    assert odd.resolution == plain.resolution
    assert {key: list(values) for key, values in odd.table.items()} == {
        key: list(values) for key, values in plain.table.items()
    }
    assert list(odd.lines) == list(plain.lines)


@pytest.mark.parametrize(
    ("unit", "factor"),
    [("rev/min", math.pi / 30), ("r/min", math.pi / 30), ("1/min", math.pi / 30), ("rad/s", 1.0)],
)
def test_speeds_in_the_units_that_instruments_show(tmp_path, unit, factor):
    log = read(tmp_path, SPIN.replace("[rpm]", f"[{unit}]"))
    assert log.table["speed"] == pytest.approx((900 - np.arange(9)) * factor)


def test_torques_in_newton_metres_written_together(tmp_path):
    text = "# test: locked_rotor\ndc_voltage [V], dc_current [A], torque [mNm]\n1,1,1\n2,2,2\n3,3,3\n"
    assert read(tmp_path, text).table["torque"] == pytest.approx([1e-3, 2e-3, 3e-3])


def test_direct_current_through_two_leads_is_a_standing_field(tmp_path):
    # two phases in series: V = 2·R·I; as peak phase values V/√3 and 2·I/√3 the same R and the same loss 1.5·R·î²
    log = read(tmp_path, LOCKED)
    R = log.table["voltage"] / log.table["current"]
    assert pytest.approx(5.0) == 2 * R
    assert 1.5 * R * log.table["current"] ** 2 == pytest.approx(np.array([0.2, 0.8, 1.8]))  # = V·I
    assert log.at_motor


def test_every_kind_has_columns_units_and_words():
    from drivesim.fitting.bench import WHEEL_TESTS
    from drivesim.fitting.kinds import quantity
    from drivesim.fitting.result import _OF_KINDS

    assert set(WHEEL_TESTS) | {"cell_pulse", "rover"} == set(KINDS) == set(_OF_KINDS)
    for kind in KINDS.values():
        for column in kind.columns:
            if column.into not in ("forward", "turn", "frequency"):
                assert quantity(kind.name, column.into)[1]
