"""Statics against simulated runs of the rover of the shelf: just below a limit it moves, just above it does not."""

from __future__ import annotations

import math

import pytest
from sizing_rovers import limits, shelf

from drivesim import Run, Scenario, simulate
from drivesim.sizing.answers import NOW, Rover
from drivesim.sizing.ask import Ask
from drivesim.sizing.loading import loading_table
from drivesim.sizing.statics import steepest_grade

#: a quick loop that holds the full voltage against a stall, and windings that stay as cold as the air
LOOP = {
    "strategy": "speed_loop", "proportional": "1 V*s/rad", "integral": "4 V/rad", "sensor": {"kind": "ideal"},
}  # fmt: skip
COLD = {"rover__wheel__winding__heat_capacity": "1e9 J/K", "rover__wheel__tyre__sliding_friction": 0.8}
STIFF = {"rover__wheel__tyre__radial_stiffness": "30 N/mm", "rover__wheel__tyre__radial_damping": "20 N*s/m"}
RADIUS, BASE = 34.0, 140.0  # mm
LEVEL = {"length": "3 m", "behind": "1 m", "width": "1 m"}


def on_slope(degrees: float, **changes) -> Scenario:
    ramp = {"kind": "ramp", "start": "-0.8 m", "end": "2.5 m", "slope": f"{degrees!r} deg"}
    ground = {"length": "3 m", "behind": "1 m", "width": "1 m", "features": [ramp]}
    return shelf(**{"ground": ground, "drive": LOOP, "duration": "3 s", **COLD, **changes})


def climbed(run: Run) -> float:
    return float(run.traces["x"][-1] - run.traces["x"][0])


@pytest.mark.parametrize(("share", "moves"), [(0.98, True), (1.02, False)])
def test_the_steepest_grade(share, moves):
    limit = limits(on_slope(20.0))["grade", NOW]
    assert limit.name == "torque"
    run = simulate(on_slope(math.degrees(limit.value) * share))
    assert (climbed(run) > 0.1) is moves
    assert (climbed(run) < 0.0) is not moves


#: the front left wheel sits 12 mm high and touches nothing; the load lies where the other three carry it
HANGING = {
    "rover__wheels": {"front_left": {"drop": "-12 mm"}},
    "rover__centre_of_gravity": ["-3 mm", "-4 mm", "12 mm"],
}


@pytest.mark.parametrize(("share", "moves"), [(0.97, True), (1.03, False)])
def test_the_steepest_grade_with_a_wheel_in_the_air(share, moves):
    """Sized as if the ground unloaded that wheel, run with the wheel too high to touch."""
    rover = Rover.of(on_slope(20.0, rover__centre_of_gravity=HANGING["rover__centre_of_gravity"]))
    lifted = steepest_grade(rover.cold, lambda slope, pull: rover.standing.lifted(0, slope, pull), 0.0)
    hung = limits(on_slope(20.0, **HANGING))["grade", NOW]
    assert lifted.value == pytest.approx(hung.value, rel=3e-3)  # its hub counts in the mean height
    run = simulate(on_slope(math.degrees(hung.value) * share, **HANGING))
    assert float(run.traces["normal_load"].sel(wheel="front_left").max()) == 0.0
    assert (climbed(run) > 0.05) is moves


@pytest.mark.parametrize(("share", "turns"), [(0.98, True), (1.02, False)])
def test_the_turn_on_the_spot(share, turns):
    """The margin goes with 1/friction: it is 1 at the friction that the margin of 0.8 tells."""

    def spot(friction: float) -> Scenario:
        tyre = {"rover__wheel__tyre__friction": friction, "rover__wheel__tyre__sliding_friction": friction}
        return shelf("turn_on_the_spot.yaml", drive=LOOP, duration="3 s", **COLD | tyre)

    at_the_margin = 0.8 * limits(spot(0.8))["turn", NOW].value
    assert limits(spot(at_the_margin))["turn", NOW].value == pytest.approx(1.0, rel=0.01)
    run = simulate(spot(at_the_margin * share))
    assert (math.degrees(float(run.traces["yaw"][-1])) > 20.0) is turns


