"""What a sweep says: tables with units, regions, words that the numbers bear out, pictures, the command."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from click.testing import CliRunner
from sweep_studies import GRID, made, written

from drivesim.analysis.measures import MEASURES
from drivesim.cli.main import cli, main
from drivesim.plots.sweep import pictures, write_pictures
from drivesim.study.farm import measures_of
from drivesim.study.sweep import results, sweep
from drivesim.study.sweep_result import FIRST, SUCCESS, TOTAL, Outcomes
from drivesim.study.sweep_words import regions

NAMES = list(MEASURES)
AXES = (
    "axes:\n  rover.mass: {from: 500 g, to: 900 g, count: 5}\n  rover.wheel.tyre.friction: [0.5, 0.7, 0.9]\n"
)
BAR = "success: distance >= 1 m\nmeasures: [success, distance, circulating_power]\n"


def told(rest: str, distance, refused=None):
    """Return the result of a study whose runs came as far as ``distance(places, ground)`` says."""
    setup = made(rest)
    design, grounds = setup.design, len(setup.seeds)
    values = np.zeros((len(design), grounds, len(NAMES)))
    for i in range(len(design)):
        for j in range(grounds):
            values[i, j, NAMES.index("distance")] = distance(design.places[i], j)
            values[i, j, NAMES.index("circulating_power")] = 1e-3 * design.places[i, 0]
    refused = refused or {}
    for place in refused:
        values[place] = np.nan
    return results(setup, Outcomes(values, refused))


def test_tables_hold_the_figures_of_single_runs_with_units(tmp_path):
    found = sweep(written(tmp_path), folder=tmp_path / "o")
    table = pd.read_csv(tmp_path / "o" / "table.csv")
    assert list(table["rover.mass [kg]"]) == [0.5] * 4 + [0.7] * 4 + [0.9] * 4
    assert list(table["ground"]) == [1001, 1002] * 6
    assert {"distance [m]", "peak_temperature [degC]", "success", "rover.wheel.tyre.friction"} <= set(table)
    with xr.open_dataset(tmp_path / "o" / "table.nc", engine="scipy", decode_timedelta=False) as data:
        assert dict(data.sizes) == {"rover.mass": 3, "rover.wheel.tyre.friction": 2, "ground": 2}
        assert data["rover.mass"].attrs["units"] == "kg"
        assert data["distance"].attrs == {"units": "m", "long_name": "distance"}
        one = data["distance"].sel({"rover.mass": 0.7, "rover.wheel.tyre.friction": 0.9, "ground": 1002})
        scenario = next(s for i, _, s in made(GRID).runs() if i == 3).model_copy(update={"seed": 1002})
        assert float(one) == measures_of(scenario)["distance"] == found.table["distance [m]"][7]


def test_designs_are_decided_where_wilson_leaves_out_one_half():
    rows = [[1, 1, 1, 1], [1, 1, 1, 0], [0, 0, 0, 0], [np.nan, 1, 1, 1], [np.nan] * 4]
    found = regions(np.array(rows, dtype=float))
    # 4 of 4 is (0.51, 1), 3 of 4 is (0.30, 0.95), 3 of 3 is (0.44, 1): Wilson, JASA 22, 1927, worked out by hand
    assert found.yes.tolist() == [True, False, False, False, False]
    assert found.no.tolist() == [False, False, True, False, False]


def test_the_verdict_draws_the_region_and_names_the_axis_that_matters():
    found = told(AXES + "grounds: 10\n" + BAR, lambda place, ground: 1.2 if place[0] < 0.65 else 0.5)
    assert found.verdict == (
        "6 of 15 designs meet the bar distance >= 1 m on more than half of the grounds (all with mass 500 g to 600 g);"
        " 9 do not (all with mass 700 g to 900 g). What matters most for the share of grounds that meet the bars is"
        " mass: mass 100% (100% … 100%) (of the variance between designs; 95 % intervals)."
    )
    assert found.summary["regions"] == {"met": 6, "not_met": 9, "undecided": 0}
    assert found.summary["measures"]["distance"]["greatest"]["at"] == "mass 500 g, tyre friction 0.5"
    json.dumps(found.summary, allow_nan=False)


def test_the_verdict_says_what_is_not_decided():
    noise = np.random.default_rng(4).normal(size=(1000, 10))
    found = told(
        AXES + "grounds: 10\n" + BAR,
        lambda place, ground: 1.0 + noise[int(1e3 * place[0] * place[1]) % 997, ground],
    )
    assert "the 10 grounds do not decide" in found.verdict
    assert found.verdict.split(". ")[1].startswith("Whether ") or "is not decided" in found.verdict
    few = told(AXES + "grounds: 3\n" + BAR, lambda place, ground: 1.2 if place[0] < 0.65 else 0.5)
    assert (
        "On 3 grounds 6 of 15 designs meet the bar distance >= 1 m more often than not (all with mass 500 g to"
        in (few.verdict)
    )
    assert "so few grounds decide nothing, drive 4 or more" in few.verdict


def test_sobol_indices_of_a_study_are_those_of_the_function_behind_it():
    """y = 3·u₁ + u₂ of two even axes: first order and total 0.9 and 0.1, by variances 9 : 1."""
    axes = (
        "axes:\n  rover.mass: {between: [500 g, 900 g]}\n  rover.wheel.tyre.friction: {from: 0.4, to: 0.9}\n"
    )
    rest = f"{axes}design: sobol\ndesigns: 256\nsensitivity: true\ngrounds: 2\n{BAR}"
    found = told(rest, lambda p, ground: 3 * (p[0] - 0.5) / 0.4 + (p[1] - 0.4) / 0.5 + 0.1 * ground)
    rows = found.sensitivity[found.sensitivity["measure"] == "distance"]
    assert len(found.table) == 256 * 4 * 2
    for kind in (FIRST, TOTAL):
        assert rows[rows["kind"] == kind]["value"].tolist() == pytest.approx([0.9, 0.1], abs=0.02)
    assert "What matters most" in found.verdict


def test_a_grid_with_holes_falls_back_to_ranks():
    found = told(
        AXES + "grounds: 4\n" + BAR, lambda place, ground: place[0], {(0, j): "too small" for j in range(4)}
    )
    rows = found.sensitivity[found.sensitivity["measure"] == "distance"]
    assert rows["kind"].unique().tolist() == ["rank correlation"]
    assert rows["value"].iloc[0] == pytest.approx(1.0)
    assert found.summary["refused"] == {"runs": 4, "reasons": ["too small"]}


@pytest.mark.parametrize(
    ("rest", "drawn"),
    [
        (AXES, ["map", "effects", "sensitivity"]),
        (AXES + "  drive: [drives/speed_loop.yaml, drives/locked_frequency.yaml]\n", ["map", "effects", "sensitivity"]),
        ("axes: {rover.mass: {from: 500 g, to: 900 g, count: 4, scale: log}}\n", ["effects"]),
        (
            "axes:\n  rover.mass: {between: [500 g, 900 g]}\n"
            "  rover.wheel.tyre.friction: {from: 0.4, to: 1, scale: log}\ndesign: latin_hypercube\ndesigns: 24\n",
            ["map", "effects", "sensitivity"],
        ),
    ],
)  # fmt: skip
def test_every_kind_of_sweep_has_its_pictures(tmp_path, rest, drawn):
    found = told(
        f"{rest}grounds: 5\n{BAR}".replace(", circulating_power", ""),
        lambda place, ground: 1.3 - place[0] + 0.6 * place[-1] + 0.05 * ground,
    )
    assert list(pictures(found)) == drawn
    if found.design.shape != (5, 3):  # those are drawn in other tests
        assert [path.name for path in write_pictures(found, tmp_path)] == [f"{name}.png" for name in drawn]


def test_the_map_shows_numbers_border_and_what_is_open():
    found = told(
        AXES + "grounds: 5\n" + BAR, lambda place, ground: 1.2 if place[0] < 0.65 or ground > 2 else 0.5
    )
    figure = pictures(found)["map"](found)
    success, distance, power = (ax for ax in figure.axes if ax.get_xlabel() == "tyre friction")
    written_there = [text.get_text() for text in success.texts]
    assert written_there == ["100"] * 6 + ["40"] * 9
    assert len(success.lines) == 9  # 2 of 5 is not decided
    assert [text.get_text() for text in distance.texts][:1] == ["1.20"]
    border = success.collections[1].get_segments()
    assert sorted((tuple(a), tuple(b)) for a, b in border) == [((j, 2), (j + 1, 2)) for j in range(3)]
    assert [label.get_text() for label in success.get_yticklabels()] == ["500", "600", "700", "800", "900"]
    assert {"distance [m]", "circulating power [mW]"} <= {ax.get_ylabel() for ax in figure.axes}
    assert power.texts[0].get_text() == "0.50"
    assert SUCCESS in found.mapped


def test_the_command_prints_verdict_and_tables_or_json(tmp_path):
    study, folder = written(tmp_path), tmp_path / "o"
    result = CliRunner().invoke(cli, ["sweep", str(study), "-o", str(folder)], catch_exceptions=False)
    assert result.exit_code == 0
    assert "6 designs (grid) × 2 grounds; 12 runs done now, 0 there already" in result.output
    assert "least at" in result.output
    assert {"map.png", "effects.png", "table.csv", "table.nc", "summary.json"} <= {
        p.name for p in folder.iterdir()
    }
    as_json = CliRunner().invoke(cli, ["sweep", str(study), "-o", str(folder), "--json", "--no-pictures"])
    assert json.loads(as_json.stdout) == json.loads((folder / "summary.json").read_text())


def test_a_mistake_in_the_study_is_one_line_and_exit_2(tmp_path, capsys):
    study = written(tmp_path, GRID.replace("900 g", "900 mm"))
    with pytest.raises(SystemExit) as stopped:
        main(["sweep", str(study), "-o", str(tmp_path / "o")])
    assert stopped.value.code == 2
    told_there = capsys.readouterr().err
    assert told_there.startswith(f"{study}:8: axes.rover.mass.to: found '900 mm'")
    assert told_there.count("\n") == 1
    assert not (tmp_path / "o").exists()
