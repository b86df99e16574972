"""The whole of a tuning on a few short grounds: what it keeps to, what it writes, and how it says no."""

from __future__ import annotations

import json
import re
from itertools import islice
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

import drivesim
from drivesim import load_scenario, scenario_from_text
from drivesim.cli.main import cli, main
from drivesim.errors import ScenarioError
from drivesim.scenario.study import study_from_text, study_kind
from drivesim.scenario.tune_file import TuneFile
from drivesim.study.farm import measures_of
from drivesim.tuning.files import write_tuned
from drivesim.tuning.held_out import NOMINAL, SPREAD, column, decided, verdict
from drivesim.tuning.margins import margins
from drivesim.tuning.objective import BROKEN_OFF, PARTS, Objective
from drivesim.tuning.plant import LOADED
from drivesim.tuning.problem import SHIPPED, TUNED, WHOLE, problem_of
from drivesim.tuning.search import NothingKeepsError, spread
from drivesim.tuning.tune import tune

SCENARIOS = Path(__file__).parents[2] / "scenarios"

SHORT = """
name: short
scenario:
  base: rubble_speed_loop.yaml
  duration: 1.2 s
gains:
  drive.proportional: {between: [0.02 V*s/rad, 1 V*s/rad]}
  drive.integral: {between: [0.05 V/rad, 5 V/rad]}
cost: {way_missed: 1, tracking: 2}
require: {phase_margin: 30 deg, gain_margin: 1.8, rounding: 2 %}
training: 2
grounds: 3
search: {points: 3, refine: 3, finalists: 2}
spread: {rover.mass: {uniform: 5 %}}
"""


def study(text: str = SHORT, **changed: str):
    """Return a study; ``changed``: top-level keys written anew."""
    lines = text.strip().splitlines()
    for key, value in changed.items():
        start = next((i for i, line in enumerate(lines) if line.startswith(f"{key}:")), len(lines))
        end = next((i for i in range(start + 1, len(lines)) if not lines[i].startswith(" ")), len(lines))
        lines[start:end] = [f"{key}: {value}"] if value else []
    return study_from_text("\n".join(lines) + "\n", TuneFile, SCENARIOS, "tune.yaml")


@pytest.fixture(scope="module")
def short():
    return tune(study(), jobs=2)


def folder_of(tuned, path: Path) -> dict[str, bytes]:
    path.mkdir()
    write_tuned(tuned, path)
    return {file.name: file.read_bytes() for file in path.iterdir()}


def drawn(seed: str) -> list:
    """Return the points that are spread over the space."""
    problem = problem_of(study(seed=seed, require="{}", training="2"))
    return [problem.space.point(shares) for shares in islice(spread(problem), 4)]


def test_one_thread_gives_the_same_bytes_as_two(short, tmp_path):
    again = tune(study(), jobs=1)
    first, second = folder_of(short, tmp_path / "a"), folder_of(again, tmp_path / "b")
    assert sorted(first) == [
        "gains.h",
        "held_out.csv",
        "scenario.yaml",
        "summary.json",
        "tried.csv",
        "tuned.yaml",
    ]
    assert first == second
    one, same, other = (drawn(seed) for seed in ("1", "1", "2"))
    assert one == same != other


def test_held_out_grounds_were_never_driven_before(short):
    loaded = study().study
    seeds = [set(s) for s in (loaded.training_seeds, loaded.final_seeds, loaded.held_out_seeds)]
    assert sum(map(len, seeds)) == len(set.union(*seeds)) == 2 + 2 + 3
    assert set(short.held_out["ground"]) == seeds[2]
    assert short.summary["held_out"]["seeds"] == [1005, 1007]


