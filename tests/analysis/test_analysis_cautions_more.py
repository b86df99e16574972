"""Cautions about supply, heat paths, soil, frame and coordination: said with their figures where they apply only."""

import re

import numpy as np
import pytest
from analysis_runs import KERB, LOCKED_BEARINGS, SCENARIOS, run, slope, text

from drivesim import load_scenario
from drivesim.analysis.run import simulate
from drivesim.physics import winding

QUIET = {"rover.battery.cells_in_series": "1", "drive.sensor.sensors": "3"}
HOUSED = {
    "rover.wheel.winding.thermal_resistance": "5 K/W",
    "rover.wheel.winding.heat_capacity": "0.02 J/K",
    "rover.wheel.winding.housing": "{thermal_resistance: 5 K/W, heat_capacity: 0.05 J/K}",
}
SAND = {"rover.wheel.tyre.width": "16 mm", "ground.soil": "{preset: dry_sand}"}


def said(title, scenario=None, **change):
    """Return what is said under ``title``."""
    scenario = scenario or text(duration=2, **(QUIET | change))
    return [c for c in run(scenario).summary["cautions"] if c.startswith(title)]


@pytest.mark.parametrize(("cells", "made_for", "told"), [(2, 1, True), (2, 2, False), (1, 1, False)])
def test_a_charger_for_another_pack(cells, made_for, told):
    found = said(
        "Lithium cells",
        **{"rover.battery.cells_in_series": str(cells), "rover.battery.charger_cells": str(made_for)},
    )
    assert len(found) == told
    if told:
        assert "made for 1 in series, the pack has 2: never connect them" in found[0]


@pytest.mark.parametrize(
    ("title", "setting", "rating"),
    [
        ("Battery connector", "rover.battery.connector_rating", "A"),
        ("Traces", "rover.wheel.winding.trace_rating", "A"),
    ],
)
def test_currents_over_a_rating(title, setting, rating):
    (found,) = said(title, **{setting: f"0.05 {rating}"})
    assert "rated 0.05 A" in found
    assert said(title, **{setting: f"20 {rating}"}) == []


def test_magnet_and_touch_follow_the_housing_where_there_is_one():
    scenario = text(ground=slope(12), duration=3, **(QUIET | HOUSED))
    peaks = run(scenario).traces[["winding_temperature", "housing_temperature"]].max()
    winding, housing = float(peaks["winding_temperature"]), float(peaks["housing_temperature"])
    assert winding > housing + 2
    between = (winding + housing) / 2
    limits = {"rover.wheel.winding.magnet_limit": f"{between!r} degC"}
    adhesive = {"rover.wheel.winding.adhesive_limit": f"{between!r} degC"}
    hot = text(ground=slope(12), duration=3, **(QUIET | HOUSED | limits | adhesive))
    assert not any("reached" in c for c in said("Hot magnets", hot))
    (found,) = said("Hot adhesive", hot)
    assert f"reached {winding:.0f} degC, its limit is {between:.0f} degC" in found
    touch = HOUSED["rover.wheel.winding.housing"].replace("}", f", touch_limit: {housing - 1!r} degC}}")
    hot = text(ground=slope(12), duration=3, **(QUIET | HOUSED | {"rover.wheel.winding.housing": touch}))
    assert said("Hot to touch", hot)[0].endswith(
        f"reached {housing:.0f} degC, its limit is {housing - 1:.0f} degC."
    )


def test_a_controller_that_cuts_back_keeps_the_estimate_below_its_end():
    steep = {"rover.wheel.winding.thermal_resistance": "90 K/W"}
    free = text(ground=slope(15), duration=3, **(QUIET | steep))
    assert "would" in said("Hot board", free)[0]
    guarded = text(
        ground=slope(15), duration=3,
        **(QUIET | steep | {"rover.wheel.driver.cut_back": "{start: 80 degC, end: 105 degC}"}),
    )  # fmt: skip
    assert said("Hot board", guarded) == []


