"""A starter folder: its files are right as written, the fifteen marks are true, names do no harm."""

from __future__ import annotations

import math
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from drivesim import load_scenario, simulate
from drivesim.errors import DrivesimError
from drivesim.scenario import starter_folder
from drivesim.scenario.starter import MEASURES, SAFETY
from drivesim.scenario.starter_choices import DRIVES, GROUNDS
from drivesim.scenario.starter_files import CHANGED, ROVER, SCENARIO, SHEET, starter_files
from drivesim.scenario.starter_folder import LONGEST_NAME, name_problem, write_starter
from drivesim.scenario.starter_sheet import sheet_html, sheet_markdown
from drivesim.scenario.variation import Template
from drivesim.units import parse

ROOT = Path(__file__).parents[2]
HOSTILE = [
    'Größe: "x" <b>&amp; #1 {a} $y @1 %s \\n',
    "- [x, y]: &a *b !c |",
    "O'Brien's, 100 %",
    "</title><script>alert(1)</script>",
    "ровер 試験 🛞",
    "null",
    "12",
    "x" * LONGEST_NAME,
]


def put(folder, files):
    for file, text in files.items():
        (folder / file).write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def starter(tmp_path_factory):
    return put(tmp_path_factory.mktemp("starter"), starter_files("r", "slab_edge", "speed_loop"))


@pytest.mark.parametrize("drive", DRIVES)
@pytest.mark.parametrize("ground", GROUNDS)
def test_every_ground_with_every_drive_loads(ground, drive, tmp_path):
    put(tmp_path, starter_files("my rover", ground, drive))
    scenario = load_scenario(tmp_path / SCENARIO)
    assert scenario.drive.all_wheels.strategy == drive
    assert scenario.name == f"my rover, {GROUNDS[ground].words}"
    changed = load_scenario(tmp_path / CHANGED)
    assert changed.rover != scenario.rover
    assert changed.rover.model_copy(update={"battery": scenario.rover.battery}) == scenario.rover


@pytest.mark.parametrize(
    ("ground", "drive", "word"),
    [
        ("slab_edge", "speed_loop", "moved"),
        ("rubble", "trimmed_frequency", "out of step"),
        ("loose_fill", "locked_frequency", "fell behind"),
        ("wet_slope", "fixed_voltage", "stuck"),
    ],
)
def test_it_runs_as_it_is(ground, drive, word, tmp_path):
    put(tmp_path, starter_files("r", ground, drive))
    run = simulate(load_scenario(tmp_path / SCENARIO))
    assert word in run.verdict
    assert not [c for c in run.summary["cautions"] if c.startswith("Never happened")]


def test_the_rover_is_not_the_shipped_one(starter):
    mine = Template(load_scenario(starter / SCENARIO))
    shipped = Template(load_scenario(ROOT / "scenarios" / "slab_edge.yaml"))
    same = [
        m.path for m in MEASURES if has(shipped, m.path) and mine.number(m.path) == shipped.number(m.path)
    ]
    assert same == ["rover.battery.cells_in_series"]


def has(template, path):
    try:
        template.number(path)
    except DrivesimError:
        return False
    return True


def test_fifteen_marks_stand_in_order_and_over_the_number_they_speak_of(starter):
    text = (starter / ROVER).read_text(encoding="utf-8")
    assert len(MEASURES) == 15
    assert re.findall(r"# measure (\d+):", text) == [str(n) for n in range(1, 16)]
    template = Template(load_scenario(starter / SCENARIO))
    blocks = re.split(r"# measure \d+: ", text)[1:]
    for measure, block in zip(MEASURES, blocks, strict=True):
        line = next(line.strip() for line in block.splitlines()[1:] if not line.strip().startswith("#"))
        key = measure.path.rpartition(".")[2]
        assert line == (f"- {measure.value}" if key.isdecimal() else f"{key}: {measure.value}")
        assert template.number(measure.path) == parse(bare(measure.value), template.unit(measure.path))
        assert measure.unit == "" or measure.value.endswith(f" {measure.unit}")


