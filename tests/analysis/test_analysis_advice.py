"""Verdict and advice name the same limit, and blame only what stopped the rover."""

import pytest
from analysis_runs import AHEAD, SCENARIOS, recording, run, text

from drivesim import load_scenario, scenario_from_text
from drivesim.analysis.causes import past
from drivesim.analysis.run import simulate

HIGH_KERB = (
    "{length: 1.5 m, behind: 1 m, features: [{kind: step, at: 0.3 m, height: 50 mm, label: the kerb}]}"
)
STOP = "[{at: 0.2 s, forward: 0.15 m/s, ramp: 0.3 s}, {at: 2 s, forward: 0 m/s}]"
RADIO = "link: {fail_safe: 0.5 s}\n"
LOCKOUT = {"rover.wheel.driver.lockout": "{below: 5.6 V, above: 6 V}"}


def test_a_harmless_bounce_takes_no_blame():
    """0.2 ms without battery, long before the pack browns out by itself."""
    bounce = "events: [{at: 0.05 s, kind: battery_loose, lasts: 0.2 ms}]\n"
    result = simulate(
        scenario_from_text(f"base: {SCENARIOS / 'brown_out.yaml'}\nname: bounce\n{bounce}", folder=SCENARIOS)
    )
    assert result.verdict.startswith("stuttered in a brown-out: the bus fell below 6 V 7 times")
    assert "A through" in result.verdict
    assert result.summary["may_help"].startswith("a stronger or fuller pack")


def test_in_soil_a_weak_drive_is_not_the_first_thing_to_change():
    """At 0.4 A the wheels sink and push at their limit; tyres that press in less come before more current."""
    weak = "{base: loose_fill.yaml, change: {rover.wheel.driver.current_limit: 0.4 A}}"
    result = simulate(scenario_from_text(weak, folder=SCENARIOS))
    assert "at its current limit" in result.verdict
    soil = "wider tyres or lugs, and less weight, since the soil takes the torque; or a higher current limit"
    assert result.summary["may_help"].startswith(soil)


def test_a_fault_of_a_wheel_comes_first_only_where_it_matters():
    dead = "{at: 0.5 s, kind: driver_dies, wheel: front_left}"
    loose = "{at: 1 s, kind: battery_loose, lasts: 5 s}"
    at_the_kerb = run(text(ground=HIGH_KERB, duration=6) + f"events: [{dead}]\n")
    assert at_the_kerb.summary["may_help"].startswith("first mend what failed at front_left; then ")
    collapsed = run(text(duration=2) + f"events: [{dead}, {loose}]\n")
    assert collapsed.summary["may_help"].startswith("a battery connector that holds")


def test_a_reset_long_before_the_kerb_takes_no_blame():
    loose = "events: [{at: 0.5 s, kind: battery_loose, lasts: 60 ms}]\n"
    result = run(text(ground=HIGH_KERB, duration=8, **LOCKOUT) + loose)
    assert "with the battery disconnected the bus fell below 5.6 V once" in result.verdict
    assert result.verdict.startswith("stuck at x = ")
    assert "connector" not in result.summary["may_help"]


@pytest.mark.parametrize(("end", "stops"), [("", True), (STOP, False)])
def test_a_radio_that_fails_while_told_to_stand_stops_nothing(end, stops):
    lost = "events: [{at: 3 s, kind: link_lost, lasts: 9 s}]\n"
    result = run(text(commands=end or AHEAD, duration=5) + RADIO + lost)
    assert result.verdict.startswith("stopped by the fail-safe of its radio link from 3.5 s on") == stops
    assert ("radio" in result.summary["may_help"]) == stops


def test_a_radio_that_fails_at_the_end_did_not_hold_it_at_the_kerb():
    lost = "events: [{at: 9 s, kind: link_lost, lasts: 9 s}]\n"
    result = run(text(ground=HIGH_KERB, duration=10) + RADIO + lost)
    assert "at full bus voltage" in result.verdict
    assert result.summary["may_help"].startswith("more torque for the voltage there is")


