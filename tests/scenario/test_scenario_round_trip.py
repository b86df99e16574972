"""A scenario written and read again is the same, units do not matter, the schema fits the loader."""

import json
import os
import subprocess
import sys

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from scenario_samples import DRIVE, GROUND, HEAD, PLAIN, ROVER, SURVEY, WIDE, indented

from drivesim.errors import ScenarioError
from drivesim.scenario import Scenario, json_schema, resolved, scenario_from_text, to_yaml
from drivesim.scenario.expected import bare, choices, is_choice, is_model, unit_of
from drivesim.scenario.scenario import METHODS, Method
from drivesim.units import COMMON

ALL_FEATURES = """\
features:
  - {kind: ramp, start: 0.2 m, end: 1 m, slope: 10 deg, cross_slope: -3 deg}
  - {kind: step, at: 1 m, height: -12 mm, label: "1e3"}
  - {kind: pavers, start: 1 m, count: 3, length: 20 cm, gap: 0 mm, height: 9 mm, gap_depth: 5 mm}
  - {kind: bumps, start: 2 m, radius: 4 mm, side: left}
  - {kind: twist, start: 0 m, wavelength: 0.8 m, amplitude: 8 mm}
  - {kind: washboard, start: 0 m, wavelength: 6 cm, amplitude: 2 mm}
  - {kind: roughness, iso_class: C, seed: 5}
  - {kind: roughness, rms: 2 mm, correlation_length: 60 mm}
  - {kind: roughness, unevenness: 256e-6 m^3, longest_wave: 1 m, shortest_wave: 20 mm}
"""
DRIVES = {
    "locked": "strategy: locked_frequency\nbase_amplitude: 0.6 V\namplitude_per_hertz: 8 mV/Hz\n",
    "trimmed": "strategy: trimmed_frequency\nbase_amplitude: 1 V\nproportional: 0.5\nintegral: 3 1/s\n",
    "mixed": DRIVE
    + "  rear_right: {slew: null, sensor: {timeout: 100 ms}}\n"
    + "  front_left: {strategy: fixed_voltage, voltage_per_speed: 0.02 V*s/rad, slew: ~}\n",
}
PLACES = "\n".join(
    f"  w{i}: {{at: [{x} mm, {y} mm], toe: {i} deg}}" for i, (x, y) in enumerate([(0, 70), (0, -70)])
)
TWO_WHEELS = ROVER[: ROVER.index("wheelbase")] + ROVER[ROVER.index("centre_of") : ROVER.index("wheels:")]
TWO_WHEELS += f"wheels:\n{PLACES}\n" + ROVER[ROVER.index("battery:") :]
TABLE = "\n  open_circuit: [[0, 3.2 V], [50 %, 3.7 V], [1, 4.2 V]]"


def whole(drive: str = DRIVE, ground: str = GROUND, rover: str = ROVER, head: str = HEAD) -> str:
    return head + "drive:\n" + indented(drive) + "ground:\n" + indented(ground) + "rover:\n" + indented(rover)


TEXTS = {
    "survey": SURVEY,
    "plain": PLAIN,
    "wide": WIDE,
    "features": whole(ground=ALL_FEATURES),
    "two wheels": PLAIN[: PLAIN.index("rover:")] + "rover:\n" + indented(TWO_WHEELS),
    "battery table": whole(rover=ROVER.replace("capacity: 800 mAh", "capacity: 0.8 Ah" + TABLE)),
    "no recovery": SURVEY.replace("recovery:\n  tries: 2\n", "recovery:\nstep: 50 us\ngravity: 3.7 m/s^2\n"),
} | {name: whole(drive=drive) for name, drive in DRIVES.items()}


@pytest.mark.parametrize("text", TEXTS.values(), ids=TEXTS)
def test_round_trip(text):
    scenario = scenario_from_text(text)
    written = to_yaml(scenario)
    assert scenario_from_text(written) == scenario
    assert to_yaml(scenario_from_text(written)) == written
    assert Scenario.model_validate(resolved(scenario)) == scenario
    assert json.loads(json.dumps(resolved(scenario))) == resolved(scenario)


def test_resolved_has_the_users_form_with_defaults():
    data = resolved(scenario_from_text(SURVEY))
    assert data["drive"]["strategy"] == "speed_loop"
    assert data["drive"]["overrides"]["rear_left"]["integral"] == "0.2 V/rad"
    assert data["rover"]["mass"] == "0.62 kg"
    assert data["rover"]["battery"]["cut_off"] == "3.0 V"  # a default
    assert data["rover"]["wheel"]["tyre"]["friction"] == 0.8
    assert "inertia" not in data["rover"]
    assert all(value is not None for value in data.values())