def test_what_is_required_is_kept_and_the_rest_is_told(short):
    plant = short.linear.plant(LOADED)
    kp, ki = (short.scenario.drive.all_wheels.proportional, short.scenario.drive.all_wheels.integral)
    found = margins(plant, kp, ki)
    assert np.degrees(found.phase) >= 30
    assert found.gain >= 1.8
    reasons = short.map["reason"].values
    for i, reason in enumerate(reasons):
        gains = float(short.map["drive.proportional"][i]), float(short.map["drive.integral"][i])
        there = margins(plant, *gains)
        fits = there.phase >= np.radians(30) and there.gain >= 1.8
        assert fits == (reason == "" or "rounding" in reason), gains
        assert (short.map["grounds"].values[i] > 0) == (reason == "")
    assert (reasons != "").sum() == short.summary["tried"]["not_taken"] > 0
    assert "phase margin 12 deg" in short.summary["shipped_misses"]


def test_the_cost_is_the_weighted_mean_of_parts_over_those_of_the_shipped_gains(short):
    table, scales = short.held_out, short.summary["cost"]["scales"]
    shipped = [
        measures_of(study().template.scenario.model_copy(update={"seed": seed})) for seed in (1001, 1002)
    ]
    assert scales["tracking"] == pytest.approx(np.mean([m["tracking"] for m in shipped]), rel=1e-12)
    assert scales["way_missed"] == pytest.approx(
        np.mean([abs(1 - m["progress_share"]) for m in shipped]), rel=1e-12
    )
    for case in (SHIPPED, TUNED):
        parts = [column(table, case, part) / scales[part] for part in ("way_missed", "tracking")]
        assert column(table, case, "cost") == pytest.approx((parts[0] + 2 * parts[1]) / 3)
    assert short.summary["training"]["cost"][SHIPPED] == 1.0


def test_every_case_drives_the_same_held_out_grounds(short):
    cases = [*short.summary["gains"], WHOLE]
    assert cases == [SHIPPED, "rule, free", "rule, loaded", TUNED, WHOLE]
    for case in cases:
        rows = short.held_out[(short.held_out["case"] == case) & (short.held_out["parts"] == NOMINAL)]
        assert list(rows["ground"]) == [1005, 1006, 1007]
    spread = short.held_out[short.held_out["parts"] == SPREAD]
    assert set(spread["case"]) == {SHIPPED, TUNED}
    assert short.summary["tolerances"]["tuned_less_shipped"]["mean"] != 0
    one = measures_of(short.scenario.model_copy(update={"seed": 1006}))
    assert column(short.held_out, TUNED, "tracking")[1] == one["tracking"]


def test_the_headers_numbers_were_run_bit_true(short):
    """The whole-number case is the scenario with exactly the numbers of the header."""
    whole = short.summary["whole_numbers"]
    arithmetic = {key: whole[key] for key in ("word_bits", "fraction_bits", "gain_fraction_bits")}
    for gain in short.whole:
        assert f"{gain.number} / 2^{arithmetic['gain_fraction_bits']}" in short.header
    drive = short.scenario.drive.all_wheels.model_copy(update={"arithmetic": None})
    assert drive.proportional == pytest.approx(short.whole[0].held, rel=1e-3)
    text = "\n".join(
        f"  {path}: {value}"
        for path, value in {**short.change, "drive.arithmetic": json.dumps(arithmetic)}.items()
    )
    again = scenario_from_text(
        f"base: rubble_speed_loop.yaml\nduration: 1.2 s\nseed: 1005\nchange:\n{text}\n", SCENARIOS
    )
    assert column(short.held_out, WHOLE, "tracking")[0] == measures_of(again)["tracking"]
    assert column(short.held_out, WHOLE, "tracking")[0] != column(short.held_out, TUNED, "tracking")[0]


def test_the_fragment_gives_the_tuned_gains_in_any_scenario(short, tmp_path):
    folder_of(short, tmp_path / "out")
    text = (tmp_path / "out" / "tuned.yaml").read_text(encoding="utf-8")
    found = scenario_from_text(f"base: rubble_speed_loop.yaml\n{text}", SCENARIOS).drive.all_wheels
    assert found == short.scenario.drive.all_wheels
    assert load_scenario(tmp_path / "out" / "scenario.yaml") == short.scenario


