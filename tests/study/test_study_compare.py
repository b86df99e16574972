"""Comparing: the same grounds and parts for every case, figures and words that follow from the runs."""

import json

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from study_samples import ROOT, short

from drivesim import DrivesimError, ScenarioError, compare, simulate
from drivesim.scenario.compare_file import Comparison
from drivesim.scenario.study import study_of
from drivesim.scenario.variation import Template
from drivesim.study import statistics
from drivesim.study.compare import plan
from drivesim.study.compare_result import JUDGED, result
from drivesim.study.compare_words import amount

BASE = short()
CASES = {
    "as it is": BASE,
    "heavier": short(rover__mass="1200 g"),
    "weaker": short(rover__battery__cells_in_series=1),
}
SPREAD = {"rover.mass": {"normal": "5 %"}, "rover.wheel.tyre.friction": {"uniform": 0.1, "each": "wheel"}}


@pytest.fixture(scope="module")
def found():
    return compare(CASES, grounds=8, spread=SPREAD, jobs=2)


def test_every_case_drives_the_same_grounds_with_the_same_parts(found):
    """A run of the comparison done by hand: seed of the ground, and the same slice of each case's own tolerance."""
    planned = plan(CASES, grounds=8, spread=SPREAD)
    light, heavy = planned.parts["as it is"], planned.parts["heavier"]
    for a, b in zip(light, heavy, strict=True):
        assert b["rover.mass"] / 1.2 == pytest.approx(a["rover.mass"] / 0.62)
        assert {k: v for k, v in a.items() if k != "rover.mass"} == {
            k: v for k, v in b.items() if k != "rover.mass"
        }
    for name in CASES:
        by_hand = simulate(Template(CASES[name]).scenario_with(planned.parts[name][3], seed=1004))
        own = found.runs.sel(case=name, ground=1004)
        assert float(own["distance"]) == by_hand.summary["distance_m"]
        assert float(own["energy"]) == by_hand.summary["energy_drawn_J"]
        for wheel, figures in by_hand.summary["wheels"].items():
            assert float(own["condition_share"].sel(wheel=wheel, condition="gripping")) == figures["gripping"]
        assert float(own["way"][-1]) == pytest.approx(by_hand.summary["progress_m"], abs=1e-3)


def test_the_same_whatever_the_number_of_threads(found):
    other = compare(CASES, grounds=8, spread=SPREAD, jobs=1)
    xr.testing.assert_identical(found.runs, other.runs)
    pd.testing.assert_frame_equal(found.differences, other.differences)
    assert found.summary == other.summary


def test_figures_are_those_of_the_statistics(found):
    runs, row = found.runs, found.differences.loc[("heavier", "progress")]
    a, b = runs["progress"].sel(case="heavier").values, runs["progress"].sel(case="as it is").values
    assert row["mean"] == pytest.approx((a - b).mean())
    assert row["p"] == statistics.paired(a, b).p
    assert row["gain"] == pytest.approx((a.var() + b.var()) / (a - b).var())
    assert row["low"] < row["mean"] < row["high"]
    assert found.cases.loc[("weaker", "peak_temperature"), "mean"] == pytest.approx(
        float(runs["peak_temperature"].sel(case="weaker").mean())
    )
    ends = list(zip(found.differences["low"], found.differences["high"], strict=True))
    assert list(found.differences["decided"]) == statistics.decided(list(found.differences["p"]), ends)
    assert runs["circulating_power"].attrs["units"] == "W"


def test_pairing_pays_where_cases_meet_the_same_lumps():
    """20 g more on 1.5 mm of roughness: unpaired, the energy per metre would need more than ten times the grounds."""
    lighter, heavier = short(duration="2.5 s"), short(duration="2.5 s", rover__mass="640 g")
    found = compare({"lighter": lighter, "heavier": heavier}, grounds=12)
    row = found.differences.loc[("heavier", "energy_per_metre")]
    assert row["gain"] > 10
    assert row["low"] > 0


def test_an_interrupted_comparison_goes_on_where_it_was(found, tmp_path, monkeypatch):
    """Broken off after seven runs; the rest alone is run, and the result is the same to the last bit."""
    from drivesim.study import compare as module

    kept, ran, real = tmp_path / ".kept", [], module.recorded

    def counting(scenario):
        if len(ran) == 7:
            raise KeyboardInterrupt
        ran.append(scenario.seed)
        return real(scenario)

    planned = plan(CASES, grounds=8, spread=SPREAD)
    monkeypatch.setattr(module, "recorded", counting)
    with pytest.raises(KeyboardInterrupt):
        module.run_plan(planned, jobs=1, unfinished=kept)
    before = len(ran)
    ran[:] = [None] * 8
    finished = module.run_plan(planned, jobs=1, unfinished=kept)
    assert 8 * 3 - before <= len(ran) - 8 < 8 * 3
    xr.testing.assert_identical(finished.runs, found.runs)