def test_soil_is_told_its_limits():
    assert said("Soil") == []
    (found,) = said("Soil", **SAND)
    assert "over 0.5 m across" in found
    assert said("Sunk", **SAND) == []
    (found,) = said("Sunk", **(SAND | {"rover.mass": "3 kg", "rover.wheel.tyre.radial_stiffness": "20 N/mm"}))
    assert "more than 25% of the wheel's radius" in found


def test_firm_soil_is_better_taken_as_hard_ground():
    clay = SAND | {"ground.soil": "{preset: heavy_clay}"}
    (found,) = said("Firm soil", **clay)
    assert "use hard ground" in found.lower()
    assert said("Firm soil", **SAND) == []


def test_droop_that_swings_by_itself():
    kp, R = 0.12, 2.4 + 0.15  # the shipped loop's gain, the shipped winding's and driver's resistance
    for gain, told in ((0.99 * R / kp, 0), (1.01 * R / kp, 1)):
        assert (
            len(said("Droop", **{"drive.coordination": f"{{kind: droop, per_current: {gain} rad/s/A}}"}))
            == told
        )


def test_a_single_sensor_cannot_commutate_from_every_angle():
    single = {"drive.sensor.sensors": "1", "drive.sensor.commutation": "interpolated"}
    assert len(said("A single Hall sensor", **single)) == 1
    assert said("A single Hall sensor", **(single | {"drive.sensor.sensors": "3"})) == []
    assert said("A single Hall sensor", **(single | {"drive.sensor.commutation": "ideal"})) == []


def test_what_would_get_hot_to_touch_is_told_by_the_surface_there_is():
    """In a housing of equal resistance the surface settles half way; a bare board's heat is told once."""
    bare = text(
        ground=slope(15), duration=3, **(QUIET | {"rover.wheel.winding.thermal_resistance": "60 K/W"})
    )
    assert "would" in said("Hot board", bare)[0]
    assert said("Hot to touch", bare) == []
    assert "winding limit" in said("Hot board", bare)[0]
    high = {"rover.wheel.winding.thermal_resistance": "60 K/W", "rover.wheel.winding.limit": "900 degC"}
    (found,) = said("Hot to touch", text(ground=slope(15), duration=3, **(QUIET | high)))
    whole = float(re.search(r"settle near (\d+) degC, held by its voltage \(touch limit 60", found)[1])
    housing = "{thermal_resistance: 30 K/W, heat_capacity: 5 J/K}"
    halved = high | {
        "rover.wheel.winding.thermal_resistance": "30 K/W",
        "rover.wheel.winding.housing": housing,
    }
    (found,) = said("Hot to touch", text(ground=slope(15), duration=3, **(QUIET | halved)))
    surface = float(re.search(r"settle near (\d+) degC", found)[1])
    assert surface - 22 == pytest.approx((whole - 22) / 2, rel=0.03)


def test_heat_that_feeds_itself_burns():
    """A current kept up against R(T) settles nowhere once R_th·I²·R20·1.5·alpha reaches 1, if the voltage lasts."""
    path = {
        "rover.wheel.winding.thermal_resistance": "800 K/W",
        "rover.wheel.winding.heat_capacity": "50 J/K",
    }
    (found,) = said("Hot board", text(ground=KERB, duration=4, **(QUIET | path)))
    assert "would lose torque as its copper warms and settle near" in found  # one cell cannot keep it up
    strong = {
        **LOCKED_BEARINGS, "drive.proportional": "9 V*s/rad", "rover.wheel.driver.current_limit": "5 A",
        "rover.battery.cell_resistance": "0.1 mohm",
    }  # fmt: skip
    for cells, burns in ((10, True), (2, False)):
        (found,) = said("Hot board", text(**(QUIET | strong | {"rover.battery.cells_in_series": f"{cells}"})))
        assert ("would burn: its heat feeds itself (winding limit" in found) == burns
    driver = {"rover.wheel.driver.current_limit": "0.1 A"}
    assert not any(
        "burn" in c for c in said("Hot board", text(ground=KERB, duration=4, **(QUIET | path | driver)))
    )


