"""Files of many runs: what they mean, and every mistake with its file and line."""

from pathlib import Path

import pytest

from drivesim import ScenarioError, load_scenario
from drivesim.scenario.compare_file import Comparison
from drivesim.scenario.study import Study, study_from_text, study_of

ROOT = Path(__file__).parents[2]
HEAD = "scenario: scenarios/rubble_speed_loop.yaml\n"
RUBBLE = load_scenario(ROOT / "scenarios" / "rubble_speed_loop.yaml")


def read(text, model=Study):
    return study_from_text(text, model, ROOT, "own.yaml")


def test_tolerances_in_numbers():
    """A share of the value, the value's own unit, a difference of temperature, two ends, each wheel."""
    found = read(
        HEAD + "spread:\n"
        "  rover.mass: {normal: 3 %}\n"
        "  rover.wheel.tyre.friction: {uniform: 0.1, each: wheel}\n"
        "  ambient: {normal: 5 K}\n"
        "  rover.battery.state_of_charge: {between: [60 %, 95 %]}\n"
        "  rover.wheel.radius: {uniform: 0.2 mm}\n"
    ).tolerances
    assert found["rover.mass"] == ("normal", 0.62, pytest.approx(0.0186))
    for wheel in RUBBLE.rover.wheel_names:
        own = found[f"rover.wheels.{wheel}.change.tyre.friction"]
        assert own == ("uniform", pytest.approx(0.7), pytest.approx(0.9))
    assert found["ambient"] == ("normal", 22.0, 5.0)
    assert found["rover.battery.state_of_charge"] == ("uniform", 0.6, 0.95)
    assert found["rover.wheel.radius"][1:3] == pytest.approx((0.0338, 0.0342))


def test_a_wheel_of_its_own_is_drawn_around_its_own_value():
    """A slick tyre and a weak gain stay what they are, within their tolerances."""
    changes = (
        "  base: scenarios/rubble_speed_loop.yaml\n  change:\n"
        "    rover.wheels.front_left.change: {tyre.friction: 0.05}\n"
        "    drive.overrides.rear_left: {proportional: 2 mV*s/rad}\n"
    )
    spread = "spread:\n  rover.wheel.tyre.friction: {uniform: 10 %, each: wheel}\n"
    spread += "  drive.proportional: {uniform: 10 %, each: wheel}\n"
    found = read(f"scenario:\n{changes}{spread}").tolerances
    slick = found["rover.wheels.front_left.change.tyre.friction"]
    assert slick[1:] == pytest.approx((0.045, 0.055))
    assert found["rover.wheels.rear_left.change.tyre.friction"][1:] == pytest.approx((0.72, 0.88))
    assert found["drive.overrides.rear_left.proportional"][1:] == pytest.approx((1.8e-3, 2.2e-3))
    assert found["drive.overrides.front_left.proportional"][1:] == pytest.approx((0.108, 0.132))


def test_a_study_holds_its_scenario_or_names_it():
    inside = read(
        "scenario:\n  base: scenarios/rubble_speed_loop.yaml\n  change: {rover.mass: 700 g}\ngrounds: 3\n"
    )
    assert inside.template.scenario.rover.mass == 0.7
    assert inside.study.grounds == 3
    assert study_of(RUBBLE, Study, grounds=3).template.scenario == RUBBLE


