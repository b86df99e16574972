"""Scenarios with other numbers: paths, units, wheels of their own, and what is refused."""

from pathlib import Path

import pytest

from drivesim import ScenarioError, load_scenario, scenario_from_text
from drivesim.engine.build import build
from drivesim.scenario import to_yaml
from drivesim.scenario.variation import Template

SCENARIOS = Path(__file__).parents[2] / "scenarios"
RUBBLE = load_scenario(SCENARIOS / "rubble_speed_loop.yaml")
ALL = sorted(SCENARIOS.glob("*.yaml"))


@pytest.mark.parametrize("path", ALL, ids=lambda path: path.stem)
def test_no_change_is_no_change(path):
    """Every shipped scenario comes back equal, and every number in it can be set to what it is."""
    scenario = load_scenario(path)
    template = Template(scenario)
    assert template.scenario_with({}) == scenario
    same = {path: template.number(path) for path in template.numbers()}
    assert len(same) > 60
    assert template.scenario_with(same) == scenario


def test_a_number_has_its_unit_and_is_set_in_si():
    template = Template(RUBBLE)
    assert (template.number("rover.mass"), template.unit("rover.mass")) == (0.62, "kg")
    assert (template.number("rover.wheel.tyre.friction"), template.unit("rover.wheel.tyre.friction")) == (
        0.8,
        "1",
    )
    assert template.unit("ground.features.0.rms") == "m"
    changed = template.scenario_with({"rover.mass": 0.7, "drive.slew": "20 rad/s^2", "ambient": 5.0}, seed=99)
    assert (changed.rover.mass, changed.drive.all_wheels.slew, changed.ambient) == (0.7, 20.0, 5.0)
    assert changed.seed == 99
    assert template.scenario_with({"rover.battery.cells_in_series": 3.0}).rover.battery.cells_in_series == 3


def test_a_template_does_not_change():
    """What one variation changes, lists and inner mappings too, does not show in the next."""
    template = Template(RUBBLE)
    template.scenario_with(
        {"ground.features.0.rms": 0.002, "rover.wheels.front_left.drop": "1 mm", "rover.mass": 1.0}
    )
    assert template.scenario_with({}) == RUBBLE


def test_what_a_wheel_takes_over_follows_the_others():
    """As under ``change``: a common gain reaches a wheel that has only its sensor for itself."""
    text = (
        f"base: {SCENARIOS / 'rubble_speed_loop.yaml'}\n"
        "change: {drive.overrides.rear_left: {proportional: 0.5 V*s/rad}}\n"
    )
    template = Template(scenario_from_text(text))
    drive = template.scenario_with({"drive.integral": 2.0, "drive.proportional": 0.3}).drive
    assert drive.for_wheel("rear_left").integral == 2.0
    assert [drive.for_wheel(wheel).proportional for wheel in RUBBLE.rover.wheel_names] == [0.3, 0.3, 0.5, 0.3]


def test_a_wheel_has_values_of_its_own():
    """In the file, in the record that the kernel reads, and in the file written back."""
    changes = {
        "rover.wheels.front_left.change.motor.flux_linkage": 1.5e-3,
        "rover.wheels.front_left.change.bearing.dry": "1 mN*m",
        "rover.wheels.rear_right.change.tyre.friction": 0.4,
        "rover.wheels.rear_right.change.inertia": "400 g*cm^2",
    }
    scenario = Template(RUBBLE).scenario_with(changes)
    assert scenario_from_text(to_yaml(scenario)) == scenario
    wheels, plain = build(scenario).wheels, build(RUBBLE).wheels
    assert list(wheels["flux_linkage"]) == [1.5e-3, *plain["flux_linkage"][1:]]
    assert wheels["bearing_dry"][0] == pytest.approx(1e-3)
    assert list(wheels["friction"]) == [0.8, 0.8, 0.8, 0.4]
    assert wheels["inertia"][3] == pytest.approx(4e-5)
    assert wheels["sliding_friction"][3] == plain["sliding_friction"][3]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"rover.masss": 0.3}, "rover.masss: has no number in this scenario; did you mean 'rover.mass'?"),
        ({"rover.mass": -1.0}, "rover.mass: found '-1.0 kg', allowed: more than 0 kg"),
        ({"rover.mass": "3 m"}, "rover.mass: found '3 m', but 'm' is not a unit of this kind"),
        ({"rover.masss": "3 kg"}, "rover.masss: unknown key; did you mean 'mass'?"),
        ({"rover.battery.cells_in_series": 1.5}, "cells_in_series: found 1.5, needed: a whole number"),
        ({"ground.features.7.rms": "2 mm"}, "ground.features.7.rms: has no place '7' in this scenario"),
        ({"rover.mass.x": "2 mm"}, "rover.mass.x: nothing can be changed inside mass"),
        ({"drive.slew.x": 2.0}, "drive.slew.x: has no number in this scenario"),
        (
            {"rover.wheels.front_left.change.tyre.friction": "-1"},
            "rover.wheels.front_left.change: tyre.friction: found '-1', allowed: more than 0",
        ),
        (
            {"rover.wheels.front_left.change.radius": "20 mm"},
            "rover.wheels.front_left.change: found 'radius'; allowed: inertia, bearing.dry,",
        ),
        (
            {"rover.wheels.front_left.change.tyre.frition": "0.2"},
            "change: found 'tyre.frition'; did you mean 'tyre.friction'?",
        ),
        (
            {"rover.wheels.front_left.change.motor.phase_resistance": "2 ohm"},
            "front_left.change: motor: terminal_resistance: found phase_resistance and terminal_resistance; give",
        ),
    ],
)
def test_what_cannot_be_changed_is_told_in_one_line(changes, words):
    with pytest.raises(ScenarioError) as error:
        Template(RUBBLE).scenario_with(changes)
    assert words in str(error.value)
    assert "\n" not in str(error.value)