def test_a_case_against_itself_differs_in_nothing():
    same = compare([BASE, BASE], grounds=4)
    assert same.runs["case"].values.tolist() == ["short", "short (2)"]
    assert not same.differences["decided"].any()
    assert (same.differences["mean"] == 0).all()
    assert same.verdict.startswith(
        "The data do not decide between short (2) and short. Not decided (grounds that"
    )
    assert "no difference seen" in same.verdict


def made(success, progress):
    """Return what a comparison of two made-up cases says: rows of success and progress, the rest alike."""
    study = study_of(BASE, Comparison, cases={"a": None, "b": None}, grounds=len(success[0])).study
    shape = (2, len(success[0]))
    names = {*JUDGED, "lowest_bus_voltage", "duration", "finished", "energy"} - {"progress"}
    variables = {name: (("case", "ground"), np.ones(shape), {"units": "1"}) for name in names}
    variables["success"] = (
        ("case", "ground"),
        np.array(success, float),
        {"units": "1", "long_name": "came through"},
    )
    variables["progress"] = (("case", "ground"), np.array(progress, float), {"units": "m"})
    runs = xr.Dataset(variables, coords={"case": ["a", "b"], "ground": range(shape[1])})
    return result(runs, study, {"a": BASE, "b": BASE}, ())


def test_words_follow_the_numbers():
    rng = np.random.default_rng(1)
    ground = rng.normal(1.0, 0.3, 40)
    lasting = np.r_[np.ones(30), np.zeros(10)]
    better = made(
        [lasting, np.r_[np.ones(12), np.zeros(28)]], [ground, ground + 0.25 + rng.normal(0, 0.05, 40)]
    )
    assert better.verdict == (
        "b gets through less often than a (came through: 12 of 40 against 30) and comes 0.24 m (0.23 … 0.25) farther."
    )
    close = made([lasting, np.r_[np.ones(26), np.zeros(14)]], [ground, ground + rng.normal(0.02, 0.1, 40)])
    assert close.verdict.startswith("The data do not decide between b and a. Not decided (grounds that")
    needed = close.differences.loc[("b", "success"), "grounds_needed"]
    assert needed > 40
    assert (
        f": which gets through more often (came through: 26 of 40 against 30; about {needed}), "
        in close.verdict
    )
    farther = made([lasting, lasting], [ground, ground - 0.5 + rng.normal(0, 0.05, 40)])
    assert farther.verdict.startswith("Against a, b comes 0.5")
    assert "less far. Not decided (" in farther.verdict
    assert "more often (came through: 30 of 40 against 30; no difference seen)." in farther.verdict


def test_a_difference_is_shown_with_its_interval():
    row = {"mean": -0.0064, "low": -0.008, "high": 0.001, "unit": "W"}
    assert amount(pd.Series(row)) == "6.4 mW (−1.0 … 8.0)"
    assert (
        amount(pd.Series({"mean": 0.454, "low": 0.361, "high": 0.545, "unit": "m"})) == "0.45 m (0.36 … 0.55)"
    )
    assert (
        amount(pd.Series({"mean": 4.15, "low": 3.7, "high": 4.5, "unit": "degC"})) == "4.15 K (3.70 … 4.50)"
    )


def test_what_counts_as_success_can_be_said():
    strict = compare(CASES, grounds=3, success=["progress > 10 m"])
    assert (strict.runs["success"] == 0).all()
    assert strict.summary["success"] == "progress > 10 m"
    mixed = compare(
        CASES, grounds=3, success=["progress > 5 mm", "lowest_bus_voltage > 5 V"], against="heavier"
    )
    assert mixed.runs["success"].sum("ground").values.tolist() == [3, 3, 0]
    assert mixed.summary["against"] == "heavier"
    assert set(mixed.summary["differences"]) == {"as it is", "weaker"}


