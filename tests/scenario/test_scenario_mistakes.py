"""Each mistake in a scenario gets one line with its file, line, field and what would be right."""

import pickle
import re
from pathlib import Path

import pytest
from scenario_samples import PLAIN, SURVEY

from drivesim.errors import DrivesimError, ScenarioError
from drivesim.scenario import scenario_from_text
from drivesim.scenario.problems import MOST_SHOWN

SHELF = Path(__file__).parents[2] / "scenarios"

LINE = re.compile(r"[^\n:]+:[1-9]\d*: \S.*")


def mistakes(text: str, folder: str = ".") -> list[str]:
    """Return the lines that ``text`` earns, after checking their form."""
    with pytest.raises(ScenarioError) as caught:
        scenario_from_text(text, folder, name="survey.yaml")
    for problem in caught.value.problems:
        assert LINE.fullmatch(problem), problem
        assert problem.isprintable()
    return list(caught.value.problems)


def changed(old: str, new: str, text: str = SURVEY) -> str:
    assert old in text
    return text.replace(old, new, 1)


MASS, BOX, CONSTANT = "mass: 620 g", "box: [180 mm, 140 mm, 60 mm]", "flux_linkage: 1.67 mWb"
OVERRIDE = "    rear_left:\n      integral: 0.2 V/rad"
CELLS = "capacity: 800 mAh"

