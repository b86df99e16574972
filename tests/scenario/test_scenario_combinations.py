"""What cannot be together is refused in one line; what can is read, resolved and written back."""

import math
import re

import pytest
from scenario_samples import SURVEY, WIDE

from drivesim.errors import ScenarioError
from drivesim.scenario import resolved, scenario_from_text, to_yaml
from drivesim.scenario.soil import PRESETS, Soil
from drivesim.scenario.surfaces import SURFACES

LAST = SURVEY.count("\n") + 2  # the line of a single change
COPPER = "{place: inner, copper: 1 oz/ft^2, width: 0.4 mm, length: 0.9 m, count: 2}"
MEASURED = "{place: outer, thickness: 52 um, width: 0.4 mm, length: 0.9 m}"
NO_RESISTANCE = "rover.wheel.motor.terminal_resistance: ~"
CONDUCTOR = "rover.wheel.motor.conductor: {layers: [%s], vias: {count: 4, drill: 0.3 mm}}"
WORDS = "drive.arithmetic: {word_bits: 16, fraction_bits: %d, gain_fraction_bits: %d}"
LOCKED = "drive.overrides.front_left: {strategy: locked_frequency, base_amplitude: 1 V}"
VOLTS = "drive.overrides.front_left: {strategy: fixed_voltage, voltage_per_speed: 20 mV*s/rad}"
CROWDED = (
    "rover.wheels: {a: {at: [80 mm, 70 mm]}, b: {at: [0 mm, -70 mm]}, c: {at: [30 mm, %s mm], drop: %s mm}}"
)
NO_BASE = ["rover.wheelbase: ~", "rover.track: ~", "drive.overrides: {}"]
PLACES = ", ".join(f"w{i}: {{at: [{40 * i - 100} mm, {(-1) ** i * 70} mm]}}" for i in range(6))
SIX = f"rover.wheels: {{{PLACES}}}"


def changed(*changes: str) -> str:
    return SURVEY + "change:\n" + "".join(f"  {line}\n" for line in changes)


