"""Verdicts that name brown-outs, faults, soil and current limits, and what may help; the figures behind them."""

import json
import re

import pytest
from analysis_runs import AHEAD, GRIP, KERB, SCENARIOS, run, slope, text

from drivesim import load_scenario
from drivesim.analysis.run import simulate

SAND = {
    "rover.wheel.tyre.width": "10 mm",
    "ground.soil": "{preset: dry_sand}",
    "ground.features": "[{kind: ramp, start: -0.9 m, end: 3 m, slope: 12 deg}]",
}


@pytest.fixture(scope="module")
def stuttering():
    return simulate(load_scenario(SCENARIOS / "brown_out.yaml"))


def test_a_stutter_is_called_a_brown_out_with_its_figures(stuttering):
    resets = [e for e in stuttering.events if e.kind == "reset" and "reset" in e.effect]
    assert len(resets) >= 2
    assert stuttering.summary["supply"]["resets"] == len(resets)
    off = 1 - float(stuttering.traces["powered"].mean())
    words = (
        rf"stuttered in a brown-out: the bus fell below 6 V {len(resets)} times; the wheel controllers were off "
        rf"{off:.0%} of the time; the pack gave ([\d.]+) A through ([\d.]+) ohm; .*"
    )
    current, resistance = map(float, re.fullmatch(words, stuttering.verdict).groups())
    assert current == pytest.approx(float(stuttering.traces["battery_current"].max()), rel=0.03)
    # two cells of 160 mohm, half as much again at this charge, and the slow part of at most 2 · 60 mohm
    assert 2 * 0.16 * 1.2 < resistance < 2 * 0.16 * 1.6 + 0.12
    assert stuttering.summary["supply"]["off_s"] == pytest.approx(10 * off, rel=0.02)
    assert "pack" in stuttering.summary["may_help"]
    assert any(c.startswith("Brown-out: the wheel controllers reset") for c in stuttering.summary["cautions"])


def test_a_sound_supply_is_not_blamed():
    result = run(text())
    assert "brown-out" not in result.verdict
    assert result.summary["supply"]["resets"] == 0
    assert result.summary["may_help"] == ""


def test_endurance_is_charge_over_mean_current():
    result = run(text())
    current = float(result.traces["battery_current"].mean())
    assert result.summary["supply"]["endurance_h"] == pytest.approx(0.65 * 0.9 / current)


def test_a_dead_driver_is_named_with_its_time():
    scenario = text(ground=KERB, duration=5) + "events: [{at: 0.5 s, kind: driver_dies, wheel: front_left}]\n"
    result = run(scenario)
    assert result.verdict.endswith("(after: front_left: driver dead, phases open from 0.5 s on)")
    assert result.summary["may_help"].startswith("first mend what failed at front_left; then more torque")
    mended = scenario.replace("wheel: front_left}", "wheel: front_left, lasts: 0.3 s}")
    assert run(mended).verdict.endswith("(after: front_left: driver dead, phases open from 0.5 s to 0.8 s)")


def test_wheels_on_soil_spin_at_the_soil_s_limit():
    result = run(text(duration=4, **SAND))
    assert "at the soil's limit, sunk " in result.verdict
    assert "lugs" in result.summary["may_help"]
    assert max(w["deepest_sinkage_m"] for w in result.summary["wheels"].values()) > 0.002


def test_a_current_limit_is_not_called_the_bus_voltage():
    result = run(text(ground=KERB, duration=6, **{"rover.wheel.driver.current_limit": "0.5 A"}))
    assert "at its current limit" in result.verdict
    assert "current limit" in result.summary["may_help"]
    assert max(w["peak_current_A"] for w in result.summary["wheels"].values()) < 0.51


def test_a_wall_higher_than_the_wheel_is_called_by_its_label():
    wall = "{length: 1.5 m, features: [{kind: step, at: 0.3 m, height: 60 mm, label: the wall}]}"
    assert "the wall" in run(text(ground=wall, duration=5)).verdict


