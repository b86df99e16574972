"""What a fit must not hide: a wheel's own numbers, kept numbers that results hang on, rows that cannot be wrong."""

from __future__ import annotations

import math

import numpy as np
import pytest
from fitting_logs import CRAWLER, ROOT, ROVER, TRUTH, made

from drivesim import DrivesimError, load_scenario, scenario_from_text
from drivesim.fitting.bench import wheel_numbers
from drivesim.fitting.fit import fit
from drivesim.fitting.joint import Joint, predict
from drivesim.fitting.logs import Log
from drivesim.fitting.places import changed
from drivesim.fitting.target import load_target
from drivesim.fitting.writing import fragment
from drivesim.scenario.variation import Template

DRY, VISCOUS = "rover.wheel.bearing.dry", "rover.wheel.bearing.viscous"
RESISTANCE, FLUX = "rover.wheel.motor.terminal_resistance", "rover.wheel.motor.flux_linkage"
INERTIA = "rover.wheel.inertia"
OWN = """
base: bench_start.yaml
name: one wheel's magnets are weaker
change: {rover.wheels.rear_left.change: {motor.flux_linkage: 1.5 mWb}}
"""


# -- a wheel with numbers of its own


@pytest.fixture(scope="module")
def own_wheel():
    return scenario_from_text(OWN, ROOT / "scenarios")


def test_a_wheel_with_numbers_of_its_own_gets_the_others_too(own_wheel):
    values = {DRY: 1e-3, RESISTANCE: 6.0}
    for name in own_wheel.rover.wheel_names:
        quick = wheel_numbers(changed(own_wheel, values), name)
        checked = wheel_numbers(Template(own_wheel).scenario_with(values), name)
        assert quick.bearing_dry == pytest.approx(checked.bearing_dry) == pytest.approx(1e-3)
        assert quick.resistance == pytest.approx(checked.resistance) == pytest.approx(3.0)
        assert quick.flux_linkage == pytest.approx(1.5e-3 if name == "rear_left" else 1.67e-3)
    assert own_wheel.rover.wheel_at("rear_left").bearing.dry == pytest.approx(
        4e-4
    )  # what was given is untouched


def test_what_a_wheel_s_own_number_overrides_is_said(own_wheel):
    logs = [made("locked_rotor", scenario=own_wheel, wheel="rear_left", channels=("current",))]
    found = fit(own_wheel, logs, free=[RESISTANCE, FLUX], bootstrap=0)
    assert (
        abs(found.parameters.fitted[RESISTANCE] - TRUTH[RESISTANCE])
        < 1.6 * found.parameters.plus_minus[RESISTANCE]
    )
    assert any("rear_left has its own motor.flux_linkage" in text for text in found.summary["remarks"])
    assert not any("its own motor.terminal" in text for text in found.summary["remarks"])
    assert (
        found.fitted.rover.wheel_at("rear_left").motor.R
        > 1.05 * own_wheel.rover.wheel_at("rear_left").motor.R
    )


# -- numbers kept that the results hang on


def hanging(found):
    return [text for text in found.summary["warnings"] if "whose error is in no interval" in text]


@pytest.mark.parametrize(
    ("logs", "kept", "test"),
    [
        ([("warm_up", {})], "the winding's resistance between two terminals", "a locked_rotor test"),
        ([("no_load", {"channels": ("speed",)})], "the bearing's dry drag", "a spin_down"),
        ([("spin_down", {})], "the wheel's inertia", "a no_load test"),
        ([("pull_out", {})], "the bearing's dry drag", "a spin_down"),
    ],
)  # fmt: skip
def test_numbers_kept_that_the_results_hang_on_are_told(logs, kept, test):
    found = fit(ROVER, [made(kind, **how) for kind, how in logs], bootstrap=0)
    [text] = [text for text in hanging(found) if kept in text]
    assert test in text
    path = {"the winding's resistance between two terminals": RESISTANCE, "the bearing's dry drag": DRY}.get(
        kept, INERTIA
    )
    assert path in found.summary["hangs_on_the_file"]
    [silent] = [text for text in found.summary["remarks"] if "no log speaks of it" in text]
    assert path not in silent
    assert kept in found.verdict.partition("as far as the file is right about ")[2]