#: what is written, what is written instead, and line, field and words of the one problem it makes
TABLE = [
    (MASS, "mass: 620 mm", 44, "rover.mass", "'mm' is not a unit of this kind; write it like '180 g'"),
    (MASS, "mass: 620 gramms", 44, "rover.mass", "unit 'gramms' is not known"),
    (MASS, "mass: 620", 44, "rover.mass",
     "found the bare number 620, a unit is needed; write it like '180 g'"),
    (MASS, "mass: 0 g", 44, "rover.mass", "found '0 g', allowed: more than 0 kg"),
    (MASS, "mass: -3 g", 44, "rover.mass", "found '-3 g', allowed: more than 0 kg"),
    (MASS, "mass: .nan", 44, "rover.mass", "found '.nan', which is not a number and a unit"),
    (MASS, "mass: .inf kg", 44, "rover.mass", "found '.inf kg'"),
    (MASS, "mass: 1e300 kg", 44, "rover.mass", "too large to be meant"),
    (MASS, "mass: 6,2 g", 44, "rover.mass", "decimals have a point, not a comma"),
    (MASS, "mass: yes", 44, "rover.mass", "found 'yes', which is not a number and a unit"),
    (MASS, "mass: [620 g]", 44, "rover.mass", "found a list, a quantity is needed"),
    (MASS, "mass:", 44, "rover.mass", "found nothing, a quantity is needed"),
    (MASS, f"{MASS}\n  {MASS}", 45, "rover.mass", "stands here twice, first on line 44"),
    (f"  {MASS}\n", "", 42, "rover.mass", "is missing; give a quantity such as '180 g'"),
    (MASS, f"{MASS}\n  colour: red", 45, "rover.colour", "unknown key; allowed: mass, wheel, battery, name"),
    (BOX, "inertia: [1 g*m^2, 1 g*m^2, 9 g*m^2]", 45, "rover.inertia", "largest moment"),
    (BOX, f"{BOX}\n  inertia: [1 g*m^2, 1 g*m^2, 1 g*m^2]", 46, "rover.inertia",
     "found both; give exactly one"),
    (f"  {BOX}\n", "", 42, "rover", "found neither; give exactly one of box, inertia"),
    (BOX, "box: [180 mm, 140 mm]", 45, "rover.box", "too few values; needed: [35 mm, 35 mm, 35 mm]"),
    (BOX, "box: [1 mm, 1 mm, 1 mm, 1 mm]", 45, "rover.box", "found 4 values, allowed: at most 3"),
    (BOX, "box:\n    - 180 mm\n    - 140\n    - 6 mm", 47, "rover.box.1", "bare number 140"),
    ("  wheelbase: 130 mm\n", "", 46, "rover.track", "wheelbase and track go together"),
    ("front_left: {drop", "front_lft: {drop", 73, "rover.wheels.front_lft", "did you mean 'front_left'?"),
    ("friction: 0.8", "friction: yes", 53, "rover.wheel.tyre.friction", "write it like '0.8 or 80 %'"),
    ("friction: 0.8", "friction: 1e999", 53, "rover.wheel.tyre.friction", "a finite number is needed"),
    ("viscous: 2 uN*m*s/rad", "viscous: 2 1/Hz", 60, "rover.wheel.bearing.viscous",
     "not a unit of this kind"),
    (CONSTANT, f"{CONSTANT}\n      speed_constant: 900 rpm/V", 66, "rover.wheel.motor.speed_constant",
     "disagrees with flux_linkage: they mean 0.7657 and 1.67 mWb"),
    (f"      {CONSTANT}\n", "", 61, "rover.wheel.motor", "found no motor constant; give one of flux_linkage"),
    ("pole_pairs: 8", "pole_pairs: 0", 62, "rover.wheel.motor.pole_pairs",
     "found 0, allowed: at least 1 and at most 200"),
    ("pole_pairs: 8", "pole_pairs: true", 62, "rover.wheel.motor.pole_pairs",
     "found true, needed: a whole number"),
    ("modulation: space_vector", "modulation: space-vector", 70, "rover.wheel.driver.modulation",
     "found 'space-vector'; did you mean 'space_vector'? allowed: sine, space_vector, six_step"),
    (CELLS, f"{CELLS}\n    open_circuit: [[0, 3 V], [0.5, 2 V], [1, 4 V]]", 78,
     "rover.battery.open_circuit.1", "must rise"),
    (CELLS, f"{CELLS}\n    state_of_charge: 110 %", 78, "rover.battery.state_of_charge",
     "found '110 %', allowed: more than 0 and at most 1"),
    ("strategy: speed_loop", "strategy: sped_loop", 14, "drive.strategy",
     "did you mean 'speed_loop'? allowed: speed_loop, lo"),
    ("  strategy: speed_loop\n", "", 13, "drive.strategy",
     "is missing; allowed: speed_loop, locked_frequency"),
    ("integral: 0.4 V/rad", "integral: 0.4 V", 16, "drive.integral", "write it like '0.4 V/rad'"),
    ("integral: 0.4 V/rad", "intgral: 0.4 V/rad\n  integral: 0 V/rad", 16, "drive.intgral",
     "did you mean 'integral'?"),
    ("sample_time: 2 ms", "sample_time: 2 ms\n  all_wheels: {}", 18, "drive.all_wheels",
     "unknown key; allowed: strategy"),
    ("sensors: 1", "sensors: 2", 21, "drive.sensor.sensors", "found 2; allowed: 1, 3"),
    ("sensors: 1", "sensors: true", 21, "drive.sensor.sensors", "found true; allowed: 1, 3"),
    ("rear_left:", "rear_lef:", 23, "drive.overrides.rear_lef",
     "did you mean 'rear_left'? allowed: front_left"),
    (OVERRIDE, f"{OVERRIDE}\n      slow: 3", 25, "drive.overrides.rear_left.slow",
     "unknown key; did you mean 'slew'?"),
    (OVERRIDE, "    rear_left:\n      strategy: locked_frequency", 23,
     "drive.overrides.rear_left.base_amplitude", "is missing"),
    (OVERRIDE, "    rear_left:\n      strategy: locked_frequency\n      base_amplitude: 0 V", 25,
     "drive.overrides.rear_left.base_amplitude", "is zero as well as amplitude_per_hertz"),
    (OVERRIDE, "    rear_left: 5", 23, "drive.overrides.rear_left",
     "found 5, needed: a mapping with 'strategy'"),
    ("at: 0 s", "at: 9 s", 10, "commands.1.at", "commands must come in the order of their times"),
    ("left: 4 rad/s, ", "", 10, "commands.1.right", "left and right go together"),
    ("left: 4 rad/s", "left: 4 Hz", 10, "commands.1.left",
     "'Hz' is not a unit of this kind; write it like '40 deg/s'"),
    ("forward: 0.15 m/s", "forward: 0.15 m/s, left: 1 rad/s", 9, "commands.0.left", "found both forms"),
    ("x: 0 m, heading", "x: 5 m, heading", 5, "start", "front_left at x = 5.06 m, y = 0.0804 m"),
    ("record_every: 20 ms", "record_every: 10 us", 7, "record_every",
     "would need 1.2 GB, allowed: at most 0.48 GB"),
    ("kind: pavers", "kind: paver", 30, "ground.features.0.kind",
     "did you mean 'pavers'? allowed: ramp, step"),
    ("slope: 12 deg", "slope: 88 deg", 37, "ground.features.1.slope", "allowed: at most 80 deg"),
    ("end: 2.5 m", "end: 1 m", 37, "ground.features.1.end", "must lie beyond start"),
    ("{kind: ramp, start: 2 m, end: 2.5 m, slope: 12 deg}", "{kind: profile, file: no.csv}", 37,
     "ground.features.1.file", "found 'no.csv', no such file"),
    ("{kind: ramp, start: 2 m, end: 2.5 m, slope: 12 deg}", "{kind: profile, file: .}", 37,
     "ground.features.1.file", "which is a folder"),
    ("{kind: ramp, start: 2 m, end: 2.5 m, slope: 12 deg}", "{kind: roughness, start: 2 m}", 37,
     "ground.features.1", "give exactly one of iso_class, unevenness, rms"),
    ("x: [1 m, 1.4 m]", "x: [2 m, 1.4 m]", 39, "ground.patches.0.x", "from < to"),
    ("tries: 2", "tries: '2'", 12, "recovery.tries", "found '2', needed: a whole number"),
    ("seed: 7", "seed: 7.0", 4, "seed", "found 7.0, needed: a whole number"),
    ("name: under the hall floor", "name: 5", 1, "name", "found 5, needed: text; write it in quotes"),
    ("name: under the hall floor", "name: ''", 1, "name", "found 0 characters, allowed: at least 1"),
    ("seed: 7", "seed: !!python/object/apply:os.system [ls]", 4, "seed", "tags are not used here"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "line", "field", "words"), TABLE, ids=lambda value: str(value)[:30])