def test_recovery_is_counted_by_method():
    scenario = text(ground=KERB, commands=AHEAD, duration=12)
    scenario += "recovery: {stuck_for: 1 s, tries: 3, method: [rock, back_off]}\n"
    recovery = run(scenario).summary["recovery"]
    assert recovery["tries"] == 3
    assert recovery["methods"]["rock"]["tries"] == 2
    assert recovery["methods"]["back_off"]["tries"] == 1
    assert recovery["freed"] == sum(m["freed"] for m in recovery["methods"].values())
    assert run(text()).summary["recovery"] is None


def test_a_mended_fault_does_not_hide_one_that_lasts():
    both = text(ground=KERB, duration=5) + (
        "events: [{at: 0.5 s, kind: driver_dies, wheel: front_left}, "
        "{at: 0.6 s, kind: bearing_seizes, wheel: front_left, drag: 1 mN*m, lasts: 0.1 s}]\n"
    )
    words = (
        r"\(after: front_left: driver dead, phases open from 0\.5 s on; front_left: bearing drag .* 0\.7 s\)$"
    )
    assert re.search(words, run(both).verdict)


def test_of_many_faults_those_that_hold_and_those_that_lasted_longest_are_named():
    faults = [
        f"{{at: {i} s, kind: edges_lost, wheel: front_left, share: 1 %, lasts: 0.{9 - i} s}}"
        for i in (1, 2, 3)
    ]
    faults += ["{at: 4 s, kind: tyre_off, wheel: rear_left, radius: 33 mm}"]
    result = run(text(duration=5, **{"ground.length": "3 m"}) + f"events: [{', '.join(faults)}]\n")
    after = result.verdict[result.verdict.index("(after") :]
    assert re.fullmatch(
        r"\(after: .* from 1\.0 s to 1\.8 s; .* from 2\.0 s to 2\.7 s; rear_left: tyre off.* from 4\.0 s on; 1 more\)",
        after,
    ), after


def test_a_fault_after_the_rover_got_stuck_did_not_stop_it():
    late = text(ground=KERB, duration=6) + "events: [{at: 5 s, kind: driver_dies, wheel: rear_left}]\n"
    assert "after:" not in run(late).verdict
    assert "stalled against the kerb" in run(late).verdict
    assert "mend" not in run(late).summary["may_help"]


TRIP = {"rover.wheel.winding.heat_capacity": "1 J/K", "rover.wheel.driver.trip": "{above: 24 degC}"}


def test_a_trip_is_named_after_what_brought_it_about():
    result = run(text(ground=KERB, duration=6, **TRIP))
    assert re.fullmatch(
        r"stuck at x = 0\.20 m after \d\.\d s: \w+ stalled against the kerb .*, then \w+ had no power on the kerb "
        r"\(after: (\w+, ){3}\w+ tripped for heat from 2\.6 s on\)",
        result.verdict,
    ), result.verdict
    assert "copper" in result.summary["may_help"]
    assert result.summary["events"] == {"trip": 4}


LINK = text(duration=14) + "link: {fail_safe: 0.3 s}\n"


def test_a_silent_link_stops_the_rover_by_its_fail_safe():
    """Told 0.15 m/s for all but the first 0.35 s, it drove until 1.3 s: 0.95 of 13.65 s are 7 %."""
    result = run(LINK + "events: [{at: 1 s, kind: link_lost, lasts: 20 s}]\n")
    assert re.match(
        r"stopped by the fail-safe of its radio link from 1\.3 s on; fell behind: 0\.1. m in 14\.0 s, [789]% of",
        result.verdict,
    ), result.verdict
    assert result.verdict.endswith("(after: radio link lost from 1.0 s on)")
    assert "hesitated" not in result.verdict
    assert "radio" in result.summary["may_help"]


def test_a_silence_that_ends_is_told_with_how_long_it_lasted():
    result = run(LINK + "events: [{at: 1 s, kind: link_lost, lasts: 2 s}]\n")
    assert result.verdict.startswith("moved: ")
    stopped = [e.time for e in result.events if e.kind == "link"]
    assert f"stopped it once, for {stopped[1] - stopped[0]:.1f} s" in result.verdict


# -- of the way commanded: the driver's own script counts


