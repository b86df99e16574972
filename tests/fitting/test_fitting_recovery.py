"""Known numbers are found again in noisy logs: each kind of test alone, all of them, the shipped ones, a rover."""

from __future__ import annotations

import importlib.util

import numpy as np
import pytest
from fitting_logs import BENCH, CRAWLER, OWN, ROOT, ROVER, TRUTH, made

from drivesim import load_scenario
from drivesim.fitting.fit import fit
from drivesim.fitting.logs import Log
from drivesim.fitting.parameters import WINDING
from drivesim.fitting.places import changed
from drivesim.fitting.reading import read_log

SURE = 1.6  # times the 95 % interval: more than 99.5 % of all draws lie within

#: kinds of logs that go together, and what they are to tell
ALONE = {
    ("locked_rotor",): ("terminal_resistance", "flux_linkage"),
    ("no_load",): ("flux_linkage", "dry", "viscous"),
    ("back_emf",): ("flux_linkage",),
    ("loaded",): ("terminal_resistance", "flux_linkage"),
    ("pull_out",): ("terminal_resistance", "flux_linkage"),
    ("no_load", "spin_down"): ("dry", "viscous", "inertia"),
    ("warm_up",): ("winding.thermal_resistance", "winding.heat_capacity"),
    ("cell_pulse",): ("cell_resistance", "diffusion_resistance", "diffusion_time"),
}  # fmt: skip


@pytest.mark.parametrize("kinds", ALONE, ids="+".join)
def test_a_test_tells_its_numbers(kinds):
    # what the test does not speak of is as in the file: here it is known
    known = {path: value for path, value in TRUTH.items() if not path.endswith(ALONE[kinds])}
    found = fit(changed(ROVER, known), [made(kind) for kind in kinds], bootstrap=0)
    assert found.parameters.index.str.endswith(ALONE[kinds]).sum() == len(ALONE[kinds])
    for path, row in found.parameters[found.parameters.log == ""].iterrows():
        assert abs(row.fitted - TRUTH[path]) < SURE * row.plus_minus, path
        assert row.plus_minus < 0.35 * TRUTH[path], path


def test_without_noise_the_numbers_come_back_exactly():
    kinds = ("no_load", "locked_rotor", "spin_down", "warm_up", "cell_pulse")
    found = fit(ROVER, [made(kind, noise=0.0) for kind in kinds], bootstrap=0)
    for path, row in found.parameters[found.parameters.log == ""].iterrows():
        assert row.fitted == pytest.approx(TRUTH[path], rel=1e-6), path
    assert found.parameters.fitted["spin_down: start_speed"] == pytest.approx(OWN["spin_down"]["start_speed"])


def test_two_nodes_of_heat_are_found():
    text = CRAWLER.read_text(encoding="utf-8").replace(
        "    limit: 110 degC",
        "    limit: 110 degC\n    housing: {thermal_resistance: 10 K/W, heat_capacity: 40 J/K}",
    )
    from drivesim import scenario_from_text
    from drivesim.fitting.target import bench_text

    rover = "\n".join(f"  {line}" for line in text.splitlines())
    housed = scenario_from_text(bench_text("x").replace('rover: "x"', f"rover:\n{rover}"))
    truth = {
        f"{WINDING}.thermal_resistance": 15.0, f"{WINDING}.heat_capacity": 7.0,
        f"{WINDING}.housing.thermal_resistance": 13.0, f"{WINDING}.housing.heat_capacity": 55.0,
    }  # fmt: skip
    time = np.concatenate([np.arange(0, 200, 10.0), np.arange(200, 4000, 50.0)])
    control = {"time": time, "current": np.full(time.size, 0.7)}
    channels = ("winding_temperature", "housing_temperature")
    log = made("warm_up", scenario=housed, truth=truth, set_to=control, channels=channels)
    found = fit(housed, [log], bootstrap=0)
    assert list(found.parameters.index) == list(truth)
    for path, row in found.parameters.iterrows():
        assert abs(row.fitted - truth[path]) < SURE * row.plus_minus
        assert row.plus_minus < 0.05 * truth[path]