@pytest.mark.parametrize("axle", ["front", "rear"])
@pytest.mark.parametrize(("share", "rises"), [(0.965, True), (1.06, False)])
def test_the_highest_step_of_an_axle_from_rest(axle, share, rises):
    """The axle stands just before the corner; stiff tyres and a fine grid, so that the step is as it is written."""

    def before(height: float) -> Scenario:
        reach = math.sqrt(2 * RADIUS * height - height**2)
        ahead = -BASE / 2 if axle == "front" else BASE / 2 * math.cos(height / BASE)
        step = {"kind": "step", "at": "0.35 m", "height": f"{height!r} mm"}
        ground = {
            "length": "0.6 m",
            "behind": "0.2 m",
            "width": "0.3 m",
            "cell": "0.05 mm",
            "features": [step],
        }
        return shelf(
            "slab_edge.yaml", ground=ground, drive=LOOP, recovery=None, duration="4 s", **COLD, **STIFF,
            start__x=f"{350 - reach - 0.3 + ahead!r} mm",
            commands=[{"at": "0 s", "forward": "0.01 m/s", "ramp": "0.3 s"}],
        )  # fmt: skip

    limit = limits(before(8.0))[f"step_{axle}", NOW]
    height = limit.value * 1e3 * share
    hub = simulate(before(height)).traces["hub_z"].sel(wheel=f"{axle}_left")
    risen = float(hub.max() - hub[0]) * 1e3
    assert (risen > 0.25 * height) is rises
    assert (risen < 0.1 * height) is not rises


@pytest.mark.parametrize(("share", "in_step"), [(0.97, True), (1.03, False)])
def test_where_forced_wheels_pull_out_on_a_slope(share, in_step):
    """The wheels turn alike: the better loaded ones push more by their brush tyres, and are the first to go."""
    forced = {"drive": "drives/locked_frequency.yaml"}
    commands = {"commands": [{"at": "0.1 s", "forward": "0.12 m/s", "ramp": "1 s"}]}
    limit = limits(on_slope(20.0, **forced), 0.12)["grade", NOW]
    assert limit.name == "pull-out"
    run = simulate(on_slope(math.degrees(limit.value) * share, **forced, **commands))
    slips = sum(wheel["pole_slips"] for wheel in run.summary["wheels"].values())
    assert (slips == 0) is in_step


def test_the_top_speed_on_the_level():
    full = {"strategy": "fixed_voltage", "voltage_per_speed": "1 V*s/rad", "sensor": {"kind": "ideal"}}
    scenario = shelf(
        ground={"length": "14 m", "behind": "0.5 m", "width": "1 m"}, drive=full, duration="6 s",
        rover__wheel__motor__flux_linkage="6 mWb", commands=[{"at": "0 s", "forward": "9 m/s"}], **COLD,
    )  # fmt: skip
    reached = float(simulate(scenario).traces["speed"][-20:].mean())
    assert reached == pytest.approx(limits(scenario)["top_speed", NOW].value, rel=2e-3)


@pytest.mark.parametrize(("drive", "close"), [(LOOP, 0.01), ("drives/locked_frequency.yaml", 0.005)])
def test_the_current_on_the_level_and_on_a_slope(drive, close):
    for degrees, case in ((None, 0), (12.0, 1)):
        scenario = (
            on_slope(degrees or 1.0, drive=drive) if degrees else shelf(ground=LEVEL, drive=drive, **COLD)
        )
        command = {"at": 0.0, "forward": 0.12, "ramp": 0.3}
        scenario = scenario.model_copy(
            update={"commands": (scenario.commands[0].model_copy(update=command),), "duration": 3.0}
        )
        table = loading_table(Rover.of(scenario), Ask(0.12, math.radians(degrees) if degrees else None))
        late = simulate(scenario).traces.isel(time=slice(-100, None)).mean("time")
        told = table.iloc[case]
        assert float(late["battery_current"]) == pytest.approx(told["pack_current_A"], rel=close)
        assert float(late["bus_voltage"]) == pytest.approx(told["bus_V"], rel=2e-3)
        most = float((late["current_q"] ** 2 + late["current_d"] ** 2).max() ** 0.5)
        assert most == pytest.approx(told["phase_current_A"], rel=0.02)
