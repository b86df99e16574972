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
    mended = scenario.replace("wheel: front_left}", "wheel: front_left, lasts: 0.3 s}")
    assert "driver" not in run(mended).verdict


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
    assert run(both).verdict.endswith("(after: front_left: driver dead, phases open from 0.5 s on)")


def test_a_fault_after_the_rover_got_stuck_did_not_stop_it():
    late = text(ground=KERB, duration=6) + "events: [{at: 5 s, kind: driver_dies, wheel: rear_left}]\n"
    assert "after:" not in run(late).verdict
    assert "stalled against the kerb" in run(late).verdict


TRIP = {"rover.wheel.winding.heat_capacity": "1 J/K", "rover.wheel.driver.trip": "{above: 24 degC}"}


def test_a_trip_is_named_after_what_brought_it_about():
    result = run(text(ground=KERB, duration=6, **TRIP))
    assert re.fullmatch(
        r"stuck at 0\.20 m: \w+ stalled against the kerb .*, then \w+ had no power on the kerb "
        r"\(after: (\w+, ){3}\w+ tripped for heat from 2\.6 s on\)",
        result.verdict,
    ), result.verdict
    assert "copper" in result.summary["may_help"]
    assert result.summary["events"] == {"trip": 4}


def test_a_silent_link_stops_the_rover_by_its_fail_safe():
    drive = text(duration=4) + "link: {fail_safe: 0.3 s}\n"
    result = run(drive + "events: [{at: 1 s, kind: link_lost, lasts: 10 s}]\n")
    assert result.verdict.startswith("stopped by the fail-safe of its radio link; moved: 0.")
    assert "no message for 0.3 s, all wheels stop from 1.3 s on" in result.verdict
    back = run(drive + "events: [{at: 1 s, kind: link_lost, lasts: 1 s}]\n")
    assert back.verdict.startswith("moved: ")
    assert "silence" not in back.verdict


def test_a_loose_battery_is_no_weak_pack():
    lockout = {"rover.wheel.driver.lockout": "{below: 5.6 V, above: 6 V}"}
    result = run(text(duration=2, **lockout) + "events: [{at: 1 s, kind: battery_loose, lasts: 5 s}]\n")
    assert result.verdict.startswith("stopped by a brown-out; moved: ")
    assert "the bus fell below 5.6 V once; the wheel controllers were off 50% of the time" in result.verdict
    assert "ohm" not in result.verdict
    assert result.summary["may_help"] == ""


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
