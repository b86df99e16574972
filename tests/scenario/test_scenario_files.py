"""Scenarios made of several files: includes, base, change, and the files of the ground."""

import os

import pytest
from scenario_samples import DRIVE, GROUND, HEAD, PLAIN, ROVER, SURVEY, TYRE

from drivesim.errors import ScenarioError
from drivesim.scenario import load_scenario, scenario_from_text, to_yaml


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """Change into a folder with a scenario whose parts lie in files."""
    monkeypatch.chdir(tmp_path)
    write(
        "survey.yaml",
        HEAD + "drive: drives/loop.yaml\nground: grounds/slabs.yaml\nrover: rovers/surveyor.yaml\n",
    )
    write("drives/loop.yaml", DRIVE)
    write("grounds/slabs.yaml", GROUND)
    write("rovers/surveyor.yaml", ROVER)
    return tmp_path


def write(name: str, text: str | bytes) -> None:
    os.makedirs(os.path.dirname(name) or ".", exist_ok=True)
    with open(name, "wb") as file:
        file.write(text if isinstance(text, bytes) else text.encode())


def mistakes(name: str) -> list[str]:
    with pytest.raises(ScenarioError) as caught:
        load_scenario(name)
    return list(caught.value.problems)


def test_parts_in_files_equal_the_whole_in_one(folder):
    whole = scenario_from_text(SURVEY)
    assert load_scenario("survey.yaml") == whole
    assert load_scenario(folder / "survey.yaml") == whole
    write("bom.yaml", b"\xef\xbb\xbf" + SURVEY.replace("\n", "\r\n").encode())
    assert load_scenario("bom.yaml") == whole


def test_files_inside_files_are_relative_to_the_file_that_names_them(folder):
    start, end = ROVER.index("  tyre:\n"), ROVER.index("  bearing:\n")
    write("rovers/surveyor.yaml", ROVER[:start] + "  tyre: ../tyres/plain.yaml\n" + ROVER[end:])
    write("tyres/plain.yaml", TYRE)
    assert load_scenario("survey.yaml") == scenario_from_text(SURVEY)
    write("tyres/plain.yaml", TYRE.replace("18 N", "18"))
    assert mistakes("survey.yaml") == [
        "tyres/plain.yaml:2: rover.wheel.tyre.slip_stiffness: found the bare number 18, a unit is needed; "
        "write it like '25 N'"
    ]


def test_a_key_missing_in_a_file_is_told_of_that_file(folder):
    write("rovers/surveyor.yaml", ROVER.replace("mass: 620 g\n", ""))
    assert mistakes("survey.yaml") == [
        "rovers/surveyor.yaml:1: rover.mass: is missing; give a quantity such as '180 g'"
    ]


def test_files_that_cannot_be_read(folder):
    write("grounds/slabs.yaml", b"name: \xff\n")
    write("drives/loop.yaml", "- 1\n")
    os.rename("rovers/surveyor.yaml", "rovers/surveyer.yaml")
    assert mistakes("survey.yaml") == [
        "survey.yaml:15: rover: found 'rovers/surveyor.yaml', no such file; did you mean 'surveyer.yaml'?",
        "grounds/slabs.yaml:1: ground: the file is not UTF-8 text",
        "drives/loop.yaml:1: drive: found a list, needed: keys and values (key: value)",
    ]
    assert mistakes("surve.yaml") == ["surve.yaml:1: no such file; did you mean 'survey.yaml'?"]
    assert mistakes("rovers") == ["rovers:1: which is a folder; a file is needed"]
    assert mistakes("sur\0vey") == ["sur\\x00vey:1: which cannot be read: embedded null byte"]
    os.mkfifo("pipe.yaml")
    assert mistakes("pipe.yaml") == ["pipe.yaml:1: which is not an ordinary file"]
    write("large.yaml", b"# " + b"x" * 1_000_000)
    assert "larger than the 1 MB" in mistakes("large.yaml")[0]


def test_base_gives_what_the_file_lacks(folder):
    write("slower.yaml", "base: survey.yaml\nname: slower\ncommands: [{at: 0 s, forward: 5 cm/s}]\n")
    slower, survey = load_scenario("slower.yaml"), load_scenario("survey.yaml")
    assert (slower.name, slower.commands[0].forward) == ("slower", 0.05)
    assert (slower.rover, slower.drive, slower.ground) == (survey.rover, survey.drive, survey.ground)
    write("bare.yaml", "base: survey.yaml\nground: {length: 5 m}\n")
    assert load_scenario("bare.yaml").ground.features == ()  # top keys are replaced whole


