"""The farm of runs: same figures as single runs in any order, on shared grounds; and the draws of parts."""

import os
import threading
import time
from itertools import pairwise

import numpy as np
import pytest
from scipy import stats
from study_samples import short

from drivesim import ScenarioError, simulate
from drivesim.analysis.measures import MEASURES
from drivesim.scenario.spread import Spread
from drivesim.scenario.variation import Template
from drivesim.study.draws import FARTHEST, draw
from drivesim.study.farm import Grounds, as_done, farm, mapped, measures_of

BASE = short()
TEMPLATE = Template(BASE)
VARIED = [TEMPLATE.scenario_with({"rover.mass": 0.5 + 0.05 * i}, seed=1 + i % 2) for i in range(6)]


def test_figures_are_those_of_a_single_run():
    """The summary of ``simulate`` and the farm's figures are the same numbers, and every figure is there."""
    figures, run = measures_of(BASE), simulate(BASE)
    assert list(figures) == list(MEASURES)
    for name, value in run.summary["figures"].items():
        assert value == (None if np.isnan(figures[name]) else figures[name])
    assert run.summary["distance_m"] == figures["distance"] > 0.05
    assert figures["energy_per_metre"] == pytest.approx(figures["energy"] / figures["progress"])
    assert figures["moving"] == 1.0
    speed = (run.traces["commanded_speed"] - run.traces["wheel_speed"]).values
    assert figures["tracking"] == pytest.approx(np.sqrt((speed**2).mean()))
    assert figures["slip_energy"] == run.summary["ledger"]["tyre_slip"]


def test_figures_of_runs_that_do_not_go_forward():
    """Backwards a metre is a metre too; wheels that are not driven have nothing to track; held at the end is stuck."""
    back = measures_of(short(commands="[{at: 0.1 s, forward: -0.15 m/s, ramp: 0.2 s}]", start="{x: 0.3 m}"))
    assert back["distance"] < -0.05
    assert back["energy_per_metre"] == pytest.approx(back["energy"] / back["progress"])
    free = short(rover__wheels="{front_left: {driven: false}, front_right: {driven: false}}")
    run = simulate(free)
    rear = (run.traces["commanded_speed"] - run.traces["wheel_speed"]).sel(wheel=["rear_left", "rear_right"])
    assert measures_of(free)["tracking"] == pytest.approx(float((rear**2).mean() ** 0.5))
    wall = "{name: wall, length: 0.8 m, width: 0.6 m, features: [{kind: step, at: 0.15 m, height: 30 mm}]}"
    stuck = measures_of(short(ground=wall, duration="4 s"))
    assert stuck["finished"] == 1.0
    assert stuck["moving"] == 0.0


def test_results_do_not_depend_on_the_number_of_threads():
    one, two, three = (list(farm(VARIED, jobs=jobs, shares=True)) for jobs in (1, 2, 3))
    assert one == two == three
    assert len({row["distance"] for row in one}) == len(VARIED)
    assert one[2] == measures_of(VARIED[2], shares=True)
    for wheel in BASE.rover.wheel_names:
        shares = [value for name, value in one[0].items() if name.startswith(f"{wheel} ")]
        assert sum(shares) == pytest.approx(1.0)


def test_few_runs_are_ahead_of_those_given():
    """Memory stays flat: items are taken only a few before their results are given."""
    taken = []

    def items():
        for i in range(100):
            taken.append(i)
            yield i

    for done, result in enumerate(mapped(lambda i: i * i, items(), jobs=2)):
        assert result == done**2
        assert len(taken) <= done + 10
    told = []
    assert list(mapped(abs, [-1, -2], jobs=1, progress=told.append)) == [1, 2]
    assert told == [1, 2]


def test_an_error_ends_it_all():
    done = []

    def work(i):
        if i == 3:
            raise ValueError("three")
        done.append(i)

    with pytest.raises(ValueError, match="three"):
        list(mapped(work, range(1000), jobs=1))
    assert len(done) < 20


def test_a_ground_is_built_once_and_the_oldest_goes(monkeypatch):
    import drivesim.study.farm as module

    built, real = [], module.build_scenario_ground

    def counting(scenario):
        built.append(scenario.seed)
        return real(scenario)

    monkeypatch.setattr(module, "build_scenario_ground", counting)
    one = real(BASE)
    grounds = Grounds(most=int(2.5 * (one.heights.size + one.surface.size + one.fields.size)))
    seeds = [TEMPLATE.scenario_with({}, seed=seed) for seed in (1, 2, 3)]
    first = grounds.of(seeds[0])
    assert grounds.of(TEMPLATE.scenario_with({"rover.mass": 1.0}, seed=1)) is first
    grounds.of(seeds[1])
    assert grounds.of(seeds[0]) is first
    grounds.of(seeds[2])  # the second is the one not used for longest
    assert grounds.of(seeds[0]) is first
    assert built == [1, 2, 3]
    grounds.of(seeds[1])
    assert built == [1, 2, 3, 2]
    small = TEMPLATE.scenario_with({"rover.wheel.radius": 0.03}, seed=1)
    assert grounds.of(small).surface.max() != first.surface.max()