def test_a_case_is_the_scenario_with_its_changes():
    text = HEAD + (
        "cases:\n"
        "  as it is:\n"
        "  heavier: {rover.mass: 700 g, drive.proportional: 0.5 V*s/rad}\n"
        "  locked: {drive: scenarios/drives/locked_frequency.yaml}\n"
        "  other file: {scenario: scenarios/rubble_locked.yaml, rover.mass: 700 g}\n"
    )
    loaded = read(text, Comparison)
    cases = {name: loaded.case(("cases", name)) for name in loaded.study.cases}
    assert cases["as it is"] == RUBBLE
    assert cases["heavier"].rover.mass == 0.7
    assert cases["heavier"].drive.all_wheels.proportional == 0.5
    assert cases["locked"].drive.all_wheels.strategy == "locked_frequency"
    assert cases["other file"].name == "rubble, locked frequency"
    assert cases["other file"].rover.mass == 0.7
    assert RUBBLE.rover.mass == 0.62


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("scenario: 4\n", "own.yaml:1: scenario: found 4, needed: the name of a scenario's file, or its keys"),
        ("scenario: nope.yaml\n", "own.yaml:1: scenario: found 'nope.yaml', no such file"),
        ("grounds: 3\n", "own.yaml:1: scenario: is missing"),
        (HEAD + "grunds: 3\n", "own.yaml:2: grunds: unknown key; did you mean 'grounds'?"),
        (HEAD + "grounds: 0\n", "own.yaml:2: grounds: found 0, allowed: at least 1"),
        (HEAD + "grounds: many\n", "own.yaml:2: grounds: found 'many', needed: a whole number"),
        (
            HEAD + "spread: {rover.mas: {normal: 3 %}}\n",
            "own.yaml:2: spread.rover.mas: has no number in this scenario; did",
        ),
        (
            HEAD + "spread:\n  rover.mass: {normal: 3 m}\n",
            "own.yaml:3: spread.rover.mass: normal: found '3 m', but 'm' is",
        ),
        (
            HEAD + "spread:\n  rover.mass: {normal: 0 g}\n",
            "own.yaml:3: spread.rover.mass: normal: found '0 g', allowed: mo",
        ),
        (
            HEAD + "spread:\n  rover.mass: {normal: [3]}\n",
            "own.yaml:3: spread.rover.mass.normal: found a list, needed: a",
        ),
        (
            HEAD + "spread:\n  ambient: {normal: 3 %}\n",
            "own.yaml:3: spread.ambient: normal: found '3 %', a share of a temp",
        ),
        (
            HEAD + "spread:\n  rover.mass: {normal: 3 %, uniform: 2 g}\n",
            "own.yaml:3: spread.rover.mass.uniform: found normal and",
        ),
        (
            HEAD + "spread:\n  rover.mass: {each: wheel}\n",
            "own.yaml:3: spread.rover.mass: found none; give exactly one of",
        ),
        (
            HEAD + "spread:\n  rover.mass: {normal: 5 %, each: wheel}\n",
            "own.yaml:3: spread.rover.mass: is not a wheel's own",
        ),
        (
            HEAD + "spread:\n  rover.battery.cells_in_series: {uniform: 1}\n",
            "own.yaml:3: spread.rover.battery.cells_in_series: is a count, and parts do not vary by counts",
        ),
        (
            HEAD + "spread:\n  rover.wheel.radius: {normal: 5 %, each: wheel}\n",
            "own.yaml:3: spread.rover.wheel.radius: as a wheel's own: found 'radius'; allowed: inertia",
        ),
        (
            HEAD + "spread:\n  rover.mass: {between: [700 g, 600 g]}\n",
            "own.yaml:3: spread.rover.mass: between: found 0.7 to 0.6; the first must be the smaller one",
        ),
        (
            HEAD + "spread:\n  rover.centre_of_gravity.0: {normal: 5 %}\n",
            "own.yaml:3: spread.rover.centre_of_gravity.0: normal: found '5 %', and a share of zero is zero",
        ),
    ],
)  # fmt: skip
def test_mistakes_have_their_line(text, words):
    with pytest.raises(ScenarioError) as error:
        read(text)
    assert str(error.value).startswith(words)


@pytest.mark.parametrize(
    ("cases", "words"),
    [
        ("{one: {}}", "own.yaml:2: cases: found 1 values, allowed: at least 2"),
        ("\n  one:\n  two: {rover.mass: 3 m}", "own.yaml:4: rover.mass: found '3 m', but 'm' is not a unit"),
        ("\n  one:\n  two: {rover.mas: 3 kg}", "own.yaml:4: rover.mas: unknown key; did you mean 'mass'?"),
        ("\n  one:\n  two: 3 kg", "own.yaml:4: cases.two: found '3 kg', needed: dotted paths and values"),
        ("\n  one:\n  two: {drive: x.yaml}", "own.yaml:4: drive: found 'x.yaml', no such file"),
        (
            "\n  one:\n  two:\nagainst: tow",
            "own.yaml:5: against: found 'tow'; did you mean 'two'? allowed: one, two",
        ),
        (
            "\n  one:\n  two: {scenario: 5}",
            "own.yaml:4: cases.two.scenario: found 5, needed: the name of a scenario's file",
        ),
    ],
)
def test_mistakes_in_cases_have_their_line(cases, words):
    def read_cases():
        loaded = read(f"{HEAD}cases: {cases}\n", Comparison)
        for name in loaded.study.cases:
            loaded.case(("cases", name))

    with pytest.raises(ScenarioError) as error:
        read_cases()
    assert str(error.value).startswith(words)