def test_a_cut_back_is_named_only_once_it_has_begun():
    """Stuck at the kerb from the start, warm much later: the verdict, the log and the advice agree on both."""
    hot = {
        "rover.wheel.driver.cut_back": "{start: 60 degC, end: 100 degC}",
        "rover.wheel.winding.heat_capacity": "2 J/K",
    }
    cold = run(text(ground=HIGH_KERB, duration=5, **hot | {"rover.wheel.winding.heat_capacity": "50 J/K"}))
    warm = run(text(ground=HIGH_KERB, duration=30, **hot))
    for result, words, helps in (
        (cold, "at full bus voltage", "more torque"),
        (warm, "at all that its cut-back leaves of the voltage", "more copper"),
    ):
        assert words in result.verdict
        assert any(words in event.cause for event in result.events if event.kind == "stuck")
        assert result.summary["may_help"].startswith(helps)


@pytest.mark.parametrize(
    ("start", "commands"),
    [
        ("{heading: 180 deg, x: 0.7 m}", AHEAD),
        ("{x: 0.7 m, heading: 0 deg}", "[{at: 0.2 s, forward: -0.15 m/s, ramp: 0.3 s}]"),
    ],
)
def test_a_wall_behind_or_for_one_that_faces_back_is_a_wall_too(start, commands):
    """Out of a pit 50 mm deep whose wall lies at 0.3 m, from 0.7 m back towards it."""
    pit = "{length: 1.5 m, behind: 1 m, features: [{kind: step, at: 0.3 m, height: -50 mm, label: the wall}]}"
    result = run(text(ground=pit, start=start, commands=commands, duration=6))
    assert "against the wall" in result.verdict


def test_a_wheel_that_others_drag_does_not_run_away():
    """The right side drives, the left one is told to stand and brakes; its sensor sees no edge yet: no fault."""
    right = "[{at: 0.2 s, left: 0 rad/s, right: 4 rad/s, ramp: 0.3 s}]"
    assert "ran away" not in run(text(commands=right, duration=2)).verdict
    field = {
        "drive": "drives/locked_frequency.yaml",
        "commands": "[{at: 0.2 s, left: 3 rad/s, right: 0 rad/s}]",
    }
    assert "ran away" not in run(text(duration=3, **field)).verdict
    downhill = "{length: 3 m, behind: 1 m, features: [{kind: ramp, start: -0.9 m, end: 3 m, slope: -3 deg}]}"
    stand = "[{at: 0.2 s, forward: 0 m/s}]"
    assert "ran away" not in run(text(ground=downhill, commands=stand, duration=3)).verdict


def test_faults_that_overlap_end_as_they_began():
    events = (
        "events: [{at: 1 s, kind: sensor_sticks, wheel: rear_left}, "
        "{at: 2 s, kind: sensor_sticks, wheel: rear_left, lasts: 0.5 s}]\n"
    )
    had = past(recording(text(duration=3) + events), 3.0)
    assert [(one.event.time, one.end) for one in had] == [(1.0, None), (2.0, pytest.approx(2.5, abs=1e-3))]


def test_a_rover_that_comes_far_enough_but_does_not_turn_gets_advice():
    spin = "[{at: 0.3 s, forward: 0.15 m/s, turn: 90 deg/s}]"
    result = run(text(commands=spin, duration=5, **{"rover.mass": "2 kg"}))
    assert (
        "did not turn as told" in result.verdict
        or "fell behind" in result.verdict
        or "stuck" in result.verdict
    )
    assert result.summary["may_help"]
    assert "at 0.0 s" not in result.verdict


def test_a_driver_that_backs_off_does_not_hide_full_voltage():
    """At a step of 24 mm the loop reaches full voltage just before the driver backs off."""
    scenario = (
        f"base: {SCENARIOS / 'slab_edge.yaml'}\nname: high\nchange: {{ground.features.0.height: 24 mm}}\n"
    )
    result = simulate(scenario_from_text(scenario, folder=SCENARIOS))
    assert "stalled against the slab edge at full bus voltage" in result.verdict
    assert result.summary["may_help"].startswith("more torque for the voltage there is")


def test_a_pack_that_sags_much_is_named():
    weak = {"rover.battery.cell_resistance": "400 mohm"}
    stiff = run(text(ground=HIGH_KERB, duration=5))
    assert "pack" not in stiff.summary["may_help"]
    assert (
        "a stronger or warmer pack: the bus sagged by"
        in run(text(ground=HIGH_KERB, duration=5, **weak)).summary["may_help"]
    )


def test_trips_that_let_it_roll_back_are_a_matter_of_heat():
    assert "more copper" in simulate(load_scenario(SCENARIOS / "heat_cascade.yaml")).summary["may_help"]