#: the changes, the field and words of the one problem they make, and its line counted from that of the first change
IMPOSSIBLE = [
    (["ground.soil: {preset: dry_sand}"], "rover.wheel.tyre.width", "ground.soil needs it", 52 - LAST),
    (["ground.patches.0.soil: {preset: snow}"], "rover.wheel.tyre.width", "the soil of ground.patches needs it",
     52 - LAST),
    (["ground.soil: {preset: dry_sand, cohesion: -1 kPa}"], "ground.soil.cohesion", "allowed: at least 0 Pa", 0),
    (["ground.soil: {preset: dry_sad}"], "ground.soil.preset", "did you mean 'dry_sand'?", 0),
    (["ground.soil: {exponent: 1, k_c: 0}"], "ground.soil", "lacks k_phi, cohesion, friction_angle, shear_modulus", 0),
    (["ground.soil: {preset: snow, k_phi: 15 kN/m^3}"], "ground.soil.k_phi", "a number without unit, in kN and m", 0),
    (["ground.soil: {preset: snow, friction_angle: 95 deg}"], "ground.soil.friction_angle", "less than 90 deg", 0),
    (["ground.surface: icy"], "ground.surface", "did you mean 'ice'?", 0),
    (["ground.surface: ice", "ground.soil: {preset: snow}"], "ground.surface", "and soil is given too", 0),
    (["ground.patches: [{x: [0 m, 1 m], y: [0 m, 1 m]}]"], "ground.patches.0", "changes nothing", 0),
    (["rover.wheel.driver.lockout: {below: 9 V, above: 9.5 V}"], "rover.wheel.driver.lockout.below",
     "less than the full pack's open-circuit 8.2 V", 0),
    (["rover.wheel.driver.lockout: {below: 7 V, above: 8.3 V}", "rover.battery.open_circuit: [[0, 3 V], [1, 4.15 V]]"],
     "rover.wheel.driver.lockout.above", "found 8.3 V, allowed: less than the full pack's open-circuit 8.3 V", 0),
    (["rover.wheel.driver.lockout: {below: 6 V, above: 6 V}"], "rover.wheel.driver.lockout.above",
     "more than below (6 V)", 0),
    (["rover.wheel.driver.cut_back: {start: 90 degC, end: 80 degC}"], "rover.wheel.driver.cut_back.end",
     "more than start (90 degC)", 0),
    (["rover.wheel.driver.trip: {above: 90 degC, resume: 90 degC}"], "rover.wheel.driver.trip.resume",
     "less than above (90 degC)", 0),
    (["rover.wheel.driver.trip: {above: 17 degC}"], "rover.wheel.driver.trip.above",
     "found 17 degC, allowed: more than ambient (18 degC)", 0),
    (["rover.wheel.driver.trip: {above: 70 degC, resume: 18 degC}"], "rover.wheel.driver.trip.resume",
     "found 18 degC, allowed: more than ambient (18 degC), or none: then it stays off", 0),
    (["rover.wheel.driver.cut_back: {start: 17 degC, end: 80 degC}"], "rover.wheel.driver.cut_back.start",
     "found 17 degC, allowed: at least ambient (18 degC)", 0),
    (["rover.wheel.driver.pwm_steps: 1"], "rover.wheel.driver.pwm_steps", "at least 2 and at most 65536", 0),
    ([CONDUCTOR % COPPER], "rover.wheel.motor.conductor", "found terminal_resistance and conductor; give exactly", 0),
    ([NO_RESISTANCE], "rover.wheel.motor", "give exactly one of phase_resistance, terminal_resistance, conductor",
     61 - LAST),
    ([CONDUCTOR % f"{COPPER}, {MEASURED}", NO_RESISTANCE, "rover.wheel.motor.conductor.finish: thinnest"],
     "rover.wheel.motor.conductor.layers.1", "no copper weight, which finish: thinnest needs", 0),
    ([CONDUCTOR % COPPER.replace("1 oz", "9 oz"), NO_RESISTANCE, "rover.wheel.motor.conductor.finish: thinnest"],
     "rover.wheel.motor.conductor.layers.0.copper", "0.5 to 4 oz/ft^2", 0),
    ([CONDUCTOR % MEASURED.replace("thickness: 52 um, ", ""), NO_RESISTANCE],
     "rover.wheel.motor.conductor.layers.0", "found neither; give exactly one of copper, thickness", 0),
    (["rover.wheel.winding.housing: {material: aluminum, area: 40 cm^2, thickness: 2 mm}"],
     "rover.wheel.winding.housing.material", "did you mean 'aluminium'?", 0),
    (["rover.wheel.winding.housing: {material: steel, area: 40 cm^2, heat_capacity: 3 J/K}"],
     "rover.wheel.winding.housing.heat_capacity", "found material, area, heat_capacity; give", 0),
    (["rover.wheelbase: ~", "rover.track: ~", SIX, "rover.frame: {torsion_stiffness: 900 N/m}",
      "drive.overrides: {}"], "rover.frame.torsion_stiffness", "exactly four wheels, one in each quarter", 3),
    (["rover.wheel.radius: 80 mm"], "rover.wheelbase",
     "found front_left and rear_left 160 mm across and 130 mm apart; allowed: at least 160 mm apart", 46 - LAST),
    (["rover.track: 20 mm", "rover.wheel.tyre.width: 25 mm"], "rover.track",
     "found front_left and front_right 64 mm across and 0.4 mm apart in line, 20 mm side by side; allowed: at least "
     "64 mm apart, or 25 mm side by side", 0),
    (["rover.wheels.rear_left: {at: [10 mm, 75 mm]}"], "rover.wheels.rear_left.at",
     "found front_left and rear_left 64 mm across and 55 mm apart", 0),
    ([*NO_BASE, CROWDED % (-70, 0)], "rover.wheels.c.at", "found b and c 64 mm across and 30 mm apart", 3),
    ([*NO_BASE, "rover.wheel.tyre.width: 16 mm", CROWDED % (-55, 0)], "rover.wheels.c.at",
     "at least 64 mm apart, or 16 mm side by side", 4),
    ([*NO_BASE, CROWDED % (70, 39)], "rover.wheels.c.at", "found a and c 64 mm across and 63.41 mm apart", 3),
    (["drive.latency: 3 ms"], "drive.latency", "at most sample_time (0.002 s)", 0),
    (["drive.clock_error: 4 %"], "drive.clock_error", "at least -0.001 and at most 0.001", 0),
    (["drive.clock_error: 40"], "drive.clock_error", "at most 0.001; write it like '40 ppm'", 0),
    (["drive.clock_error: fast"], "drive.clock_error", "not a number and a unit; write it like '40 ppm'", 0),
    (["drive.sensor.missed_edges: 3"], "drive.sensor.missed_edges", "less than 1; write it like '3 %'", 0),
    ([WORDS % (9, 20)], "drive.proportional", "at most 0.031249 V*s/rad, the largest that 16 bits", 15 - LAST),
    ([WORDS % (12, 12), "rover.battery.cells_in_series: 4"], "drive.arithmetic.fraction_bits",
     "a word holds at most 7.99976, and the full pack gives a phase amplitude of 9.469 V", 0),
    ([WORDS % (13, 12)], "drive.arithmetic.fraction_bits",
     "a word holds at most 3.99988, and a wheel is commanded to turn at 4.688 rad/s", 0),
    ([WORDS % (16, 12)], "drive.arithmetic.fraction_bits", "found 16, allowed: at most 15", 0),
    ([f"{VOLTS[:-1]}, {(WORDS % (9, 12)).removeprefix('drive.')}}}"], "drive.overrides.front_left.arithmetic",
     "needs a strategy with a PI", 0),
    (["drive.coordination: {kind: droop, per_current: 2 rad/s/A}", LOCKED], "drive.coordination.kind",
     "droop needs speed_loop on every wheel; front_left has locked_frequency (a forced field does not follow", 0),
    (["drive.coordination: {kind: equal_current, proportional: 50 mA*s/rad, integral: 0.2 A/rad, most: 2 A}", VOLTS],
     "drive.coordination.kind", "front_left has fixed_voltage (it has no speed loop", 0),
    (["drive.coordination: {kind: drop}"], "drive.coordination.kind", "did you mean 'droop'? allowed: independent", 0),
    (["drive.coordination: {kind: droop}"], "drive.coordination.per_current", "is missing; give a quantity such", 0),
    (["drive.coordination: droop"], "drive.coordination", "needed: a mapping with 'kind': independent, cross", 0),
    (["drive.coordinaton: {}"], "drive.coordinaton", "did you mean 'coordination'?", 0),
    (["drive.sensor: {kind: ideal, missed_edges: 2 %}"], "drive.sensor.missed_edges", "needs kind: hall", 0),
    (["drive.sensor.edge_jitter: 12 deg", "drive.sensor.edge_placement: 8 deg"], "drive.sensor.edge_jitter",
     "add up to 20 deg, allowed: at most 18 deg electrical", 0),
    (["link: {fail_safe: 20 ms}"], "link.fail_safe", "more than every (0.02 s)", 0),
    (["recovery.method: push"], "recovery.method", "found 'push'; allowed: back_off, rock, full_throttle", 0),
    (["events: [{at: 1 s, kind: driver_dies, wheel: frnt_left}]"], "events.0.wheel", "did you mean 'front_left'?", 0),
    (["events: [{at: 1 s, kind: driver_dies}]"], "events.0.wheel",
     "is missing; give the name of a wheel: front_left, front_right, rear_left, rear_right", 0),
    (["rover.wheelbase: ~", "rover.track: ~", SIX, "drive.overrides: {}",
      "events: [{at: 1 s, kind: driver_dies}]"], "events.0.wheel", "give the name of a wheel: w0, w1, w2, w3, w4, w5",
     4),
    (["events: [{kind: driver_dies, wheel: front_left}]"], "events.0", "found neither; give exactly one of at", 0),
    (["events: [{at: 1 s, when: x > 1 m, kind: link_lost, lasts: 1 s}]"], "events.0.when", "found both", 0),
    (["events: [{at: 1 s, kind: link_lst, lasts: 1 s}]"], "events.0.kind", "did you mean 'link_lost'? allowed: dri", 0),
    (["events: [{at: 1 s, kind: link_lost}]"], "events.0.lasts", "is missing", 0),
    (["events: [{at: 1 s, kind: payload, mass: 0 g, place: [0 m, 0 m, 1 cm]}]"], "events.0.mass", "more than 0 kg", 0),
    (["events: [{at: 1 s, kind: payload, mass: 9 g, place: [0 m, 0 m, 1 m], lasts: 1 s}]"], "events.0.lasts",
     "unknown key; did you mean 'mass'?", 0),
    (["events: [{at: 1 s, kind: tyre_off, wheel: rear_left, radius: 33 mm}]"], "events.0.radius",
     "less than the wheel's radius (0.032 m)", 0),
    (["events: [{at: 1 s, kind: cell_sags}]"], "events.0", "changes nothing", 0),
    (["events: [{at: 1 s, kind: cell_sags, voltage_drop: 9 V}]"], "events.0.voltage_drop",
     "less than the full pack's 8.2 V", 0),
    (["events: [{at: 1 s, kind: sensor_sticks, wheel: rear_left}]", "drive.sensor.kind: ideal"], "events.0.wheel",
     "sensor_sticks needs a Hall sensor", 0),
    (["events: [{at: 1 s, kind: driver_dies, wheel: rear_left}]", "rover.wheels.rear_left.driven: false"],
     "events.0.wheel", "is not driven", 0),
    (["events: [{when: fron_left load < 2 N, kind: battery_loose, lasts: 1 s}]"], "events.0.when",
     "found 'fron_left'; did you mean 'front_left'?", 0),
    (["events: [{when: front_left housing_temperature > 50 degC, kind: battery_loose, lasts: 1 s}]"],
     "events.0.when", "needs a housing", 0),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "field", "words", "line"), IMPOSSIBLE, ids=lambda value: str(value)[:40])