def test_changes_reach_every_depth(folder):
    write("tyres/spiked.yaml", TYRE.replace("0.8", "1.1"))
    write(
        "changed.yaml",
        "base: survey.yaml\nchange:\n  rover.mass: 520 g\n  drive.integral: 2 V/rad\n"
        "  drive.overrides.front_left.slew: 9 rad/s^2\n  rover.wheels.front_right.drop: 3 mm\n"
        "  ground.features.0.height: 12 mm\n  ground.features.1: {kind: step, at: 2 m, height: -1 cm}\n"
        "  rover.wheel.tyre: tyres/spiked.yaml\n  rover.wheel.tyre.slip_stiffness: 20 N\n"
        "  commands.1.at: 9 s\n  link.latency: 30 ms\n  seed: 8\n",
    )
    s = load_scenario("changed.yaml")
    assert (s.rover.mass, s.seed, s.link.latency, s.commands[1].at) == (0.52, 8, 0.03, 9.0)
    assert (s.drive.all_wheels.integral, s.drive.overrides["rear_left"].integral) == (2.0, 0.2)
    assert (s.drive.for_wheel("front_left").slew, s.drive.for_wheel("front_left").integral) == (9.0, 2.0)
    assert s.rover.place("front_right").drop == 0.003
    assert (s.ground.features[0].height, s.ground.features[1].kind) == (0.012, "step")
    assert (s.rover.wheel.tyre.friction, s.rover.wheel.tyre.slip_stiffness) == (1.1, 20.0)


def test_changes_of_the_base_come_first(folder):
    write("first.yaml", "base: survey.yaml\nchange: {rover.mass: 1 kg, seed: 3}\n")
    write("second.yaml", "base: first.yaml\nchange: {rover.mass: 2 kg}\n")
    second = load_scenario("second.yaml")
    assert (second.rover.mass, second.seed) == (2.0, 3)


def test_a_change_leaves_other_aliases_alone():
    text = PLAIN + "ground: {features: [&b {kind: bumps, start: 1 m, radius: 3 mm}, *b]}\n"
    s = scenario_from_text(text + "change: {ground.features.1.radius: 9 mm}\n")
    assert [bump.radius for bump in s.ground.features] == [0.003, 0.009]


#: a wrong change, the field told, and the words; each stands on the line after the scenario
WRONG_CHANGES = [
    ("rover.mas: 5 g", "rover.mas", "unknown key; did you mean 'mass'?"),
    ("rovr.mass: 5 g", "rovr", "unknown key; did you mean 'rover'?"),
    ("rover.mass: 520", "rover.mass", "bare number 520"),
    ("rover.mass.value: 520 g", "rover.mass", "nothing can be changed inside it"),
    (
        "ground.features.7.height: 1 mm",
        "ground.features",
        "found the place '7' of this list, allowed: 0 to 1",
    ),
    ("ground.features.first: 1 mm", "ground.features", "found the place 'first' of this list"),
    (
        "drive.overrides.rear_left.strategy: slow",
        "drive.overrides.rear_left.strategy",
        "found 'slow'; allowed:",
    ),
    ("rover.wheel.tyre: no.yaml", "rover.wheel.tyre", "found 'no.yaml', no such file"),
    ("a..b: 5", "change", "found 'a..b', needed: a dotted path"),
    (f"{'a.' * 50}b: 5", "change", "needed: a dotted path"),
    ("base: x.yaml", "change", "needed: a dotted path"),
]


@pytest.mark.parametrize(("change", "field", "words"), WRONG_CHANGES, ids=lambda value: value[:20])
def test_wrong_changes(change, field, words):
    with pytest.raises(ScenarioError) as caught:
        scenario_from_text(f"{SURVEY}change:\n  {change}\n")
    (told,) = caught.value.problems
    assert told.startswith(f"<text>:80: {field}: ")
    assert words in told


def test_loops_and_chains_are_refused(folder):
    write("a.yaml", "base: sub/../b.yaml\n")
    write("b.yaml", "name: b\nbase: a.yaml\n")
    os.mkdir("sub")
    assert mistakes("a.yaml") == [
        "b.yaml:2: base: these files include each other without end: a.yaml → b.yaml → a.yaml"
    ]
    write("rovers/surveyor.yaml", "wheel: surveyor.yaml\n")
    (told,) = [problem for problem in mistakes("survey.yaml") if "without end" in problem]
    assert told.startswith("rovers/surveyor.yaml:1: rover.wheel: ")
    for i in range(15):
        write(f"c{i}.yaml", f"base: c{i + 1}.yaml\n")
    (told,) = mistakes("c0.yaml")
    assert told.startswith("c10.yaml:1: base: more than 10 files deep: c0.yaml → c1.yaml")


