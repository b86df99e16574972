"""What the verdict and the cautions say, and what they must not: ratings, charger, cut-off, speed, run-up, tipping."""

from __future__ import annotations

import json
import math

import pytest
from sizing_rovers import SCENARIOS, WEIGHT, limits, plain, shelf

from drivesim import DrivesimError
from drivesim.plots.sizing import draw_limits, draw_lines
from drivesim.sizing.answers import FOR_EVER, NOW, Rover, answers
from drivesim.sizing.ask import Ask
from drivesim.sizing.cautions import cautions
from drivesim.sizing.levers import levers_of
from drivesim.sizing.loading import loading_table
from drivesim.sizing.size import rover_scenario, size
from drivesim.sizing.travel import warmed
from drivesim.sizing.verdict import verdict

STRONG = {"rover.wheel.motor.phase_resistance": "0.01 ohm"}
GRIPPY = {"rover.wheel.tyre.friction": 3.0}
IDLE = {"driven": False}


def said(scenario, ask: Ask | None = None) -> tuple[str, list[str]]:
    """Return verdict and cautions, without the levers, which take longest."""
    import pandas as pd

    from drivesim.sizing.levers import column_name, columns

    rover, ask = Rover.of(scenario), ask or Ask(0.1)
    found, worst = answers(rover, ask)
    loading = loading_table(rover, ask)
    levers = pd.DataFrame(columns=["change", "words", *(column_name(*place) for place in columns())])
    return verdict(rover, ask, found, worst, levers, loading), cautions(rover, loading)


@pytest.mark.parametrize(
    ("change", "over", "text"),
    [
        ({"rover.wheel.driver.current_rating": "1.9 A"}, "driver rating", "takes 2 A peak in a phase, rated 1.9 A."),
        ({"rover.wheel.driver.current_rating": "1.9996 A"}, "driver rating", "2 A peak in a phase, rated 1.9996 A."),
        ({"rover.battery.connector_rating": "5 A"}, "connector rating", "stalled draws 6 A, rated 5 A."),
        ({"rover.battery.discharge_rating": 2}, "cell rating", "stalled draws 6 A, the rating allows 4 A"),
        ({"rover.wheel.winding.trace_rating": "1.5 A"}, "trace rating", "takes 2 A peak in a phase, rated 1.5 A."),
    ],
)  # fmt: skip
def test_each_rating_that_is_passed_is_told(change, over, text):
    """Four stalled wheels of 1 ohm at 2 V: 2 A each, 24 W and 6 A of the 4 V pack."""
    scenario = plain(GRIPPY | change)
    table = loading_table(Rover.of(scenario), Ask(0.1)).set_index("case")
    assert over in table.loc["stalled", "over"].split(", ")
    assert any(text in caution for caution in said(scenario)[1])


def test_ratings_hold_for_ever_the_least_of_them():
    connector = limits(plain(GRIPPY | {"rover.battery.connector_rating": "1 A",
                                       "rover.battery.cell_resistance": "10 mohm"}))["tow", FOR_EVER]  # fmt: skip
    assert connector.name == "connector rating"
    # textbook: a delta winding's line carries √3 of its phase's current, which the trace has to bear
    for connection, factor in (("star", 1.0), ("delta", math.sqrt(3.0))):
        traces = {"rover.wheel.winding.trace_rating": "1 A", "rover.wheel.motor.connection": connection}
        assert Rover.of(plain(traces)).design.wheels[0].ratings == (("trace rating", pytest.approx(factor)),)


def test_cautions_about_charger_cut_off_toe_and_forced_fields():
    two = {"rover.battery.cells_in_series": 2, "rover.battery.open_circuit": [[0, "4 V"], [1, "4 V"]]}
    assert any(
        "made for 3 in series, the pack has 2" in c
        for c in said(plain(two | {"rover.battery.charger_cells": 3}))[1]
    )
    assert any("2 in series need a balancing charger" in c for c in said(plain(two))[1])
    low = {"rover.battery.open_circuit": [[0, "2.8 V"], [1, "2.8 V"]]}
    assert any("2.80 V a cell, at rest, below the cut-off of 3 V" in c for c in said(plain(low))[1])
    assert not any("cut-off" in c for c in said(plain())[1])
    toed = {"rover.wheels": {"front_left": {"toe": "1 deg"}}}
    assert any("Toe is left out" in c for c in said(plain(toed))[1])
    forced = {"drive": {"strategy": "locked_frequency", "base_amplitude": "1 V"}}
    assert any("leave room for starting" in c for c in said(plain(forced))[1])


def test_a_slope_that_overloads_something_is_not_held_for_ever():
    """The grade for ever is beyond it, but at the speed asked for the pack's rating is passed."""
    scenario = plain(GRIPPY | {"rover.battery.connector_rating": "2 A", "rover.battery.electronics": "1 W"})
    assert limits(scenario)["grade", FOR_EVER].value > 0.16
    words, _ = said(scenario, Ask(1.5, slope=0.16))
    assert "the slope of 9.17 deg: yes, but not for ever (connector rating)" in words
    assert "the slope of 9.17 deg: yes." in said(scenario, Ask(0.1, slope=0.16))[0]