def test_impossible_combinations_get_one_line(changes, field, words, line):
    with pytest.raises(ScenarioError) as caught:
        scenario_from_text(changed(*changes), name="survey.yaml")
    (told,) = caught.value.problems
    assert told.startswith(f"survey.yaml:{LAST + line}: {field}: ")
    assert words in told


@pytest.mark.parametrize(
    "changes",
    [
        ["rover.wheel.radius: 65 mm"],  # just touching
        ["rover.track: 25 mm", "rover.wheel.tyre.width: 25 mm"],
        [*NO_BASE, CROWDED % (-60, 0)],  # tyres of no width are apart as soon as they are not in line
        [*NO_BASE, "rover.wheel.tyre.width: 16 mm", CROWDED % (-54, 0)],
        [*NO_BASE, CROWDED % (70, 41)],  # one above the other
    ],
    ids=str,
)
def test_wheels_that_clear_each_other_are_taken(changes):
    assert scenario_from_text(changed(*changes)).rover.wheel_names


def test_a_whole_scenario_of_new_settings_is_read_and_comes_back():
    s = scenario_from_text(WIDE)
    assert scenario_from_text(to_yaml(s)) == s
    motor, housing = s.rover.wheel.motor, s.rover.wheel.winding.housing
    assert (motor.given_resistance, motor.star(0.9)) == (None, 0.9)
    assert motor.conductor.layers[0].copper == pytest.approx(0.30515, rel=1e-4)
    assert (housing.R_th, housing.C) == pytest.approx((25.0, 2702 * 903 * 8e-6))  # 1/(h·A), rho·c·A·t
    assert s.rover.misalignment == pytest.approx(3 / 150)
    assert [s.rover.twist_sign(name) for name in s.rover.wheel_names] == [1, -1, -1, 1]
    wheels = [s.drive.for_wheel(name) for name in s.rover.wheel_names]
    assert [wheel.arithmetic is None for wheel in wheels] == [True, True, False, False]
    assert {wheel.clock_error for wheel in wheels} == {40e-6}
    assert (s.ground.friction, s.ground.rolling) == pytest.approx((0.41, 4.8))
    assert s.ground.soils == (s.ground.patches[0].soil,)
    watched = s.events[2].when
    assert (watched.wheel, watched.quantity, watched.above, watched.threshold, watched.hold) == (
        "rear_left", "temperature", True, 80.0, 0.5,
    )  # fmt: skip
    assert resolved(s)["events"][2]["when"] == "rear_left temperature > 80 degC for 0.5 s"
    assert resolved(s)["drive"]["coordination"] == {"kind": "cross_coupled", "gain": 0.5, "every": "0.02 s"}


