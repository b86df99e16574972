"""Measured ground from CSV files: what is read, and one clear line for each way of being broken."""

import numpy as np
import pytest

from drivesim.errors import ScenarioError
from drivesim.scenario import ground_files


def test_profile_is_read_in_metres(tmp_path):
    file = tmp_path / "floor.csv"
    file.write_text(
        "\ufeff# floor of the crawl space\nx [cm], z [mm]\n0, 1.5\n\n# a joint\n10, -2\n", encoding="utf-8"
    )
    x, z = ground_files.read_profile(file)
    np.testing.assert_allclose(x, [0.0, 0.1])
    np.testing.assert_allclose(z, [0.0015, -0.002])


def test_height_map_is_read_in_metres(tmp_path):
    file = tmp_path / "map.csv"
    file.write_text("# right to left\n1, 2, 3\n4, 5, 6\n")
    np.testing.assert_allclose(
        ground_files.read_height_map(file, "mm"), [[1e-3, 2e-3, 3e-3], [4e-3, 5e-3, 6e-3]]
    )


HEAD = "x [m], z [mm]\n"


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("", "1: header: found 'none', allowed 'x [m], z [mm]' with your units in brackets"),
        ("0, 1\n1, 2\n", "1: header: found '0, 1', allowed 'x [m], z [mm]' with your units in brackets"),
        ("x, z\n", "1: header: found 'x, z', allowed 'x [m], z [mm]' with your units in brackets"),
        ("#\nx [m], z [kg]\n", "2: column z: found '[kg]', allowed a unit of length such as [mm]"),
        ("x [], z [m]\n", "1: column x: found '[]', allowed a unit of length such as [mm]"),
        (HEAD, "1: rows: found 0, allowed two or more"),
        (HEAD + "0, 1\n", "2: rows: found 1, allowed two or more"),
        (HEAD + "0, 1\n1, high\n", "3: column z: found 'high', allowed a number within ±10000000"),
        (HEAD + "0, nan\n", "2: column z: found 'nan', allowed a number within ±10000000"),
        (HEAD + "0, 0\ninf, 0\n", "3: column x: found 'inf', allowed a number within ±10000"),
        (HEAD + "0, 1_0\n", "2: column z: found '1_0', allowed a number within ±10000000"),
        (HEAD + "0, 1e300\n", "2: column z: found '1e300', allowed a number within ±10000000"),
        (HEAD + "0, 1\n1\n", "3: columns: found 1, allowed 2 as in the lines before"),
        (HEAD + "0; 1\n", "2: columns: found 1, allowed 2 as in the lines before"),
        (HEAD + "0, 1,\n", "2: columns: found 3, allowed 2 as in the lines before"),
        (HEAD + "0.2, 1\n0.2, 2\n", "3: column x: found '0.2', allowed more than the 0.2 before it"),
    ],
)
def test_broken_profile(tmp_path, text, line):
    file = tmp_path / "broken.csv"
    file.write_text(text)
    with pytest.raises(ScenarioError) as caught:
        ground_files.read_profile(file)
    assert str(caught.value) == f"{file}:{line}"


@pytest.mark.parametrize(
    ("text", "unit", "line"),
    [
        ("", "mm", "1: rows: found 0, allowed two or more"),
        ("1, 2\n", "mm", "1: rows: found 1, allowed two or more"),
        ("1\n2\n", "mm", "1: columns: found 1, allowed 2 as in the lines before"),
        ("1, 2\n3, 4, 5\n", "m", "2: columns: found 3, allowed 2 as in the lines before"),
        ("1, 2\n3, -\x1b\n", "m", "2: column 2: found '-?', allowed a number within ±10000"),
        ("x [m], z [m]\n", "m", "1: column 1: found 'x [m]', allowed a number within ±10000"),
        ("1, 2\n3, 4\n", "s", "1: unit: found 's', allowed a unit of length such as mm"),
    ],
)
def test_broken_height_map(tmp_path, text, unit, line):
    file = tmp_path / "broken.csv"
    file.write_text(text)
    with pytest.raises(ScenarioError) as caught:
        ground_files.read_height_map(file, unit)
    assert str(caught.value) == f"{file}:{line}"


def test_file_that_is_not_there_or_too_big(tmp_path, monkeypatch):
    (tmp_path / "floor.csv").write_text(HEAD + "0, 1\n1, 2\n")
    cases = {
        "flor.csv": "file: found 'no such file', allowed a CSV file; did you mean 'floor.csv'?",
        "": "file: found 'a folder', allowed a CSV file",
        "a\0b": "file: found 'no such file', allowed a CSV file",
        "\n" * 300: "file: found 'File name too long', allowed a CSV file that can be read",
        "floor.csv": "size: found '0 MB', allowed up to 0 MB",
    }
    monkeypatch.setattr(ground_files, "MAX_BYTES", 10)
    for name, expected in cases.items():
        with pytest.raises(ScenarioError) as caught:
            ground_files.read_profile(tmp_path / name)
        assert str(caught.value).endswith(":1: " + expected), name
        assert "\n" not in str(caught.value)


def test_too_many_heights(tmp_path, monkeypatch):
    monkeypatch.setattr(ground_files, "MAX_VALUES", 5)
    (tmp_path / "map.csv").write_text("1,2\n3,4\n5,6\n")
    with pytest.raises(ScenarioError, match="3: size: found 'over 5 heights', allowed fewer"):
        ground_files.read_height_map(tmp_path / "map.csv", "m")