def test_overrides_lie_over_the_common_drive():
    drive = scenario_from_text(TEXTS["mixed"]).drive
    assert (drive.for_wheel("rear_right").sensor.timeout, drive.for_wheel("rear_right").sensor.sensors) == (
        0.1,
        1,
    )
    assert (drive.for_wheel("rear_right").slew, drive.for_wheel("rear_left").slew) == (None, 60.0)
    other = drive.for_wheel("front_left")
    assert (other.strategy, other.sample_time, other.slew) == ("fixed_voltage", 0.002, None)


def test_units_do_not_matter():
    swaps = {
        "mass: 620 g": "mass: 0.62 kg",
        "box: [180 mm, 140 mm, 60 mm]": "box: [0.18 m, 14 cm, 6e4 um]",
        "radius: 32 mm": "radius: 0.032 m",
        "inertia: 120 g*cm^2": "inertia: 12e-6 kg m²",
        "18 N": "0.018 kN",
        "2.5 N/mm": "2500 N/m",
        "dry: 0.3 mN*m": "dry: 300 µN·m",
        "2 uN*m*s/rad": "2e-6 N*m/(rad/s)",
        "4.8 ohm": "4800 mΩ",
        "30 uH": "0.00003 H",
        "1.67 mWb": "1.67e-3 V s",
        "45 K/W": "45 °C/W",
        "800 mAh": "2880 C",
        "18 degC": "291.15 K",
        "heading: 5 deg": "heading: 0.0872664625997164788461845 rad",
        "left: 4 rad/s": "left: 38.197186342054880 rpm",
        "0.15 m/s": "54e-2 km/h",
        "40 mV*s/rad": "4.188790204786391 mV/rpm",
        "factor: 60 %": "factor: 0.6",
        "12 s": "0.2 min",
    }
    text = SURVEY
    for old, new in swaps.items():
        assert text.count(old) >= 1
        text = text.replace(old, new)
    assert scenario_from_text(text) == scenario_from_text(SURVEY)


def test_a_file_with_common_units_loads_without_pint_or_numpy():
    code = (
        "import sys; from scenario_samples import SURVEY; from drivesim.scenario import scenario_from_text; "
        "scenario_from_text(SURVEY); print('pint' in sys.modules, 'numpy' in sys.modules)"
    )
    env = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True)
    assert done.stdout == "False False\n"


texts = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=120)
words = st.text("aZ_09é", min_size=1, max_size=9).filter(str.isidentifier)


@given(name=texts, question=texts, wheel=words)
@settings(max_examples=100, deadline=None)
def test_any_text_comes_back(name, question, wheel):
    plain = scenario_from_text(TEXTS["two wheels"])
    places = {wheel: plain.rover.place("w0"), "no": plain.rover.place("w1")}
    rover = plain.rover.model_copy(update={"wheels": places, "name": question})
    scenario = plain.model_copy(update={"name": name, "question": question, "rover": rover})
    assert scenario_from_text(to_yaml(scenario)) == scenario


def leaves(kind, path=()):
    """Yield path and type of all numbers, words and switches that a ``change`` reaches by names alone."""
    kind_inside = bare(kind)
    if is_choice(kind_inside):
        mappings = choices(kind_inside)[1]
        kind_inside = mappings.get("speed_loop", next(iter(mappings.values())))
    if is_model(kind_inside):
        for key, field in kind_inside.model_fields.items():
            step = () if key == "all_wheels" else (key,)
            yield from leaves(field.rebuild_annotation(), path + step)
    elif path[-1] not in (
        "features",
        "patches",
        "commands",
        "overrides",
        "wheels",
        "open_circuit",
        "strategy",
        "events",
        "layers",
        "kind",
    ):
        yield path, kind


def values(kind):
    """Return a strategy for what a user may write where ``kind`` is expected."""
    unit = unit_of(kind)
    if unit:
        numbers = st.one_of(
            st.integers(0, 300), st.floats(-10, 1e4).filter(lambda x: x == 0 or abs(x) > 1e-9)
        )
        return st.builds(
            "{!r} {}".format, numbers, st.sampled_from([unit.replace("1", ""), *COMMON.get(unit, {})])
        )
    kind = bare(kind)
    if kind is bool:
        return st.booleans()
    if kind is float:
        return st.floats(0, 2000)
    if kind == tuple[Method, ...]:
        return st.lists(st.sampled_from(METHODS), max_size=3) | st.sampled_from(METHODS)
    if kind is int:
        return st.integers(-1, 60)
    if kind is str:
        return st.sampled_from(["yes", "5", "1e3", "a: b", "- #", "ä\u2028b", "é" * 200, ""])
    args = kind.__args__
    if args and isinstance(args[0], str | int):
        return st.sampled_from(args)
    return st.tuples(*(values(arg) for arg in args)).map(list)