def test_delta_makes_a_conductor_a_third_and_a_terminal_value_half():
    delta = scenario_from_text(changed("rover.wheel.motor.connection: delta")).rover.wheel.motor
    assert (delta.star(0.9), delta.given_resistance, delta.R) == pytest.approx((0.3, 2.4, 2.4))


def test_old_files_mean_what_they_meant():
    s = scenario_from_text(SURVEY)
    assert (s.ground.friction, s.ground.rolling, s.ground.soils, s.events) == (1.0, 1.0, (), ())
    assert (s.drive.coordination.kind, s.rover.misalignment, s.recovery.method) == (
        "independent",
        0.0,
        ("back_off",),
    )
    assert s.start.rotors == "random"


def test_soils_are_in_newtons_and_metres():
    """Wong, Theory of Ground Vehicles (from memory), gives the moduli in inch-pound units too: dry sand's 0.1
    and 3.9 are lb/in^(n+1) and lb/in^(n+2).  They agree within the rounding of 0.1."""
    numbers = Soil(preset="dry_sand").numbers
    inch = 0.0254
    assert numbers.k_phi * inch ** (numbers.exponent + 2) / 4.4482216 == pytest.approx(3.9, rel=0.01)
    assert numbers.k_c * inch ** (numbers.exponent + 1) / 4.4482216 == pytest.approx(0.1, rel=0.03)
    assert numbers.tan_phi == pytest.approx(math.tan(math.radians(28)))
    assert (numbers.cohesion, numbers.shear_modulus) == pytest.approx((1040.0, 0.010))
    own = Soil(preset="snow", cohesion="2 kPa", friction_angle="20 deg").numbers
    assert (own.cohesion, own.exponent) == (2000.0, 1.6)
    assert own.tan_phi == pytest.approx(math.tan(math.radians(20)))