def bare(value):
    return int(value) if value.isdecimal() else float(value) if re.fullmatch(r"[\d.]+", value) else value


@pytest.mark.parametrize("number", range(1, 16))
def test_another_number_in_the_file_is_another_rover(starter, number, tmp_path):
    measure = MEASURES[number - 1]
    files = {file: (starter / file).read_text(encoding="utf-8") for file in (SCENARIO, ROVER)}
    head, mark, tail = files[ROVER].partition(f"# measure {number}: ")
    amount = measure.value.split(" ")[0]
    other = str(int(amount) + 1) if amount.isdecimal() else f"{float(amount) * 1.1:.4g}"
    at = re.search(rf"^ *[^# ].*{re.escape(measure.value)}$", tail, re.MULTILINE)
    tail = tail[: at.start()] + at[0].replace(amount, other) + tail[at.end() :]
    before = Template(load_scenario(starter / SCENARIO))
    put(tmp_path, files | {ROVER: head + mark + tail})
    after = Template(load_scenario(tmp_path / SCENARIO))
    differ = {path for path in before.numbers() if before.number(path) != after.number(path)}
    assert differ == {measure.path}


#: settings that stand behind a # in the files, to be had by taking it away
OFFERED = {
    "sliding_friction", "lug_height", "bite", "connection", "cogging_torque", "cogging_per_turn", "modulation",
    "lockout", "cells_in_parallel", "surface", "- {at", "ambient", "recovery", "events", "  - {at", "rover.mass",
    "rover.wheel.tyre.friction", "rover.battery.cells_in_series", "amplitude_per_hertz", "hold_at_standstill", "wheels",
}  # fmt: skip


def test_settings_offered_in_comments_are_settings(tmp_path):
    """Every commented-out line is right where it stands once its # is taken away."""
    line, found = (
        re.compile(rf"^( *)# ((?:{'|'.join(map(re.escape, sorted(OFFERED)))}):.*)$", re.MULTILINE),
        set(),
    )
    files = starter_files("r", "flat", "locked_frequency")
    for file in (ROVER, SCENARIO, CHANGED):
        found |= {text.split(":")[0] for _, text in line.findall(files[file])}
        files[file] = line.sub(r"\1\2", files[file])
    assert found == OFFERED
    put(tmp_path, files)
    load_scenario(tmp_path / SCENARIO)
    load_scenario(tmp_path / CHANGED)


def test_the_spin_test_gives_the_constant():
    """13.5 × mV (RMS, two leads) / rpm is the peak between two leads over rad/s, in mV*s/rad."""
    how = next(m.how for m in MEASURES if m.path.endswith("back_emf_constant"))
    factor = float(re.search(r"([\d.]+) × millivolts", how)[1])
    assert factor == pytest.approx(math.sqrt(2) * 60 / (2 * math.pi), rel=1e-3)


def test_lines_named_in_the_words_are_those_lines():
    drag, rolling = (
        1 + [m.path.rpartition(".")[2] for m in MEASURES].index(k) for k in ("dry", "rolling_resistance")
    )
    assert f"line {drag}." in MEASURES[rolling - 1].how
    assert f"line {rolling}" in MEASURES[drag - 1].wrong
    assert "resistance of one cell" in MEASURES[int(re.search(r"line (\d+)", SAFETY[0])[1]) - 1].words