def test_how_far_a_kept_number_moves_the_result_is_told():
    # heat is 2·R·I² for a direct current: with 10 % more resistance the way of the heat comes out 1/1.1, 9.1 % less
    [text] = hanging(fit(ROVER, [made("warm_up", noise=0.1)], bootstrap=0))
    assert "10 % more of it" in text
    assert "by up to 9.1 %" in text or "by up to 10 %" in text  # by the slope at the fit, or by a fit anew


@pytest.mark.parametrize(
    "kinds", [("back_emf",), ("locked_rotor",), ("cell_pulse",), ("no_load", "locked_rotor")]
)
def test_what_hangs_on_nothing_kept_is_not_warned_of(kinds):
    assert hanging(fit(ROVER, [made(kind) for kind in kinds], bootstrap=0)) == []


def test_a_log_s_own_inertia_hangs_on_none():
    log = made("spin_down", truth=TRUTH, inertia=3.3e-5)
    assert hanging(fit(ROVER, [log], bootstrap=0)) == []


# -- rows that cannot be wrong


def coasted(k, tail):
    draw, time = np.random.default_rng([2, k]), np.arange(0.0, 5.2 + tail, 0.1)
    J, dry, b = 3.1e-5, 4e-4, 1e-5  # the file's own
    speed = np.maximum(0.0, (200.0 + dry / b) * np.exp(-b * time / J) - dry / b)
    noisy = np.maximum(0.0, speed + 0.6 * draw.standard_normal(time.size))
    return Log("spin", "spin_down", {"time": time, "speed": np.where(speed > 0, noisy, 0.0)})


def test_rows_at_rest_are_left_out():
    short, long = (fit(ROVER, [coasted(0, tail)], bootstrap=0) for tail in (0.5, 5.0))
    assert long.parameters.plus_minus[DRY] == pytest.approx(short.parameters.plus_minus[DRY], rel=0.02)
    assert long.summary["outliers"] == []
    at_rest = int((coasted(0, 5.0).table["speed"] == 0).sum()) - 1
    assert any(f"spin: {at_rest} rows at rest" in text for text in long.summary["remarks"])
    assert len(long.residuals) == coasted(0, 5.0).rows - at_rest


def warmed(seed):
    """Return a warm_up told by its voltage, 0 where the current is off."""
    time = np.arange(0.0, 1800.0, 25.0)
    current = np.where(time < 1000, 0.5, 0.0) * 2 / np.sqrt(3)
    log = made("warm_up", seed, set_to={"time": time, "current": current}, channels=("voltage",), name="w")
    return Log("w", "warm_up", {**log.table, "voltage": np.where(current > 0, log.table["voltage"], 0.0)})


def test_rows_without_current_are_left_out():
    found = fit(ROVER, [warmed(1)], bootstrap=0)
    assert found.summary["outliers"] == []
    assert found.summary["tests"][0]["noise"]["voltage"]["sd"] == pytest.approx(4e-3, rel=0.35)
    assert any("w: 32 rows without current" in text for text in found.summary["remarks"])


HEAT = ["rover.wheel.winding.thermal_resistance", "rover.wheel.winding.heat_capacity"]


@pytest.mark.benchmark
@pytest.mark.parametrize(
    ("make", "truth"),
    [
        (lambda k: coasted(k, 3.0), {DRY: 4e-4, VISCOUS: 1e-5}),
        (warmed, {path: TRUTH[path] for path in (RESISTANCE, *HEAT)}),
    ],
    ids=["at rest", "without current"],
)  # fmt: skip
def test_the_interval_holds_the_truth_beside_rows_that_cannot_be_wrong(make, truth):
    hits = dict.fromkeys(truth, 0)
    for k in range(100):
        table = fit(ROVER, [make(k)], bootstrap=0).parameters
        for path, value in truth.items():
            hits[path] += bool(table.low[path] <= value <= table.high[path])
    print(hits)
    assert min(hits.values()) >= 88  # by chance in all but one of a thousand


# -- numbers not told