def test_runs_that_end_early_are_told():
    runs = compare({"a": BASE, "b": short(commands="[{at: 0.1 s, forward: 1.2 m/s}]")}, grounds=3)
    assert (runs.runs["finished"].sel(case="b") == 0).all()
    assert any(note.startswith("b: 3 of 3 runs ended early") for note in runs.summary["notes"])
    assert (runs.runs["success"].sel(case="b") == 0).all()
    assert np.isnan(runs.differences.loc[("b", "stuck"), "mean"])  # less time, so less of everything
    assert runs.differences.loc[("b", "progress"), "mean"] > 0
    assert "which is stuck for longer (too few pairs to tell)" in runs.verdict
    barred = compare(runs.scenarios, grounds=3, success=["progress > 1 mm"])
    assert barred.runs["success"].sum("ground").values.tolist() == [3, 0]


def test_a_ground_without_chance_is_told():
    flat = short(ground="{name: floor, length: 0.8 m, width: 0.6 m}", start="{rotors: aligned}")
    alike = compare({"a": flat, "b": flat.model_copy(update={"ambient": 23.0})}, grounds=6)
    assert any(note.startswith("every ground came out the same") for note in alike.summary["notes"])
    few = compare(CASES, grounds=2)
    assert any(note.startswith("2 grounds are few") for note in few.summary["notes"])


def test_what_cannot_be_built_is_told_before_anything_runs():
    rough = "{name: g, length: 0.8 m, width: 0.6 m, features: [{kind: roughness, rms: 1 mm, correlation_length: 30 m}]}"
    with pytest.raises(ScenarioError, match=r"^cases\.wrong: ground\.features\.0"):
        plan({"right": BASE, "wrong": short(ground=rough)})


def test_the_folder_holds_everything(found, tmp_path):
    found.write(tmp_path)
    back = xr.open_dataset(tmp_path / "runs.nc", engine="scipy", decode_timedelta=False)
    np.testing.assert_array_equal(back["progress"].values, found.runs["progress"].values)
    table = pd.read_csv(tmp_path / "runs.csv", index_col=["case", "ground"])
    assert table.loc[("heavier", 1004), "progress [m]"] == pytest.approx(
        float(found.runs["progress"].sel(case="heavier", ground=1004))
    )
    summary = json.loads((tmp_path / "summary.json").read_text())
    assert (
        summary["cases"]["as it is"]["progress"]["mean"] == found.cases.loc[("as it is", "progress"), "mean"]
    )
    assert len(list(tmp_path.glob("case_*.yaml"))) == 3


@pytest.mark.parametrize(
    ("source", "settings", "words"),
    [
        ({"a": BASE}, {}, "compare: found 1 case, needed: at least 2"),
        (
            {"a": BASE, "b": short(duration="2 s")},
            {},
            "duration: found 2 s, and the first case has 1.5 s; equal times",
        ),
        (CASES, {"success": ["distanse > 1 m"]}, "success.0: 'distanse' is not one of"),
        (CASES, {"against": "hevier"}, "against: found 'hevier'; did you mean 'heavier'?"),
        (CASES, {"grounds": 0}, "grounds: found 0, allowed: at least 1"),
        (
            CASES,
            {"spread": {"drive.slew": {"normal": "400 %"}}},
            "spread: case as it is: drive.slew: found '-",
        ),
        (
            {"a": BASE, "b": short(drive="{strategy: fixed_voltage, voltage_per_speed: 0.1 V*s/rad}")},
            {"spread": {"drive.integral": {"normal": "5 %"}}},
            "spread: case b: drive.integral: has no number in this scenario",
        ),
        (
            CASES,
            {"first_ground": 2**40},
            "first_ground: found 1099511627776, allowed: at least 0 and at most 2000000000",
        ),
    ],
)
def test_mistakes_are_told_before_anything_runs(source, settings, words):
    with pytest.raises(DrivesimError) as error:
        plan(source, **settings)
    assert words in str(error.value)
    assert "\n" not in str(error.value)


def test_a_file_with_cases(tmp_path):
    text = (
        f"scenario: {{base: {ROOT}/scenarios/bench_start.yaml, duration: 1 s}}\n"
        "cases:\n  one:\n  two: {rover.mass: 900 g}\ngrounds: 2\nsuccess: [progress > 1 mm]\n"
    )
    (tmp_path / "own.yaml").write_text(text)
    found = compare(tmp_path / "own.yaml", grounds=3)
    assert found.runs.sizes["ground"] == 3
    assert found.summary["success"] == "progress > 1 mm"
    (tmp_path / "own.yaml").write_text(text.replace("mm]", "kg]"))
    with pytest.raises(ScenarioError, match=r"own.yaml:6: success.0: 'progress > 1 kg'"):
        plan(tmp_path / "own.yaml")