def test_presets_lie_in_the_ranges_they_come_from():
    """Rolling: car-tyre handbook ranges over dry concrete's 0.01 to 0.015.  Friction: Noon 1994 and Taborek via Wong,
    each over its own dry concrete; loose sand's is no tyre value (tan 28 deg over 0.85)."""
    friction = {"asphalt": (0.65 / 0.75, 1), "wet_asphalt": (0.5 / 0.75, 0.7 / 0.8), "wet_concrete": (0.45 / 0.75, 0.9),
                "rolled_gravel": (0.35 / 0.75, 0.6 / 0.8), "firm_soil": (0.6 / 0.85, 0.68 / 0.75),
                "packed_snow": (0.2 / 0.85, 0.25 / 0.75), "ice": (0.1 / 0.85, 0.15 / 0.75)}  # fmt: skip
    for name, (least, most) in friction.items():
        assert least <= SURFACES[name].friction <= most
    rolling = {
        "rolled_gravel": (0.02, 0.02),
        "cobbles": (0.03, 0.03),
        "firm_soil": (0.04, 0.08),
        "loose_sand": (0.2, 0.4),
    }
    for name, (least, most) in rolling.items():
        assert least / 0.015 <= SURFACES[name].rolling <= most / 0.01
    assert SURFACES["concrete"] == (1.0, 1.0)
    assert all(0.1 < n < 2 and k_phi > k_c for n, k_c, k_phi, *_ in PRESETS.values())


def test_the_page_names_every_setting_and_word(pytestconfig):
    from drivesim.scenario import json_schema

    page = (pytestconfig.rootpath / "docs" / "scenarios.md").read_text(encoding="utf-8")
    schema = json_schema()
    names = set(schema["properties"]) | set(PRESETS) | set(SURFACES)
    for part in schema["$defs"].values():
        for name, kind in part.get("properties", {}).items():
            names |= {name} | {
                word for word in [kind.get("const"), *kind.get("enum", [])] if isinstance(word, str)
            }
    missing = [name for name in sorted(names) if not re.search(rf"(?<!\w){name}(?!\w)", page)]
    assert missing == []


def test_the_page_tells_the_numbers_that_are_used(pytestconfig):
    page = (pytestconfig.rootpath / "docs" / "scenarios.md").read_text(encoding="utf-8")
    for name, numbers in [*PRESETS.items(), *SURFACES.items()]:
        row = " | ".join(f"{number:.10g}" for number in numbers)
        assert f"| `{name}` | {row} |" in page