LEAVES = sorted(leaves(Scenario), key=lambda leaf: leaf[0])


@given(
    st.lists(
        st.sampled_from(LEAVES).flatmap(lambda leaf: st.tuples(st.just(leaf[0]), values(leaf[1]))), max_size=3
    )
)
@settings(max_examples=250, deadline=None)
def test_any_change_is_refused_in_words_or_comes_back(changes):
    change = {".".join(path): value for path, value in changes}
    text = SURVEY + yaml.safe_dump({"change": change}, allow_unicode=True)
    try:
        scenario = scenario_from_text(text)
    except ScenarioError:
        scenario = None
    if scenario is not None:
        assert scenario_from_text(to_yaml(scenario)) == scenario


def test_changes_reach_all_fields():
    assert len(LEAVES) > 80
    assert ("rover", "wheel", "motor", "pole_pairs") in dict(LEAVES)


def fits(value, schema, root) -> bool:
    """Tell whether ``value`` fits ``schema``, for the few words of JSON Schema that ours uses."""
    if "$ref" in schema:
        assert schema["$ref"].startswith("#/$defs/")
        if not fits(value, root["$defs"][schema["$ref"].removeprefix("#/$defs/")], root):
            return False
    kinds = {
        "object": dict,
        "array": list,
        "string": str,
        "boolean": bool,
        "integer": int,
        "number": int | float,
    }
    kinds["null"] = type(None)
    allowed = schema.get("type", list(kinds))
    allowed = [allowed] if isinstance(allowed, str) else allowed
    if not any(
        isinstance(value, kinds[k]) and (k == "boolean" or not isinstance(value, bool)) for k in allowed
    ):
        return False
    if "const" in schema and value != schema["const"]:
        return False
    if "enum" in schema and value not in schema["enum"]:
        return False
    if "anyOf" in schema and not any(fits(value, part, root) for part in schema["anyOf"]):
        return False
    if "oneOf" in schema and sum(fits(value, part, root) for part in schema["oneOf"]) != 1:
        return False
    if isinstance(value, list):
        rows = schema.get("prefixItems", [])
        rest = schema.get("items", {})
        return all(fits(v, rows[i] if i < len(rows) else rest, root) for i, v in enumerate(value))
    if isinstance(value, dict):
        known, others = schema.get("properties", {}), schema.get("additionalProperties", True)
        if any(key not in value for key in schema.get("required", [])):
            return False
        if others is False and any(key not in known for key in value):
            return False
        rest = others if isinstance(others, dict) else {}
        return all(fits(v, known.get(key, rest), root) for key, v in value.items())
    return True


def test_json_schema_takes_what_the_loader_takes():
    schema = json_schema()
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert json.loads(json.dumps(schema)) == schema
    assert json_schema() == schema
    for text in TEXTS.values():
        assert fits(yaml.safe_load(text), schema, schema)
        assert fits(resolved(scenario_from_text(text)), schema, schema)
    by_file = {
        "name": "x",
        "duration": "1 s",
        "commands": [{"at": "0 s"}],
        "rover": "r.yaml",
        "drive": "d.yaml",
    }
    assert fits(by_file | {"ground": "g.yaml"}, schema, schema)
    assert fits({"base": "other.yaml", "change": {"rover.mass": "520 g"}}, schema, schema)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("name: under", "nam: under"),
        ("mass: 620 g", "mass: 620"),
        ("strategy: speed_loop", "strategy: sped_loop"),
        ("sensors: 1", "sensors: 2"),
        ("proportional:", "base_amplitude:"),
        ("      integral: 0.2 V/rad", "      slow: 1"),
        ("pole_pairs: 8", "pole_pairs: eight"),
        ("kind: pavers", "kind: paver"),
        ("wheel:\n", "wheels:\n"),
    ],
)
def test_json_schema_refuses_slips(old, new):
    schema = json_schema()
    assert old in SURVEY
    assert not fits(yaml.safe_load(SURVEY.replace(old, new, 1)), schema, schema)
