"""Whatever is in a file, the loader answers with a scenario or with lines that name file and line."""

import pickle
import re

import pytest
import yaml
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scenario_samples import SURVEY, WIDE

from drivesim.errors import ScenarioError
from drivesim.scenario import load_scenario, scenario_from_text, yaml_lines

LINE = re.compile(r"[^\n]+:[1-9]\d*: \S.*")


def answered(load, source) -> None:
    """Check that ``load`` gives a scenario or well-formed problems."""
    try:
        load(source)
    except ScenarioError as error:
        problems, copy = error.problems, pickle.loads(pickle.dumps(error))
    else:
        return
    assert copy.problems == problems
    assert 0 < len(problems) <= 21
    for problem in problems:
        assert LINE.fullmatch(problem)
        assert problem.isprintable()
        assert not re.search(r"all_wheels\.|Input should|\[type=|Value error", problem)


@given(data=st.binary(max_size=400))
@example(data=b"\xef\xbb\xbf\xef\xbb\xbfname: 1")
@example(data=b"\xff\xfen\x00a\x00")
@settings(max_examples=200, deadline=None)
def test_any_bytes(tmp_path_factory, data):
    path = tmp_path_factory.getbasetemp() / "fuzz.yaml"
    path.write_bytes(data)
    answered(load_scenario, path)


@given(
    text=st.text(max_size=200) | st.text("abc:-[]{}&*!|>'\"#%@`,?~<=. \t\n\r\u2028\ufeff0123", max_size=80)
)
@settings(max_examples=400, deadline=None)
def test_any_text(text):
    answered(scenario_from_text, text)


LINES = WIDE.splitlines()
WORDS = sorted(
    {
        *re.findall(r"[^\s,:\[\]{}]+", WIDE),
        *("", "~", "-1 m", "0", "1e999", "{}", "[]", "[[1 m]]", "&a [*a]", "true", "{a: 1}", "0x1F", "1:30"),
        *("!!set {a}", "9" * 400, "1 m**9**9**9", "-0 kg", "2001-01-01"),
    }
)
STEPS = [*WORDS, "0", "1", "rover", "wheel", "ground", "features", "drive", "overrides"]
PLACES = st.integers(0, len(LINES) - 1)


def mended(lines: list[str], what: str, i: int, j: int, word: str) -> None:
    """Do one thing to the lines that a hurried user might do."""
    i, j = i % len(lines), j % len(lines)
    key, colon, _ = lines[i].partition(": ")
    match what:
        case "delete" if len(lines) > 1:
            del lines[i]
        case "double":
            lines.insert(j, lines[i])
        case "swap":
            lines[i], lines[j] = lines[j], lines[i]
        case "indent":
            lines[i] = "  " + lines[i]
        case "value":
            lines[i] = key + colon + word
        case "key":
            lines[i] = lines[i].replace(key.strip(" -{"), word, 1)
        case "take":
            lines[i] = key + colon + lines[j].partition(": ")[2]
        case _:
            lines[i] = word


ACTS = ("delete", "double", "swap", "indent", "value", "key", "take", "line")
MENDS = st.tuples(st.sampled_from(ACTS), PLACES, PLACES, st.sampled_from(WORDS))


@given(mends=st.lists(MENDS, min_size=1, max_size=4))
@settings(max_examples=500, deadline=None)
def test_any_slip_of_the_hand(mends):
    lines = list(LINES)
    for mend in mends:
        mended(lines, *mend)
    answered(scenario_from_text, "\n".join(lines))


SCALARS = (st.none() | st.booleans() | st.integers() | st.floats() | st.dates() | st.binary(max_size=5)
           | st.text(max_size=20) | st.sampled_from(WORDS))  # fmt: skip
KEYS = st.sampled_from(WORDS) | st.text(max_size=8) | st.integers(0, 9)
TREES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=20,
)
TOP = (
    "name",
    "rover",
    "ground",
    "drive",
    "commands",
    "duration",
    "start",
    "recovery",
    "change",
    "base",
    "link",
    "events",
)


@given(top=st.dictionaries(st.sampled_from(TOP), TREES, min_size=1), rest=st.booleans())
@settings(max_examples=300, deadline=None)
def test_any_nested_data(top, rest):
    data = (yaml.safe_load(SURVEY) if rest else {}) | top
    answered(scenario_from_text, yaml.safe_dump(data, allow_unicode=True))


@given(path=st.lists(st.sampled_from(STEPS), max_size=5).map(".".join), value=TREES)
@settings(max_examples=300, deadline=None)
def test_any_change(path, value):
    answered(scenario_from_text, SURVEY + yaml.safe_dump({"change": {path: value}}, allow_unicode=True))


@pytest.mark.parametrize(
    "text", ["a: 'x", "a:\n\tb: 1", "[" * 5000, r'a: "\UFFFFFFFF"', r'a: "\ud800"', "a: !<x", SURVEY]
)
def test_the_parser_written_in_python_does_as_well(text, monkeypatch):
    monkeypatch.setattr(yaml_lines, "_LOADER", yaml.SafeLoader)
    answered(scenario_from_text, text)