def test_no_gains_that_keep_what_is_required_end_with_one_line_and_1(tmp_path):
    asked = "{phase_margin: 80 deg, gain_margin: 50, wheel: both}"
    with pytest.raises(
        NothingKeepsError, match=r"^no gains between the bounds keep what is required: .* ask for less"
    ):
        tune(study(require=asked))
    file = tmp_path / "tune.yaml"
    text = SHORT.replace("base: rubble", f"base: {SCENARIOS}/rubble")
    file.write_text(
        text.replace("{phase_margin: 30 deg, gain_margin: 1.8, rounding: 2 %}", asked), encoding="utf-8"
    )
    result = CliRunner().invoke(cli, ["tune", str(file), "-o", str(tmp_path / "out")])
    assert result.exit_code == 1
    assert len(result.output.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()


MISTAKES = [
    ({"cost": "{way_missed: 0}"}, "tune.yaml:8: cost: all weights are zero"),
    ({"cost": "{trakcing: 1}"}, "did you mean 'tracking'"),
    ({"gains": "{drive.porportional: }"}, "tune.yaml:5: gains.drive.porportional: has no number in this scenario; did"),
    ({"gains": "{rover.mass: }"}, "tune.yaml:5: gains.rover.mass: is no gain; allowed: numbers below drive"),
    ({"gains": "{drive.proportional: {between: [1 V*s/rad, 0.1 V*s/rad]}}"}, "the first must be the smaller one"),
    ({"gains": "{drive.proportional: {between: [0 V*s/rad, 0.1 V*s/rad]}}"}, "a logarithmic scale begins above zero"),
    ({"gains": "{drive.proportional: {between: [1 V, 2 V]}}"}, "tune.yaml:5: gains.drive.proportional: found '1 V'"),
    ({"gains": "{drive.sensor.hysteresis: {between: [0.1 rad, 1 rad]}}", "require": "{rounding: 1}"}, None),
    ({"gains": "{drive.latency: {between: [1 ms, 9 ms]}}"}, "gains: with latency 9 ms: drive.latency: found"),
    ({"gains": "{drive.sensor.sensors: {between: [1, 3]}}"}, "drive.sensor.sensors: is a count, and no gain"),
    ({"spread": "{drive.proportional: {normal: 5 %, each: wheel}}"},
     "tune.yaml:13: spread.drive.proportional: is tuned"),
    ({"spread": "{drive.integral: {normal: 5 %}}"}, "tune.yaml:13: spread.drive.integral: is tuned"),
    ({"scenario": "{base: rubble_speed_loop.yaml, commands: [{at: 0 s, forward: 0 m/s}]}"},
     "tune.yaml:2: scenario: commands no way"),
    ({"training": "1"}, "training: found 1, allowed: at least 2"),
    ({"word_bits": "true"}, "word_bits: found true; allowed: 8, 16, 32"),
]  # fmt: skip


@pytest.mark.parametrize(("changed", "told"), MISTAKES, ids=lambda value: str(value)[:40])
def test_mistakes_are_told_with_their_line(changed, told):
    if told is None:
        assert problem_of(study(**changed)).space.paths == ("drive.sensor.hysteresis",)
        return
    with pytest.raises(ScenarioError) as error:
        problem_of(study(**changed))
    assert told in str(error.value)
    assert str(error.value).startswith("tune.yaml:")
    assert len(str(error.value).splitlines()) == 1


def test_margins_asked_of_a_drive_without_a_loop_are_refused():
    forced = "{base: rubble_locked.yaml, duration: 1 s}"
    with pytest.raises(ScenarioError, match="require: asks for margins, and this drive has no loop"):
        problem_of(study(scenario=forced, gains="{drive.base_amplitude: }", require="{gain_margin: 2}"))
    assert (
        problem_of(study(scenario=forced, gains="", require="")).linear is None
    )  # by default none are asked


def test_a_run_that_breaks_off_costs_much_and_never_hides_among_the_good():
    problem = problem_of(study(training="2"))
    objective = Objective(problem)
    good = objective.measures(problem.start, [1001])[0]
    assert objective.cost_of(good) < 3
    assert objective.cost_of({**good, "finished": 0.0}) == BROKEN_OFF
    assert objective.cost_of({}) == BROKEN_OFF
    assert objective.cost_of({**good, "tracking": float("nan")}) == BROKEN_OFF
    assert set(PARTS) == set(type(problem.study.cost).model_fields)


@pytest.mark.parametrize(
    ("differences", "told"),
    [
        (np.full(24, -0.2), "^the tuned gains beat the shipped ones on 24 grounds"),
        (np.full(24, 0.2), "^the tuned gains are worse than the shipped ones"),
        (np.zeros(24), "^the search found nothing better"),
        (np.tile([-0.5, 0.3], 12), "^the data do not decide .* about [0-9]+ grounds would tell"),
        (np.tile([-0.5, 0.4999], 12), "^the data do not decide .* more than 2000 grounds"),
    ],
)
def test_the_verdict_says_when_the_data_do_not_decide(differences, told):
    draw = np.random.default_rng(3)
    noise = 0.02 * draw.standard_normal(differences.size) * (np.abs(differences) == 0.2)
    shipped = 1 + 0.1 * draw.standard_normal(differences.size)
    rows = [
        {"case": case, "parts": NOMINAL, "ground": seed, "cost": value, **dict.fromkeys(PARTS, 0.0)}
        for case, cost in ((SHIPPED, shipped), (TUNED, shipped + differences + noise))
        for seed, value in enumerate(cost)
    ]
    table = pd.DataFrame(rows)
    assert re.search(told, verdict(table))


@pytest.mark.parametrize("part", ["way_missed", "stuck", "failed"])
def test_gains_that_come_less_far_do_not_beat_others_by_their_cost(part):
    draw = np.random.default_rng(4)
    rows = [
        {
            "case": case, "parts": NOMINAL, "ground": seed, "cost": cost + 0.02 * draw.standard_normal(),
            **dict.fromkeys(PARTS, 0.0), part: missed + 0.02 * draw.standard_normal(),
        }
        for case, cost, missed in ((SHIPPED, 1.0, 0.2), (TUNED, 0.8, 0.5))
        for seed in range(24)
    ]  # fmt: skip
    assert verdict(pd.DataFrame(rows)).startswith(
        "the tuned gains cost less but bring the rover less far than"
    )


def test_the_command_takes_a_tune_file_or_a_scenario(tmp_path, capsys):
    file = tmp_path / "tune.yaml"
    file.write_text(SHORT.replace("base: rubble", f"base: {SCENARIOS}/rubble"), encoding="utf-8")
    assert study_kind(file) == "tune"
    assert study_kind(SCENARIOS / "rubble_speed_loop.yaml") == ""
    with pytest.raises(SystemExit) as end:
        main(["tune", str(file), "-o", str(tmp_path / "out")])
    assert end.value.code == 0
    out = capsys.readouterr().out
    for words in (
        "held-out grounds",
        "phase margin",
        "way missed",
        "words of 16 bits",
        "wheels off the ground",
    ):
        assert words in out
    assert (tmp_path / "out" / "tune_map.png").stat().st_size > 10_000
    assert json.loads((tmp_path / "out" / "summary.json").read_text(encoding="utf-8"))["verdict"]
    with pytest.raises(SystemExit) as end:
        main(["tune", str(file), "-o", str(tmp_path / "out")])
    assert end.value.code == 2
    assert "exists already" in capsys.readouterr().err


def test_it_is_public():
    assert drivesim.tune is tune


def test_what_a_cost_leaves_out_and_gets_worse_is_told():
    draw = np.random.default_rng(5)
    rows = [
        {part: 1.0 + draw.random() for part in PARTS}
        | {"case": case, "parts": NOMINAL, "ground": seed}
        | {"stuck": stuck + 0.1 * draw.random(), "tracking": tracking + 0.1 * draw.random()}
        for case, stuck, tracking in ((SHIPPED, 1.0, 4.0), (TUNED, 5.0, 3.0))
        for seed in range(24)
    ]
    table = pd.DataFrame(rows)
    found = decided(table)
    assert set(found) == {"stuck", "tracking"}
    assert found["stuck"] == pytest.approx(4.0, abs=0.05)
    assert found["tracking"] == pytest.approx(-1.0, abs=0.05)