class Sheet(HTMLParser):
    """What a reader of the page meets."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.text, self.rows, self._row = [], [], [], None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_data(self, data):
        self.text.append(data)
        if self.rows and self.rows[-1]:
            self.rows[-1][-1] += data


def test_the_sheet_can_be_read_by_anyone():
    page = Sheet(sheet_html("my rover"))
    tags = dict(page.tags)
    assert tags["html"]["lang"] == "en"
    assert "title" in tags
    assert "caption" in tags
    scopes = [attrs.get("scope") for tag, attrs in page.tags if tag == "th"]
    assert scopes == ["col"] * 6 + ["row"] * 15
    assert not {"script", "img", "link"} & {tag for tag, _ in page.tags}
    numbers = [row[0] for row in page.rows[1:]]
    assert numbers == [str(n) for n in range(1, 16)]
    assert all(row[3] == "\xa0" for row in page.rows[1:]), "a blank to write in"
    for measure, row in zip(MEASURES, page.rows[1:], strict=True):
        assert measure.words in row[1]
        assert measure.how in row[2]
        assert row[5].splitlines()[0] == measure.value


@pytest.mark.parametrize("name", HOSTILE)
def test_no_name_does_harm(name, tmp_path):
    put(tmp_path, starter_files(name, "flat", "speed_loop"))
    scenario = load_scenario(tmp_path / SCENARIO)
    assert scenario.name == f"{name}, flat floor"
    assert scenario.rover.name == name
    assert load_scenario(tmp_path / CHANGED).name.startswith(name)
    page = Sheet((tmp_path / SHEET).read_text(encoding="utf-8"))
    assert f"{name}: fifteen numbers to measure" in page.text
    assert [tag for tag, _ in page.tags] == [tag for tag, _ in Sheet(sheet_html("r")).tags]


@pytest.mark.parametrize(
    "name",
    [
        "",
        ".",
        "..",
        "-x",
        " x",
        "x ",
        "a\nb",
        "a\0b",
        "\x7f",
        "a\u2028b",
        "\ud800",
        "\uffff",
        "a\u202eb",
        "x" * 61,
    ],
)
def test_names_that_cannot_be_are_told_in_a_line(name):
    assert name_problem(name)
    assert name_problem(name).isprintable()


def test_nothing_half_written_stays(tmp_path, monkeypatch):
    def fails(name, ground, drive):
        return starter_files(name, ground, drive) | {"missing/file": ""}

    monkeypatch.setattr(starter_folder, "starter_files", fails)
    with pytest.raises(DrivesimError, match="cannot be written"):
        write_starter(tmp_path / "mine", "flat", "speed_loop")
    assert list(tmp_path.iterdir()) == []


def test_what_was_there_stays(tmp_path, monkeypatch):
    folder = tmp_path / "mine"
    write_starter(folder, "flat", "speed_loop")
    (folder / ROVER).write_text("my numbers", encoding="utf-8")
    with pytest.raises(DrivesimError, match="exists already"):
        write_starter(folder, "flat", "speed_loop")
    assert (folder / ROVER).read_text(encoding="utf-8") == "my numbers"
    kept = write_starter(folder, "ramp", "speed_loop", force=True).kept
    assert (kept / ROVER).read_text(encoding="utf-8") == "my numbers"
    again = write_starter(folder, "ramp", "speed_loop", force=True).kept
    assert again != kept
    (tmp_path / "thesis").mkdir()
    with pytest.raises(DrivesimError) as refused:
        write_starter(tmp_path / "thesis", "flat", "speed_loop")
    assert "--force" not in str(refused.value)
    with pytest.raises(DrivesimError, match="a file stands where a folder is needed"):
        write_starter(folder / ROVER / "inside", "flat", "speed_loop")
    with pytest.raises(DrivesimError, match="left alone"):
        write_starter(tmp_path / "thesis", "flat", "speed_loop", force=True)
    monkeypatch.setattr(Path, "rename", stumbling(Path.rename))
    before = sorted(p.name for p in tmp_path.iterdir())
    with pytest.raises(DrivesimError, match="cannot be written"):
        write_starter(folder, "flat", "speed_loop", force=True)
    assert sorted(p.name for p in tmp_path.iterdir()) == before
    assert "ramp" in (folder / SCENARIO).read_text(encoding="utf-8")


def stumbling(rename):
    def stumble(self, target):
        if self.name.startswith(".new-"):
            raise PermissionError(13, "not allowed")
        return rename(self, target)

    return stumble


def test_the_manual_has_the_same_sheet():
    page = ROOT / "docs" / "sheet.md"
    assert page.read_text(encoding="utf-8") == sheet_markdown(), (
        "stale: python -m drivesim.scenario.starter_sheet > docs/sheet.md"
    )