def test_a_misread_row_is_named_and_does_no_harm():
    clean, spoiled = made("locked_rotor"), made("locked_rotor")
    table = {**spoiled.table, "current": spoiled.table["current"].copy()}
    table["current"][3] += 0.1
    bad = Log(spoiled.name, spoiled.kind, table, lines=np.arange(5, 13), path="bench/lr.csv")
    good, found = fit(ROVER, [clean], bootstrap=0), fit(ROVER, [bad], bootstrap=0)
    assert good.summary["outliers"] == []
    [row] = found.summary["outliers"]
    assert (row["file"], row["line"], row["column"]) == ("bench/lr.csv", 8, "current")
    resistance = "rover.wheel.motor.terminal_resistance"
    difference = found.parameters.fitted[resistance] - good.parameters.fitted[resistance]
    assert abs(difference) < good.parameters.plus_minus[resistance]


def test_several_wheels_differ_by_their_own_numbers():
    path = "rover.wheels.rear_left.resistance_factor"
    logs = [
        made("locked_rotor", name="one", wheel="front_left"),
        made("locked_rotor", 2, name="two", truth=TRUTH | {path: 1.12}, wheel="rear_left"),
    ]
    free = ["rover.wheel.motor.terminal_resistance", "rover.wheel.motor.flux_linkage", path]
    found = fit(ROVER, logs, free=free, bootstrap=0).parameters
    assert abs(found.fitted[path] - 1.12) < SURE * found.plus_minus[path] < 0.02


# -- the shipped logs


@pytest.fixture(scope="module")
def study():
    spec = importlib.util.spec_from_file_location("bench_logs", ROOT / "docs" / "studies" / "bench_logs.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def shipped():
    names = ("no_load", "locked_rotor", "spin_down", "pull_out", "warm_up", "cell_pulse")
    return fit(CRAWLER, [BENCH / f"{name}.csv" for name in names])


def test_the_shipped_logs_show_the_truth_and_not_the_file(shipped, study):
    table = shipped.parameters
    for path, value in study.TRUTH.items():
        row = table.loc[path]
        assert abs(row.fitted - value) < SURE * row.plus_minus, path
    within = [table.low[path] <= value <= table.high[path] for path, value in study.TRUTH.items()]
    assert np.mean(within) >= 0.8
    for name in ("motor.terminal_resistance", "bearing.dry", "winding.thermal_resistance"):
        [row] = [row for path, row in table.iterrows() if path.endswith(name)]
        assert row.beyond_chance
        assert not row.low <= row.file <= row.high
        assert not row.bootstrap_low <= row.file <= row.bootstrap_high
    assert not table.beyond_chance["rover.wheel.inertia"]
    assert "9.0 % more than the file says" in shipped.verdict
    assert shipped.summary["warnings"] == []


def test_the_shipped_misread_row_is_the_only_one_left_out(shipped, study):
    [row] = shipped.summary["outliers"]
    first = 6  # line of the first row: four remarks and the header stand before it
    assert (row["log"], row["line"]) == ("locked_rotor", first + study.MISREAD_ROW)


def test_the_shipped_logs_are_made_by_their_study(study, tmp_path):
    study.main(tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(p.name for p in BENCH.iterdir())
    for path in BENCH.glob("*.csv"):
        old, new = (read_log(folder / path.name, ROVER.rover.wheel_names) for folder in (BENCH, tmp_path))
        for name, values in old.table.items():  # to the last digit; a simulated drive may jitter elsewhere
            digit = old.resolution[name] * np.sqrt(12)
            most = 0.08 if old.kind == "rover" else 1.01 * digit
            assert np.abs(new.table[name] - values).max() <= most, (
                f"run docs/studies/bench_logs.py: {path.name}"
            )


def test_a_whole_rover_is_fitted_by_simulating_it(study):
    bench = changed(load_scenario(study.SCENARIO), study.TRUTH)
    found = fit(bench, [BENCH / "driven.csv"], free=list(study.DRIVEN_TRUTH))
    for path, value in study.DRIVEN_TRUTH.items():
        row = found.parameters.loc[path]
        assert abs(row.fitted - value) < SURE * row.plus_minus < 0.2 * value
        assert row.beyond_chance