def test_what_is_reported_is_one_set_of_numbers():
    """Where one number goes back to the file's, its partners are fitted anew beside it: the set fits together."""
    log = made("no_load", set_to={"voltage": np.full(10, 2.0)})
    found = fit(ROVER, [log], bootstrap=0)
    assert not found.parameters.told[DRY]
    joint = Joint(found.fitted, found.logs, ())
    assert joint.predicted({}) == pytest.approx(found.residuals.model.to_numpy(), rel=1e-9)
    held = fit(ROVER, [log], free=[FLUX], bootstrap=0)
    assert found.parameters.fitted[FLUX] == pytest.approx(held.parameters.fitted[FLUX], rel=1e-9)
    assert found.parameters.plus_minus[FLUX] == pytest.approx(held.parameters.plus_minus[FLUX], rel=1e-6)


@pytest.mark.parametrize("volts", [1.0, 2.0, 3.0])
def test_a_number_that_is_told_is_not_said_to_be_unknown(volts):
    for seed in range(2):
        found = fit(ROVER, [made("no_load", seed, set_to={"voltage": np.full(10, volts)})], bootstrap=0)
        assert found.parameters.told[FLUX], seed


# -- the driver's limit of the current


def limited(amps):
    wheel = ROVER.rover.wheel
    driver = wheel.driver.model_copy(update={"current_limit": amps})
    rover = ROVER.rover.model_copy(update={"wheel": wheel.model_copy(update={"driver": driver})})
    return ROVER.model_copy(update={"rover": rover})


def test_a_driver_s_limit_of_the_current_holds():
    volts = np.array([0.5, 1.0, 2.0, 3.0])
    held = Log("a", "locked_rotor", {"voltage": volts, "current": np.zeros(4), "torque": np.zeros(4)})
    found = predict(limited(0.6), held, {})
    free = predict(ROVER, held, {})["current"]
    assert found["current"] == pytest.approx(np.minimum(free, 0.6))
    assert found["torque"] == pytest.approx(1.5 * 8 * 1.67e-3 * found["current"])
    at_motor = Log("a", "locked_rotor", held.table, at_motor=True)
    assert (
        predict(limited(0.6), at_motor, {})["current"].max() > 0.6
    )  # the voltage read there is what there was


def test_a_braked_wheel_at_the_limit_of_the_current():
    # 0.6 A make 1.5·8·1.67 mWb·0.6 A = 12.02 mN·m: more brake than that stalls it, though 3.5 V could carry it
    table = {"voltage": np.full(3, 3.5), "load": np.array([4e-3, 11.6e-3, 11.7e-3]), "speed": np.zeros(3)}
    log = Log("a", "loaded", table | {"current": np.zeros(3)})
    found, free = predict(limited(0.6), log, {}), predict(ROVER, log, {})
    assert found["speed"][0] == pytest.approx(free["speed"][0])
    assert free["speed"][2] > 50
    assert found["speed"][1] == pytest.approx((12.024e-3 - 11.6e-3 - 4e-4) / 1e-5, rel=0.05)
    assert found["speed"][2] == 0.0
    assert found["current"][1:] == pytest.approx(0.6)


def test_a_pull_out_beyond_the_limit_is_refused():
    log = made("pull_out")
    assert fit(limited(5.0), [log], bootstrap=0).parameters.told.any()
    with pytest.raises(
        DrivesimError, match=r"pull_out:\d: found a current of .* A at pull-out, allowed: at most 0.6 A"
    ):
        fit(limited(0.6), [log], bootstrap=0)


@pytest.mark.parametrize("kind", ["loaded", "back_emf"])
def test_residuals_that_hang_together_are_told_in_every_test(kind):
    log = made(kind)
    across, channel = {"loaded": ("load", "current"), "back_emf": ("speed", "voltage")}[kind]
    order = np.random.default_rng(1).permutation(30)
    x = np.linspace(*{"loaded": (1e-3, 6e-3), "back_emf": (40.0, 300.0)}[kind], 30)
    control = {across: x[order]} | ({"voltage": np.full(30, 3.0)} if kind == "loaded" else {})
    log = made(kind, set_to=control)
    bent = log.table[channel] * (1 + 0.1 * np.cos(2 * np.pi * (x[order] - x[0]) / (x[-1] - x[0])))
    found = fit(ROVER, [Log("bent", kind, {**log.table, channel: bent})], bootstrap=0)
    assert any(
        text.startswith("bent: neighbouring residuals are alike") for text in found.summary["warnings"]
    )
    assert not any("alike" in text for text in fit(ROVER, [log], bootstrap=0).summary["warnings"])