def test_threads_that_want_the_same_ground_wait_for_it(monkeypatch):
    import drivesim.study.farm as module

    real, begun, go = module.build_scenario_ground, [], threading.Event()

    def slow(scenario):
        begun.append(scenario.seed)
        go.wait(5)
        return real(scenario)

    monkeypatch.setattr(module, "build_scenario_ground", slow)
    grounds, found = Grounds(), []
    workers = [threading.Thread(target=lambda: found.append(grounds.of(BASE))) for _ in range(3)]
    for worker in workers:
        worker.start()
    go.set()
    for worker in workers:
        worker.join()
    assert len(begun) == 1
    assert found[0] is found[1] is found[2]


def test_an_edited_ground_file_is_read_anew(tmp_path):
    profile = tmp_path / "way.csv"
    feature = f"[{{kind: profile, file: '{profile}'}}]"
    grounds, heights = Grounds(), []
    for height in (1, 5):
        profile.write_text(f"x [m],z [mm]\n0,0\n0.4,{height}\n0.8,{height}\n", encoding="utf-8")
        os.utime(profile, ns=(height, height))
        heights.append(float(grounds.of(short(ground__features=feature)).heights.max()))
    assert heights == pytest.approx([1e-3, 5e-3])


def test_what_is_done_is_given_at_once():
    """The first item takes longest, and the others do not wait for it."""
    order = list(as_done(lambda s: time.sleep(s) or s, [0.6, 0.01, 0.02, 0.03], jobs=2))
    assert sorted(order) == [0.01, 0.02, 0.03, 0.6]
    assert order[-1] == 0.6


def test_a_ground_that_cannot_be_built_is_told_each_time():
    grounds = Grounds()
    wrong = short(ground__features="[{kind: roughness, rms: 1 mm, correlation_length: 30 m}]")
    for _ in range(2):
        with pytest.raises(ScenarioError):
            grounds.of(wrong)


# ---- parts drawn -----------------------------------------------------------------------------------------------

SPREAD = {
    "rover.mass": Spread(normal="5 %"),
    "rover.wheel.tyre.friction": Spread(uniform=0.2, each="wheel"),
    "rover.battery.state_of_charge": Spread(between=("40 %", "80 %")),
}


def drawn(count, seed=1):
    tolerances = {}
    for path, spread in SPREAD.items():
        tolerances |= spread.tolerances(TEMPLATE, path)
    return draw(tolerances, count, seed)


def test_parts_follow_their_tolerances():
    """Kolmogorov–Smirnov against scipy's own distributions: a Latin hypercube lies closer than chance ever would."""
    rows, mass = drawn(400), BASE.rover.mass
    cut = stats.truncnorm(-FARTHEST, FARTHEST, loc=mass, scale=0.05 * mass)
    assert stats.kstest([row["rover.mass"] for row in rows], cut.cdf).statistic < 2 / 400
    charge = stats.uniform(0.4, 0.4)
    assert (
        stats.kstest([row["rover.battery.state_of_charge"] for row in rows], charge.cdf).statistic < 2 / 400
    )
    each = np.array([[v for path, v in row.items() if "friction" in path] for row in rows])
    assert each.shape == (400, 4)
    apart = np.corrcoef(each.T) - np.eye(4)
    assert np.abs(apart).max() < 0.15  # wheels are drawn on their own
    assert each.min() >= BASE.rover.wheel.tyre.friction - 0.2
    assert rows[0].keys() == {
        "rover.mass", "rover.battery.state_of_charge",
        *(f"rover.wheels.{wheel}.change.tyre.friction" for wheel in BASE.rover.wheel_names),
    }  # fmt: skip


def test_same_seed_same_parts():
    assert drawn(8) == drawn(8)
    assert drawn(8) != drawn(8, seed=2)
    assert draw({}, 3, 1) == [{}, {}, {}]


def test_each_slice_is_drawn_from_once():
    """McKay, Beckman and Conover, Technometrics 21 (1979) 239: one value in each of n slices of equal probability."""
    charges = sorted(row["rover.battery.state_of_charge"] for row in drawn(50))
    slices = [int((charge - 0.4) / 0.4 * 50) for charge in charges]
    assert slices == list(range(50))
    assert all(b > a for a, b in pairwise(charges))
