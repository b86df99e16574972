"""How the search chooses, on made figures instead of runs; and what a result says where nothing can be chosen."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from rich.console import Console

from drivesim.analysis.measures import MEASURES
from drivesim.cli.main import cli
from drivesim.cli.tune_tables import print_tuned
from drivesim.plots.tuning import write_pictures
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.study import study_from_text
from drivesim.scenario.tune_file import TuneFile
from drivesim.tuning import objective as objectives
from drivesim.tuning.files import write_tuned
from drivesim.tuning.held_out import NOMINAL, decided
from drivesim.tuning.objective import BROKEN_OFF, PARTS, Objective
from drivesim.tuning.problem import SHIPPED, TUNED, problem_of
from drivesim.tuning.search import NothingKeepsError, search
from drivesim.tuning.tune import tune

SCENARIOS = Path(__file__).parents[2] / "scenarios"

MADE = """
name: made
scenario: {base: rubble_speed_loop.yaml, duration: 2 s}
gains:
  drive.proportional: {between: [0.01 V*s/rad, 1 V*s/rad]}
  drive.integral: {between: [0.05 V/rad, 5 V/rad]}
cost: {COST}
require: {}
training: 4
grounds: 5
search: {points: 8, refine: REFINE, finalists: 4}
spread: {rover.mass: {uniform: 5 %}}
"""
PLAIN = dict.fromkeys(MEASURES, 1.0) | {"progress_share": 0.5, "duration": 2.0, "peak_temperature": 300.0}
BEST = (0.1, 0.5)  # gains of the made valley's bottom

Figures = Callable[[Scenario], dict[str, float]]


def problem(cost: str = "tracking: 1", refine: int = 0, **more: str):
    text = MADE.replace("COST", cost).replace("REFINE", str(refine))
    for old, new in more.values():
        text = text.replace(old, new)
    return problem_of(study_from_text(text, TuneFile, SCENARIOS, "tune.yaml"))


def gains(scenario: Scenario) -> tuple[float, float]:
    return scenario.drive.all_wheels.proportional, scenario.drive.all_wheels.integral


def far(scenario: Scenario) -> float:
    """Return how far gains are from the valley's bottom, in powers of ten."""
    return math.hypot(*(math.log10(gain / best) for gain, best in zip(gains(scenario), BEST, strict=True)))


def valley(scenario: Scenario) -> dict[str, float]:
    return PLAIN | {"tracking": 1.0 + far(scenario) ** 2}


@pytest.fixture
def farmed(monkeypatch) -> Callable[[Figures], list[Scenario]]:
    """Put made figures in place of runs; the list fills with every scenario that would have been driven."""
    seen: list[Scenario] = []

    def use(figures: Figures) -> list[Scenario]:
        def farm(scenarios: Iterable[Scenario], **_: object):
            for scenario in scenarios:
                seen.append(scenario)
                yield figures(scenario)

        monkeypatch.setattr(objectives, "farm", farm)
        return seen

    return use


def test_gains_of_scenario_and_rule_beyond_the_bounds_are_compared_but_not_chosen(farmed):
    farmed(valley)
    narrow = problem(bounds=("between: [0.01 V*s/rad, 1 V*s/rad]", "between: [0.6 V*s/rad, 1 V*s/rad]"))
    found = search(Objective(narrow))
    assert not narrow.space.holds(narrow.start), "the case is not worth a test otherwise"
    assert found.tried[narrow.start].cost < min(found.finalists.values())
    assert all(narrow.space.holds(point) for point in found.finalists)
    assert found.best in found.finalists


def test_the_search_drives_no_held_out_ground(farmed):
    seen = farmed(valley)
    asked = problem(refine=6)
    search(Objective(asked))
    driven = {scenario.seed for scenario in seen}
    assert driven == {*asked.study.training_seeds, *asked.study.final_seeds}
    assert not driven & set(asked.study.held_out_seeds)


def test_of_the_finalists_the_best_over_training_and_new_grounds_is_taken(farmed):
    """Gains that shine on the training grounds and fail on the new ones: the nearest to the bottom are not taken."""
    asked = problem()

    def lucky(scenario: Scenario) -> dict[str, float]:
        distance = far(scenario)
        return PLAIN | {
            "tracking": 1.0
            + (distance if scenario.seed in asked.study.training_seeds else 9 / (1 + distance))
        }

    farmed(lucky)
    found = search(Objective(asked))
    costs = list(found.finalists.values())
    assert len(costs) == 4
    assert found.finalists[found.best] == min(costs) < max(costs)
    trained = {point: found.tried[point].cost for point in found.finalists}
    assert trained[found.best] == max(trained.values()) > min(trained.values())


def test_going_downhill_comes_nearer_to_the_bottom_of_a_valley(farmed):
    farmed(valley)
    before, after = (search(Objective(problem(refine=steps))) for steps in (0, 40))
    assert {tried.found_by for tried in before.tried.values()}.isdisjoint({"downhill"})
    assert after.finalists[after.best] < before.finalists[before.best]
    assert after.tried[after.best].found_by == "downhill"
    assert np.log10(np.array(after.best) / BEST) == pytest.approx(0, abs=0.02)