def test_poor_links_do_not_shorten_the_way_commanded():
    """0.15 m/s from 0.2 to 4 s and from 5.5 to 14 s, less half of each ramp of 0.3 s."""
    result = simulate(load_scenario(SCENARIOS / "lossy_link.yaml"))
    assert result.summary["commanded_m"] == pytest.approx(0.15 * (3.8 + 8.5 - 0.3), rel=1e-3)
    assert result.summary["progress_m"] == pytest.approx(
        result.summary["distance_m"], rel=0.01
    )  # coasting counts
    assert "91% of the way commanded" in result.verdict


def test_resets_do_not_shorten_the_way_commanded(stuttering):
    """0.12 m/s from 0.2 s on, less half of the ramp of 0.3 s."""
    assert stuttering.summary["commanded_m"] == pytest.approx(0.12 * (9.8 - 0.15), rel=1e-3)
    share = stuttering.summary["distance_m"] / stuttering.summary["commanded_m"]
    assert f"fell behind: 0.25 m in 10.0 s, {share:.0%} of the way" in stuttering.verdict


def test_a_locked_out_rover_did_not_stand_as_told():
    result = run(text(**{"rover.wheel.driver.lockout": "{below: 8.15 V, above: 8.19 V}"}))
    assert result.summary["commanded_m"] == pytest.approx(0.15 * (2.8 - 0.15), rel=1e-3)
    assert result.verdict.startswith(
        "stopped by a brown-out from 0.0 s on; fell behind: 0.00 m in 3.0 s, 0% of the way commanded"
    )


def test_a_driver_s_tries_are_neither_asked_for_nor_progress():
    """At a kerb that it never climbs, backing off and coming on again is no way made."""
    tries = "recovery: {stuck_for: 1 s, tries: 3, method: [back_off], back_off: 1 s, speed: 0.15 m/s}\n"
    result = run(text(ground=KERB, commands=AHEAD, duration=12) + tries)
    assert result.summary["commanded_m"] == pytest.approx(0.15 * (11.8 - 0.15), rel=1e-3)
    assert result.summary["progress_m"] == pytest.approx(float(result.traces["x"][-1]), abs=0.02)


def test_a_loose_battery_is_no_weak_pack():
    lockout = {"rover.wheel.driver.lockout": "{below: 5.6 V, above: 6 V}"}
    result = run(text(duration=2, **lockout) + "events: [{at: 1 s, kind: battery_loose, lasts: 5 s}]\n")
    assert result.verdict.startswith("stopped by a brown-out from 1.0 s on; fell behind: ")
    assert "with the battery disconnected the bus fell below 5.6 V once" in result.verdict
    assert "the wheel controllers were off 50% of the time" in result.verdict
    assert "ohm" not in result.verdict
    assert "connector" in result.summary["may_help"]
    assert result.summary["lowest_bus_voltage_V"] < 5.6


def test_without_a_lockout_a_loose_battery_is_the_cause_of_the_collapse():
    result = run(text(duration=2) + "events: [{at: 1 s, kind: battery_loose, lasts: 5 s}]\n")
    assert re.match(
        r"supply collapsed after 1\.\d s at x = 0\.\d\d m: the battery was disconnected", result.verdict
    )
    assert "connector" in result.summary["may_help"]
    assert "pack" not in result.verdict + result.summary["may_help"]


def test_the_bus_fell_below_its_lockout_in_the_summary_too(stuttering):
    assert stuttering.summary["lowest_bus_voltage_V"] < 6.0 < float(stuttering.traces["bus_voltage"].min())


STUCK_SENSOR = "events: [{at: 1 s, kind: sensor_sticks, wheel: rear_left, lasts: 1 s}]\n"


def test_a_wheel_that_runs_away_on_a_stuck_sensor_is_named():
    """The loop sees 0 rad/s and gives all it can; rear_left is faster than commanded until the sensor works again."""
    result = run(text(duration=4) + STUCK_SENSOR)
    words = r"rear_left ran away from 1\.\d s on for 0\.\d s, its sensor stuck: up to \d+ rad/s while .* measured 0"
    assert re.search(words, result.verdict), result.verdict
    assert "(after: rear_left: sensor stuck from 1.0 s to 2.0 s)" in result.verdict