@pytest.mark.parametrize(
    ("trip", "then"),
    [("{above: 24 degC}", "stays off"), ("{above: 24 degC, resume: 23 degC}", "may start again by itself")],
)
def test_a_trip_says_whether_the_wheel_comes_back_by_itself(trip, then):
    heats = {"rover.wheel.winding.heat_capacity": "1 J/K", "rover.wheel.winding.limit": "900 degC"}
    (found,) = said(
        "Tripped", text(ground=KERB, duration=4, **(QUIET | heats | {"rover.wheel.driver.trip": trip}))
    )
    assert f"such a wheel {then}" in found
    assert said("Tripped", **{"rover.wheel.driver.trip": "{above: 100 degC}"}) == []


def test_cutting_back_is_told():
    cut = {
        "rover.wheel.winding.heat_capacity": "1 J/K",
        "rover.wheel.driver.cut_back": "{start: 24 degC, end: 60 degC}",
    }
    (found,) = said("Cut back", text(ground=KERB, duration=4, **(QUIET | cut)))
    assert "front_left" in found
    assert said("Cut back", **{"rover.wheel.driver.cut_back": "{start: 100 degC, end: 120 degC}"}) == []


@pytest.mark.parametrize(
    ("connection", "paths", "share"), [("star", 1, 1), ("star", 2, 2), ("delta", 1, 3**0.5)]
)
def test_the_guide_value_is_for_what_flows_in_one_trace(connection, paths, share):
    """A delta's windings carry the line's current over √3, parallel paths share it (textbook)."""

    def scenario(wider):
        layer = f"{{place: inner, thickness: 10 um, width: {0.4 * wider} mm, length: {0.5 * wider} m}}"
        change = {
            "terminal_resistance": "null",
            "conductor": f"{{layers: [{layer}], parallel_paths: {paths}}}",
            "connection": connection,
        }
        motor = {f"rover.wheel.motor.{name}": value for name, value in change.items()}
        return text(ground=KERB, duration=4, **(QUIET | motor))

    traces = run(scenario(1)).traces
    line = float(np.hypot(traces["current_d"], traces["current_q"]).max())
    (found,) = said("Traces", scenario(1))
    assert f"{line / share / 2**0.5:.2g} A effective in each" in found
    assert f"is {winding.trace_current(30, 0.4e-3 * 10e-6, False):.2g} A (IPC-2221" in found
    assert said("Traces", scenario(100)) == []


def test_a_loaded_wheel_that_slips_fast():
    ice = {"ground.friction_factor": "0.05"}
    spinning = text(
        commands="[{at: 0.2 s, forward: 1.6 m/s}]",
        duration=2,
        **(QUIET | ice | {"drive.slew": "900 rad/s^2"}),
    )
    fastest = float(np.abs(run(spinning).traces["slip_speed"]).max())
    assert fastest > 1.05
    assert said("A loaded wheel slipped at", spinning) == [
        f"A loaded wheel slipped at {fastest:.2g} m/s, faster than the friction law is known for."
    ]
    assert said("A loaded wheel") == []


def test_a_frame_that_twists_far():
    """Standing on a plane with one foot askew: a soft frame gives way by a quarter of the skew at each wheel."""
    soft = {
        "rover.frame": "{torsion_stiffness: 10 N/m, skew: 24 mm}",
        "rover.centre_of_gravity": "[0 m, 0 m, 0 m]",
    }
    twist = float(np.abs(run(text(duration=2, **(QUIET | soft))).traces["twist"]).max())
    assert twist > 3.4e-3
    (found,) = said("The frame twisted", **soft)
    assert f"by {twist * 1e3:.2g} mm" in found
    assert (
        said("The frame twisted", **(soft | {"rover.frame": "{torsion_stiffness: 10 N/m, skew: 8 mm}"})) == []
    )


def test_cells_are_not_blamed_for_a_connector_that_came_off():
    """The bus falls to half with the battery off, its cells do not."""
    result = simulate(load_scenario(SCENARIOS / "battery_bounce.yaml"))
    assert result.summary["lowest_bus_voltage_V"] / 2 < 3.0
    assert not any("below the cut-off" in c for c in result.summary["cautions"])