def test_one_mistake(old, new, line, field, words):
    start = f"survey.yaml:{line}: {field}: "
    told = mistakes(changed(old, new))
    assert any(problem.startswith(start) and words in problem for problem in told), told
    assert len(told) <= 2  # the other one follows from the first: an unknown key where one is missing


#: texts that cannot be read as one YAML mapping
UNREADABLE = [
    ("", 1, "the file is empty"),
    ("# only a remark\n", 1, "the file is empty"),
    ("- 1\n", 1, "found a list, needed: keys and values"),
    ("hello", 1, "found 'hello', needed: keys and values"),
    ("rover:\n\tmass: 3 g\n", 2, "a tab indents this line"),
    ("name: a: b\n", 1, "a second ':' in this line"),
    ("seed: 1\nname: 'x\n", 3, "a quote is opened and never closed (in what begins on line 2)"),
    ("commands: [1\nname: 2\n", 2, "did not find expected ',' or ']' (in what begins on line 1)"),
    ("name: a\n---\nname: b\n", 2, "a second document begins here"),
    ("[a]: 1\n", 1, "a key must be a word"),
    ("name: *x\n", 1, "the alias *x has no anchor"),
    ("name: &x [*x]\n", 1, "stands inside itself"),
    ("name: a\nquestion: \x07\n", 2, "found the character '\\x07'"),
    ("name: \ud800\n", 1, "found the character '\\ud800'"),
    ("a: " + "[" * 60, 1, "nested more than the 40 levels"),
    ("a:\n" + "".join(f"- {i}\n" for i in range(50_000)), 50_000, "more than the 50000 values"),
    ("a: " + "x" * 1_000_000, 1, "larger than the 1 MB allowed"),
]