def test_the_speed_asked_for_is_judged():
    scenario = plain(GRIPPY)
    top = limits(scenario)["top_speed", NOW].value
    words, _ = said(scenario, Ask(2 * top, slope=0.1, tow=0.5, speed_given=True))
    assert "m/s on the level: no" in words
    assert "the slope of 5.73 deg: yes, but not at" in words
    assert "the pull of 0.5 N: yes, but not at" in words
    assert "on the level: yes" in said(scenario, Ask(0.1, speed_given=True))[0]
    assert "on the level" not in said(scenario)[0]


def test_a_run_up_helps_a_rear_axle_but_not_a_rover_that_tips():
    found = limits(shelf())
    between = (found["step_front", NOW].value + found["step_rear", NOW].value) / 2
    words, _ = said(shelf(), Ask(0.1, step=between))
    assert "the front wheels get up, the rear ones only with a run-up (torque)" in words
    high = {"rover.centre_of_gravity": ["-70 mm", "0 mm", "150 mm"]}
    words, _ = said(plain(STRONG | GRIPPY | high), Ask(0.1, step=0.025))
    assert "it tips over before the rear ones do" in words
    assert "run-up" not in words


def test_a_step_that_cannot_be_worked_out_is_told():
    three = {f"w{i}": {"at": [f"{x} m", f"{y} m"]} for i, (x, y) in enumerate(
        (x, y) for x in (0.15, 0.0, -0.15) for y in (0.1, -0.1))}  # fmt: skip
    scenario = plain({"rover.wheels": three, "rover.wheelbase": None, "rover.track": None})
    assert "the step of 10 mm: not worked out" in said(scenario, Ask(0.1, step=0.01))[0]


def test_a_pack_that_collapses_can_do_nothing():
    dead = plain({"rover.battery.electronics": "514 W", "rover.battery.cell_resistance": "60 mohm"})
    found = size(dead, slope=0.1)
    json.dumps(found.summary, allow_nan=False)
    assert all(row["bus_V"] is None and not row["possible"] for row in found.summary["loading"])
    assert "with 0%" not in found.verdict
    assert "of which nothing is left (battery)" in found.verdict
    assert found.limits.loc["endurance", "now_limit"] == "battery"
    from drivesim.cli.console import console
    from drivesim.cli.size_tables import print_sizing

    print_sizing(console(), found)
    draw_limits(found)


def test_a_demand_beyond_grip_is_drawn_where_it_lies():
    found = size(plain(STRONG | {"rover.wheels": {"rear_left": IDLE}}), slope=0.8, tow=8.0)
    slope = found.lines["demand_slope"]
    assert slope.values[0] == pytest.approx(WEIGHT * math.sin(0.8), rel=1e-6)
    assert slope.attrs["note"] == "no grip"
    words = "\n".join(t.get_text() for t in draw_lines(found).findobj(lambda a: hasattr(a, "get_text")))
    assert "the slope asked for: 7.04 N at a crawl (no grip)" in words
    assert "rear left" not in words


def test_the_way_of_the_heat_is_scaled_with_its_housing():
    housed = {"rover.wheel.winding.housing": {"thermal_resistance": "6 K/W", "heat_capacity": "30 J/K"}}
    lever = levers_of(plain(housed))["thermal_resistance"]
    ways = [Rover.of(lever.change(plain(housed), factor)).design.wheels[0].R_th for factor in (1.0, 1.5)]
    assert ways == pytest.approx([16.0, 24.0])


def test_endurance_is_that_of_warm_windings():
    """One fixed point: T = 22 + R_th·1.5·i²·R(T), with R rising by 0.4 % a kelvin."""
    warm = plain(
        {
            "rover.wheel.tyre.rolling_resistance": 0.2,
            "rover.wheel.winding.temperature_coefficient": "0.004 1/K",
        }
    )
    rover = Rover.of(warm)
    i = 0.2 * WEIGHT / 4 * 0.05 / (1.5 * 7 * 2e-3)
    rise = 10 * 1.5 * i**2
    T = (22 + rise * (1 - 0.08)) / (1 - rise * 0.004)
    found = warmed(rover.cold, rover.standing.loads(), 0.1).temperatures
    assert found == pytest.approx([T] * 4, rel=1e-3)
    assert T > 30


def test_a_file_of_many_runs_is_no_rover():
    study = next(
        p
        for p in sorted((SCENARIOS / "studies").glob("*.yaml"))
        if "scenario:" in p.read_text(encoding="utf-8")
    )
    with pytest.raises(DrivesimError, match="a file of many runs"):
        rover_scenario(study)