# -- logs made by hand


@pytest.mark.parametrize(
    ("logs", "words"),
    [
        (lambda log: [log, log], "found two logs named 'no_load'"),
        (lambda log: [Log("a", "no_lod", log.table)], "a: found the kind 'no_lod'; did you mean 'no_load'?"),
        (lambda log: [Log("a", "no_load", {**log.table, "speed": np.full(8, math.nan)})], "speed: found nan in row 1"),
        (lambda log: [Log("a", "no_load", {"voltage": log.table["voltage"]})], "a no_load log needs one at least of"),
        (lambda log: [Log("a", "no_load", {**log.table, "speed": np.zeros(3)})], "a: speed: found 3 rows"),
    ],
    ids=["twice", "kind", "nan", "nothing measured", "lengths"],
)  # fmt: skip
def test_mistakes_in_a_log_made_by_hand_are_told(logs, words):
    with pytest.raises(DrivesimError) as raised:
        fit(ROVER, logs(made("no_load")), bootstrap=0)
    assert words in str(raised.value)


# -- what was taken for granted


def test_an_ohmmeter_without_a_thermometer_is_told():
    log = Log("r", "locked_rotor", {"resistance": np.array([2.65, 2.64, 2.66, 2.65])})
    remarks = fit(ROVER, [log], bootstrap=0).summary["remarks"]
    assert "r: no winding_temperature told, 22 degC taken" in remarks


def test_one_wheel_s_log_taken_for_all_is_told():
    one = fit(ROVER, [made("locked_rotor", wheel="rear_left")], bootstrap=0).summary["remarks"]
    assert any("measured on rear_left, taken for all wheels" in text for text in one)


def test_another_clock_is_told():
    time = 1.7e9 + np.arange(9.0)
    log = Log(
        "drive", "rover", {"time": time, "bus_voltage": np.ones(9)}, path="d.csv", lines=np.arange(3, 12)
    )
    with pytest.raises(
        DrivesimError, match=r"d\.csv:3: column time: found 1700000000 s .* 0 is when the scenario"
    ):
        fit(load_scenario(ROOT / "scenarios" / "bench_start.yaml"), [log], free=[DRY])


def test_very_quiet_readings_are_believed():
    found = fit(ROVER, [made("back_emf", noise=1e-3)], bootstrap=0)
    assert found.summary["tests"][0]["noise"]["voltage"]["sd"] == pytest.approx(8e-6, rel=0.8)


def test_a_fragment_is_told_for_what_it_is(tmp_path):
    path = tmp_path / "fitted.yaml"
    path.write_text(fragment(fit(CRAWLER, [made("back_emf")], bootstrap=0)))
    with pytest.raises(DrivesimError) as raised:
        load_target(path)
    [line] = str(raised.value).splitlines()
    assert "part of a scenario (change)" in line
    assert "give a whole scenario or a rover's file" in line


def test_a_scenario_made_of_the_fragment_is_what_was_fitted(tmp_path, own_wheel):
    (tmp_path / "own.yaml").write_text(
        OWN.replace("bench_start.yaml", str(ROOT / "scenarios" / "bench_start.yaml"))
    )
    found = fit(tmp_path / "own.yaml", [made("locked_rotor")], bootstrap=0)
    (tmp_path / "f.yaml").write_text(fragment(found, base="own.yaml"))
    again = load_scenario(tmp_path / "f.yaml")
    for name in ("front_left", "rear_left"):
        wanted = found.fitted.rover.wheel_at(name).motor.R
        assert again.rover.wheel_at(name).motor.R / wanted == pytest.approx(1.0, rel=1e-3)


def test_every_number_that_is_fitted_unasked_has_a_name():
    from drivesim.fitting.words import name_of

    for end in ("film_coefficient", "thickness", "thermal_resistance", "heat_capacity"):
        assert name_of(f"rover.wheel.winding.housing.{end}").startswith("the ")