def test_parts_are_drawn_anew_for_each_ground_and_alike_for_shipped_and_tuned(farmed):
    seen = farmed(valley)
    asked = problem(refine=10)
    tune(asked.loaded)
    usual = asked.loaded.template.scenario.rover.mass
    drawn: dict[tuple[float, float], dict[int, float]] = {}
    for scenario in seen:
        if scenario.rover.mass != usual:
            drawn.setdefault(gains(scenario), {})[scenario.seed] = scenario.rover.mass
    shipped, tuned = drawn.values()
    assert shipped == tuned
    assert list(shipped) == list(asked.study.held_out_seeds)
    assert len(set(shipped.values())) == 5


@pytest.mark.parametrize("cost", ["failed: 1", "stuck: 1"])
def test_where_the_shipped_gains_cost_nothing_there_is_no_gap(cost, farmed, tmp_path):
    farmed(lambda scenario: PLAIN | {"moving": 1.0, "stuck": 0.0})
    tuned = tune(problem(cost).loaded)
    assert tuned.summary["gap"] == {"training": None, "held_out": None}
    told = printed(tuned)
    assert "shipped gains': – on the training grounds, – on the held-out ones" in told
    write_tuned(tuned, tmp_path)
    write_pictures(tuned, tmp_path)


def test_a_figure_that_no_run_has_is_told_as_a_dash(farmed, tmp_path):
    farmed(lambda scenario: valley(scenario) | {"progress_share": math.nan})
    tuned = tune(problem().loaded)
    (line,) = [line for line in printed(tuned).splitlines() if line.startswith("way missed")]
    assert set(line.split()[3:]) == {"–"}
    write_tuned(tuned, tmp_path)
    write_pictures(tuned, tmp_path)


def printed(tuned) -> str:
    out = io.StringIO()
    print_tuned(Console(file=out, width=160, highlight=False), tuned)
    return out.getvalue()


def test_a_run_that_breaks_off_is_never_cheaper_than_one_that_comes_to_its_end(farmed):
    farmed(lambda scenario: PLAIN | {"stuck": 0.0})
    objective = Objective(problem("stuck: 1"))
    stuck = PLAIN | {"stuck": 0.9}
    tipped = PLAIN | {"finished": 0.0, "moving": 0.0, "stuck": 0.0, "duration": 1.1}
    assert objective.cost_of(stuck) == pytest.approx(9.0)
    assert objective.cost_of(tipped) == pytest.approx(9.0)  # the 0.9 s that are left of 2 s
    assert objective.cost_of(tipped | {"duration": 1.9}) == BROKEN_OFF
    assert objective.cost_of(tipped | {"stuck": 1.1}) == pytest.approx(20.0)


def test_scales_come_from_runs_that_come_to_their_end(farmed):
    farmed(
        lambda scenario: (
            PLAIN | ({"finished": 0.0, "tracking": 40.0} if scenario.seed == 1001 else {"tracking": 2.0})
        )
    )
    objective = Objective(problem())
    assert objective.scales == {"tracking": 2.0}
    assert objective.cost(objective.problem.start, [1002, 1003, 1004]) == pytest.approx(1.0)


def test_where_all_cost_alike_the_gains_stay_as_they_are(farmed):
    farmed(lambda scenario: PLAIN)
    asked = problem(refine=3)
    assert search(Objective(asked)).best == asked.start


def test_gains_of_which_every_run_breaks_off_are_not_written(farmed, tmp_path):
    farmed(lambda scenario: PLAIN | {"finished": 0.0, "moving": 0.0})
    with pytest.raises(NothingKeepsError, match=r"^every run of the best gains broke off"):
        search(Objective(problem()))
    file = tmp_path / "tune.yaml"
    text = MADE.replace("COST", "tracking: 1").replace("REFINE", "0")
    file.write_text(text.replace("rubble_sp", f"{SCENARIOS}/rubble_sp"), encoding="utf-8")
    result = CliRunner().invoke(cli, ["tune", str(file), "-o", str(tmp_path / "out")])
    assert result.exit_code == 1
    assert (
        result.output.strip()
        .splitlines()[-1]
        .startswith("every run of the best gains broke off before its end, 8 ")
    )
    assert not (tmp_path / "out").exists()


def test_a_difference_whose_mean_may_be_nothing_is_not_told_as_decided():
    """Nearly all grounds a little better, three very much worse: the ranks are sure, the mean is not."""
    change = np.array([-0.1 - 0.001 * i for i in range(37)] + [2.0, 3.0, 4.0])
    same = 1.0 + np.linspace(0, 0.5, 40)
    rows = [
        dict.fromkeys(PARTS, 1.0)
        | {"case": case, "parts": NOMINAL, "ground": ground, "stuck": value, "tracking": track}
        for case, stuck, tracking in ((SHIPPED, same, same), (TUNED, same + change, same - 0.1 - 0.01 * same))
        for ground, (value, track) in enumerate(zip(stuck, tracking, strict=True))
    ]  # fmt: skip
    assert set(decided(pd.DataFrame(rows))) == {"tracking"}


def test_a_folder_with_brackets_is_told_as_it_is(farmed, tmp_path):
    farmed(valley)
    file = tmp_path / "tune.yaml"
    text = (
        MADE.replace("COST", "tracking: 1").replace("REFINE", "0").replace("name: made", "name: '[/x] made'")
    )
    file.write_text(text.replace("rubble_sp", f"{SCENARIOS}/rubble_sp"), encoding="utf-8")
    folder = tmp_path / "a[/b]"
    result = CliRunner().invoke(cli, ["tune", str(file), "-o", str(folder), "--no-pictures"])
    assert result.exit_code == 0, result.output
    assert "a[/b]" in result.output.replace("\n", "")