def test_too_many_files_are_refused(folder):
    parts = ("tyre", "bearing", "motor", "winding", "driver", "battery")
    for part in parts:
        write(f"{part}.yaml", "a: 1\n")
    wheel = "".join(f"    {part}: {part}.yaml\n" for part in parts[:5])
    for i in range(9):
        write(f"d{i}.yaml", f"base: d{i + 1}.yaml\nrover:\n  battery: battery.yaml\n  wheel:\n{wheel}")
    write("d9.yaml", HEAD)
    assert any("more than the 50 files allowed for one scenario" in told for told in mistakes("d0.yaml"))


def test_ground_files_are_found_beside_the_file_that_names_them(folder):
    profile = "features:\n  - {kind: profile, file: floor.csv}\n"
    write("grounds/slabs.yaml", profile + "  - {kind: height_map, file: map.csv, spacing: 1 cm}\n")
    told = mistakes("survey.yaml")
    assert told == [
        "grounds/slabs.yaml:2: ground.features.0.file: found 'floor.csv', no such file",
        "grounds/slabs.yaml:3: ground.features.1.file: found 'map.csv', no such file",
    ]
    write("grounds/floor.csv", "x [m], z [mm]\n0, 0\n1, 2\n")
    write("grounds/maps.csv", "0, 0\n0, 0\n")
    (told,) = mistakes("survey.yaml")
    assert told.endswith("found 'map.csv', no such file; did you mean 'maps.csv'?")
    os.rename("grounds/maps.csv", "grounds/map.csv")
    s = load_scenario("survey.yaml")
    assert s.ground.features[0].file == str(folder / "grounds" / "floor.csv")
    assert scenario_from_text(to_yaml(s), folder="elsewhere") == s


def test_a_huge_ground_file_is_refused(folder):
    with open("big.csv", "wb") as file:
        file.truncate(300_000_000)  # takes no room on the disk
    text = PLAIN + "ground: {features: [{kind: profile, file: big.csv}]}\n"
    with pytest.raises(ScenarioError, match=r"big\.csv', which has 300 MB, allowed: at most 200 MB"):
        scenario_from_text(text, folder=folder)


def test_text_names_files_relative_to_its_folder(folder):
    text = HEAD + "drive: loop.yaml\nrover: ../rovers/surveyor.yaml\n"
    assert scenario_from_text(text, folder=folder / "drives").rover.mass == 0.62


@pytest.mark.parametrize(
    ("name", "part", "line"),
    [
        ("rovers/surveyor.yaml", "rover", 1),
        ("drives/loop.yaml", "drive", 1),
        ("grounds/slabs.yaml", "ground", 1),
    ],
)
def test_a_part_given_as_a_scenario_gets_one_line(folder, name, part, line):
    text = f"this looks like a {part} file; a scenario names it under {part}:"
    assert mistakes(name) == [f"{name}:{line}: {text}"]
    write("on_it.yaml", f"base: {name}\nname: on it\n")
    assert mistakes("on_it.yaml") == [f"{name}:{line}: {text}"]
    write("typo.yaml", (folder / name).read_text() + "colour: red\n")
    assert mistakes("typo.yaml") == [f"typo.yaml:{line}: {text}"]


def test_a_tyre_given_as_a_scenario_is_told_its_whole_place(folder):
    write("tyre.yaml", TYRE)
    assert mistakes("tyre.yaml") == [
        "tyre.yaml:1: this looks like a tyre file; a scenario names it under rover.wheel.tyre:"
    ]


def test_a_base_that_is_part_of_a_scenario_is_one(folder):
    """Names, a ground and surroundings alone, and a scenario without a rover, are not taken for a part."""
    write("part.yaml", "name: hall\nambient: 5 degC\nground: {length: 2 m}\n")
    write(
        "whole.yaml",
        "base: part.yaml\n"
        + SURVEY.replace(HEAD[: HEAD.index("duration")], "").replace("ambient: 18 degC\n", ""),
    )
    assert (load_scenario("whole.yaml").name, load_scenario("whole.yaml").ambient) == ("hall", 5.0)
    write("short.yaml", "name: x\nduration: 2 s\nmass: 3 kg\nwheel: wheel.yaml\nbattery: battery.yaml\n")
    assert any("rover: is missing" in told for told in mistakes("short.yaml"))