def test_no_caution_is_said_twice_and_the_general_one_comes_last():
    everything = {
        **LOCKED_BEARINGS, **SAND, "rover.battery.connector_rating": "1 mA", "rover.battery.cut_off": "4.1 V",
        "rover.battery.discharge_rating": "0.01", "rover.wheel.driver.current_rating": "1 mA",
        "rover.wheel.winding.trace_rating": "1 mA", "rover.wheel.winding.limit": "22.01 degC",
        "rover.wheel.winding.adhesive_limit": "22.01 degC", "rover.wheel.winding.magnet_limit": "22.01 degC",
    }  # fmt: skip
    found = run(text(duration=2, **everything)).summary["cautions"]
    assert len(found) == len(set(found)) > 9
    assert found[-1].startswith("A simulation supports but does not replace")


def test_events_that_a_run_does_not_come_to_are_told():
    """One beyond the end, one whose condition is never met, one at the last tick; what happens is not told."""
    late, never = (
        "{at: 2 s, kind: link_lost, lasts: 1 s}",
        "{when: x > 9 m, kind: battery_loose, lasts: 1 ms}",
    )
    scenario = (
        text(duration=2, **QUIET) + f"events: [{{at: 1 s, kind: link_lost, lasts: 0.1 s}}, {late}, {never}]\n"
    )
    assert said("Never happened", scenario) == [
        "Never happened: events.1 (at 2 s: link_lost), events.2 (when x > 9 m: battery_loose); the run ended after 2 s."
    ]
    met = text(duration=2, **QUIET) + "events: [{when: x > -1 m for 0.1 s, kind: link_lost, lasts: 0.1 s}]\n"
    assert said("Never happened", met) == []
    assert said("Never happened") == []


@pytest.mark.parametrize(
    ("below", "above", "words"),
    [
        ("3 V", "3.9 V", None),
        ("3 V", "4 V", "once reset, the wheel controllers never boot again: that needs more than 4 V, and"),
        ("3.98 V", "4 V", "the wheel controllers cannot run: they stop below 3.98 V, and"),
    ],
)
def test_a_lockout_that_the_pack_at_rest_cannot_lift(below, above, words):
    """At 85 % the published cell rests at 3.685 + 0.2156·0.85 − 0.1178·0.85² + 0.3201·0.85³ = 3.980 V (Chen and
    Rincon-Mora 2006); one cell here, its charge hardly less after the run."""
    given = {
        "rover.wheel.driver.lockout": f"{{below: {below}, above: {above}}}",
        "rover.battery.state_of_charge": "0.85",
    }
    found = said("Lockout", **given)
    assert len(found) == (words is not None)
    if words:
        assert words in found[0]
        assert found[0].endswith("the pack at rest gives 3.98 V at 85% charge.")


def test_gains_that_a_whole_number_pi_loses():
    """Half of the format's step is lost to rounding: 1/2^8/2 = 1.95e-3; the integral gain enters times 2 ms."""
    words = {
        "drive.arithmetic": "{word_bits: 16, fraction_bits: 8, gain_fraction_bits: 8}",
        "drive.sample_time": "2 ms",
    }
    kept = {
        "drive.proportional": "2 mV*s/rad",
        "drive.integral": "1 V/rad",
        "drive.feed_forward": "0 V*s/rad",
    }
    assert said("Whole-number PI", **(words | kept)) == []
    (found,) = said("Whole-number PI", **(words | kept | {"drive.integral": "0.9 V/rad"}))
    assert found == (
        "Whole-number PI of front_left, front_right, rear_left, rear_right: the integral gain of 0.9 V/rad, 0.0018 a "
        "sample of 2 ms, rounds to zero; with 8 gain_fraction_bits it is a multiple of 0.00391."
    )
    small = {"drive.proportional": "1.9 mV*s/rad"}
    one = {"drive.overrides": "{rear_left: {integral: 0 V/rad, proportional: 1.9 mV*s/rad}}"}
    (found,) = said("Whole-number PI", **(words | kept | one))
    assert found.startswith(
        "Whole-number PI of rear_left: the proportional gain of 0.0019 V*s/rad rounds to zero"
    )
    assert said("Whole-number PI", **(kept | small)) == []  # real numbers