@pytest.mark.parametrize(("text", "line", "words"), UNREADABLE, ids=lambda value: repr(value)[:30])
def test_unreadable_text(text, line, words):
    (told,) = mistakes(text)
    assert told.startswith(f"survey.yaml:{line}: ")
    assert words in told


def test_alias_bomb_is_refused_before_it_grows():
    bomb = "a: &a [1, 1, 1, 1, 1, 1, 1, 1, 1]\n"
    for before, name in zip("abcdefghijkl", "bcdefghijklm", strict=True):
        bomb += f"{name}: &{name} [{', '.join(['*' + before] * 9)}]\n"
    (told,) = mistakes(bomb)
    assert "more than the 50000 values allowed (repeats by alias count too)" in told


def test_keys_that_are_no_words():
    told = mistakes("5: 1\n~: 2\ntrue: 3\n<<: {a: 1}\n")
    assert "survey.yaml:4: merging with '<<' is not done here; use base, includes or aliases" in told
    for line, found in enumerate(("5", "~", "true"), start=1):
        assert (
            f"survey.yaml:{line}: found {found} as a key, allowed: words; if it is a name, quote it" in told
        )


def test_all_mistakes_are_told_at_once_in_the_order_of_lines():
    text = changed(
        MASS, "mass: 620", changed("integral: 0.4 V/rad", "integral: 3", changed("seed: 7", "seed: x"))
    )
    assert [problem.split(":")[1] for problem in mistakes(text)] == ["4", "16", "44"]


def test_a_mistake_in_the_common_drive_is_told_once():
    told = mistakes(
        changed("sample_time: 2 ms", "sample_time: 2", changed(OVERRIDE, OVERRIDE + "\n    front_left: {}"))
    )
    assert told == [
        "survey.yaml:17: drive.sample_time: found the bare number 2, a unit is needed; write it like '20 ms'"
    ]


def test_a_long_list_is_cut():
    told = mistakes(PLAIN + "".join(f"k{i}: 1\n" for i in range(100)))
    assert len(told) == MOST_SHOWN + 1
    assert told[-1].endswith(": and 80 more")


def test_several_rules_of_the_whole_are_told_together():
    text = changed(
        "rear_left:",
        "rear_lef:",
        changed("x: 0 m, heading", "x: 5 m, heading", changed("at: 0 s", "at: 9 s")),
    )
    assert [problem.split(": ")[1] for problem in mistakes(text)] == [
        "start",
        "commands.1.at",
        "drive.overrides.rear_lef",
    ]


def test_messages_stay_on_one_line_whatever_is_written():
    told = mistakes(changed(MASS, r'mass: "6\n\x1b[31m\u2028g"' + "\n  'od\td\u00a0key': 1"))
    assert any("'6 \\x1b[31m g'" in problem for problem in told)


def test_errors_can_be_rebuilt_from_their_args():
    error = ScenarioError("a:1: x", "b:2: y")
    for copy in (type(error)(*error.args), pickle.loads(pickle.dumps(error))):
        assert (copy.problems, str(copy)) == (error.problems, "a:1: x\nb:2: y")
    assert isinstance(error, DrivesimError)


@pytest.mark.parametrize(
    ("field", "value"), [("ambient", "-90 degC"), ("rover.wheel.motor.resistance_at", "-240 degC")]
)
def test_copper_that_would_have_no_resistance_left_is_refused(field, value):
    """R·(1 + α·(T − 20)) must stay positive: with α = 0.01/K below -75 degC, with copper's below -222 degC."""
    text = (SHELF / "bench_start.yaml").read_text(encoding="utf-8")
    change = {"rover.wheel.winding.temperature_coefficient": "0.01 1/K", field: value}
    text += "change: {" + ", ".join(f"{path}: {words}" for path, words in change.items()) + "}\n"
    with pytest.raises(ScenarioError, match=f"{field}: found .*no resistance left"):
        scenario_from_text(text, SHELF)