def test_currents_in_the_wrong_phases_are_named_as_the_cause():
    wheels = ("front_left", "front_right", "rear_left", "rear_right")
    stuck = ", ".join(f"{{at: 1 s, kind: sensor_sticks, wheel: {wheel}}}" for wheel in wheels)
    sectors = {"drive.sensor.sensors": "3", "drive.sensor.commutation": "sectors"}
    result = run(text(duration=4, **sectors) + f"events: [{stuck}]\n")
    assert re.match(
        r"stuck at .*, its rotor angle so far off that \d+% of the torque was left", result.verdict
    )
    assert "sensors" in result.summary["may_help"]


def test_after_the_mend_of_its_sensors_a_six_step_rover_drives_on():
    wheels = ("front_left", "front_right", "rear_left", "rear_right")
    stuck = ", ".join(f"{{at: 1 s, kind: sensor_sticks, wheel: {wheel}, lasts: 1 s}}" for wheel in wheels)
    sectors = {"drive.sensor.sensors": "3", "drive.sensor.commutation": "sectors"}
    speed = run(text(duration=4, **sectors) + f"events: [{stuck}]\n").traces["speed"]
    assert abs(float(speed.sel(time=slice(1.5, 2)).mean())) < 0.03  # held where the currents hold it
    assert float(speed.sel(time=slice(3, None)).mean()) == pytest.approx(0.15, rel=0.1)


@pytest.mark.parametrize(
    ("scenario", "helps"),
    [
        (
            text(commands="[{at: 0.2 s, turn: 60 deg/s}]", **{"rover.battery.cell_resistance": "10 ohm"}),
            "fuller pack",
        ),
        (
            text(ground=slope(40), **(GRIP | {"rover.centre_of_gravity": "[0 mm, 0 mm, 120 mm]"})),
            "lower centre of gravity",
        ),
    ],
    ids=["collapsed", "overturned"],
)
def test_what_may_help_fits_how_the_run_ended(scenario, helps):
    assert helps in run(scenario).summary["may_help"]


def test_the_summary_holds_only_what_json_knows():
    for scenario in (text(), text(ground=KERB, duration=6, **TRIP), text(duration=4, **SAND)):
        json.dumps(run(scenario).summary, allow_nan=False)


def test_commutation_between_edges_costs_torque():
    three = {"drive.sensor.sensors": "3"}
    factors = [
        [w["commutation_factor"] for w in run(text(**(three | more))).summary["wheels"].values()]
        for more in ({}, {"drive.sensor.commutation": "sectors"})
    ]
    assert factors[0] == [1.0] * 4
    assert all(
        0.8 < factor < 0.999 for factor in factors[1]
    )  # 3/π with even, exact sectors at a steady speed


def test_a_wheel_cut_back_for_heat_is_not_at_full_voltage():
    cut = {"rover.wheel.winding.heat_capacity": "1 J/K", "rover.wheel.winding.thermal_resistance": "90 K/W"}
    cut |= {"drive.sensor": "{kind: ideal}"}
    start = {"rover.wheel.driver.cut_back": "{start: 24 degC, end: 90 degC}"}
    late = {"rover.wheel.driver.cut_back": "{start: 200 degC, end: 210 degC}"}
    held = run(text(ground=KERB, duration=6, **(cut | start)))
    assert held.verdict.endswith("stalled against the kerb at all that its cut-back leaves of the voltage")
    assert "copper" in held.summary["may_help"]
    assert "at full bus voltage" in run(text(ground=KERB, duration=6, **(cut | late))).verdict


@pytest.mark.parametrize(
    ("name", "has", "instead"),
    [
        ("rubble_equal_current", "sensor or coordination", "another coordination than equal_current"),
        ("loose_fill_lugs", "or lugs", "higher lugs"),
        ("parallel_cells", "or fuller", "a fuller pack"),
    ],
)
def test_what_a_scenario_has_already_is_not_recommended(name, has, instead):
    advised = simulate(load_scenario(SCENARIOS / f"{name}.yaml")).summary["may_help"]
    assert instead in advised
    assert has not in advised
