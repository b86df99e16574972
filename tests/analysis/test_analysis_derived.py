"""What follows from a rover before a run: against runs of the rover, and against closed forms."""

import json
import math

import numpy as np
import pytest
from analysis_runs import LOCKED_BEARINGS, SCENARIOS, slope, text
from hypothesis import given, settings
from hypothesis import strategies as st

from drivesim import load_scenario, scenario_from_text
from drivesim.analysis.derived import derived, wheel_figures
from drivesim.analysis.heat_limits import Limit
from drivesim.analysis.run import simulate
from drivesim.engine.build import build

FULL = {"commands": "[{at: 0 s, forward: 10 m/s}]", "duration": 1}
HARD = {**LOCKED_BEARINGS, "drive.proportional": "2 V*s/rad"}  # blocked wheels at full voltage


def loaded(**what):
    return scenario_from_text(text(**what), folder=SCENARIOS)


def late(result, name):
    return float(result.traces[name].sel(wheel="front_left").values[-20:].mean())


def test_what_follows_from_layers():
    """Shares add up; inner copper of 24.9 against outer 47.9 um costs R·(1 − 24.9/47.9) of the inner layers."""
    scenario = load_scenario(SCENARIOS / "thin_inner_layers.yaml")
    found = derived(build(scenario))
    table = found["winding"]
    assert sum(row["share"] for row in table["layers"]) + table["vias_share"] == pytest.approx(1)
    outer, inner = table["layers"]
    assert (outer["thickness_um"], inner["thickness_um"]) == pytest.approx((47.9, 24.9), abs=0.05)
    even = table["phase_ohm"] - inner["resistance"] * (1 - inner["thickness_um"] / outer["thickness_um"])
    assert table["inner_cost"] == pytest.approx(table["phase_ohm"] / even)
    on = scenario.rover.wheel.driver.on_resistance
    assert table["inner_torque_cost"] == pytest.approx(1 - (even + on) / (table["phase_ohm"] + on))
    assert found["wheels"]["front_left"]["phase_resistance_ohm"] == pytest.approx(table["phase_ohm"])


@pytest.mark.parametrize("limit", ["null", "0.5 A"])
def test_torque_and_sag_at_standstill_hold_in_a_run(limit):
    """Loads add up to the weight; four blocked wheels pull the bus to where it is told, and give that torque."""
    scenario = loaded(**FULL, **HARD, **{"rover.wheel.driver.current_limit": limit})
    found = derived(build(scenario))
    loads = [w["standing_load_N"] for w in found["wheels"].values()]
    assert sum(loads) == pytest.approx(scenario.rover.mass * scenario.gravity, rel=1e-6)
    result = simulate(scenario)
    bus = float(result.traces["bus_voltage"].values[-20:].mean())
    assert bus == pytest.approx(found["bus_all_stalled_V"], rel=0.003)
    sag = bus / found["bus_voltage_V"] if limit == "null" else 1.0
    told = found["wheels"]["front_left"]["stall_torque_Nm"] * sag
    assert late(result, "motor_torque") == pytest.approx(told, rel=0.01)


def test_a_pack_that_cannot_carry_stalled_wheels():
    weak = {"rover.battery.cell_resistance": "10 ohm", "rover.wheel.driver.current_limit": "1 A"}
    found = derived(build(loaded(**weak)))
    assert found["bus_all_stalled_V"] is None
    assert found["steepest_by_torque_deg"] is None


#: a wheel whose heat settles within the run; its driver loses a tenth of what it gives, half of that to the board
QUICK_HEAT = {
    "rover.wheel.winding.heat_capacity": "0.005 J/K", "rover.wheel.winding.thermal_resistance": "20 K/W",
    "rover.wheel.winding.limit": "90 degC", "rover.wheel.winding.adhesive_limit": "ADHESIVE",
    "rover.wheel.winding.magnet_limit": "MAGNET", "rover.wheel.driver.heat_to_board": "0.5",
    "rover.wheel.driver.efficiency": "0.9",
    "rover.wheel.winding.housing": "{thermal_resistance: 15 K/W, heat_capacity: 0.005 J/K, touch_limit: TOUCH}",
}  # fmt: skip
LOOSE = {"ADHESIVE": "200 degC", "MAGNET": "200 degC", "TOUCH": "200 degC"}
WINDING, HOUSING = "winding_temperature", "housing_temperature"


@pytest.mark.parametrize(
    ("binding", "node", "limit", "limits", "driver"),
    [
        ("winding", WINDING, 90, {}, {}),
        ("adhesive", WINDING, 70, {"ADHESIVE": "70 degC"}, {}),
        ("magnet", HOUSING, 45, {"MAGNET": "45 degC", "ADHESIVE": "80 degC"}, {}),  # winding then at 75 degC
        ("adhesive", WINDING, 70, {"MAGNET": "45 degC", "ADHESIVE": "70 degC"}, {}),
        ("touch", HOUSING, 40, {"TOUCH": "40 degC", "MAGNET": "45 degC"}, {}),
        ("cut-back", WINDING, 60, {}, {"cut_back": "{start: 60 degC, end: 80 degC}"}),
        ("trip", WINDING, 55, {}, {"trip": "{above: 55 degC}", "cut_back": "{start: 60 degC, end: 80 degC}"}),
    ],
)
def test_what_may_be_held_for_ever_just_reaches_the_limit_that_binds(binding, node, limit, limits, driver):
    """The voltage told, held at standstill on a wheel with little heat capacity, settles there and nowhere higher."""
    heat = dict(QUICK_HEAT)
    for mark, words in (LOOSE | limits).items():
        heat = {field: value.replace(mark, words) for field, value in heat.items()}
    heat |= {f"rover.wheel.driver.{name}": value for name, value in driver.items()}
    drive = "{strategy: fixed_voltage, voltage_per_speed: VOLTS V*s/rad, sensor: {kind: ideal}}"
    speed = "[{at: 0 s, left: 1 rad/s, right: 1 rad/s}]"
    first = loaded(drive=drive.replace("VOLTS", "1"), commands=speed, **LOCKED_BEARINGS, **heat)
    wheel = derived(build(first))["wheels"]["front_left"]
    assert (wheel["continuous_limit"], wheel["continuous_limit_degC"]) == (binding, limit)
    volts = repr(wheel["continuous_stall_voltage_V"])
    result = simulate(loaded(drive=drive.replace("VOLTS", volts), commands=speed, **LOCKED_BEARINGS, **heat))
    assert late(result, node) == pytest.approx(limit, abs=0.2)
    assert late(result, "current_q") == pytest.approx(wheel["continuous_current_A"], rel=0.003)


def test_a_bare_board_that_is_hot_to_touch_may_be_held_at():
    """Where to burn one's fingers is told of a run, but does not bound what heat allows."""
    wheel = derived(build(loaded(**{"rover.wheel.winding.housing": "null"})))["wheels"]["front_left"]
    assert (wheel["continuous_limit"], wheel["continuous_limit_degC"]) == ("winding", 110)


LIMIT = st.floats(-20, 160)
WHEEL = build(loaded()).wheels[0]


@given(
    ambient=st.floats(-20, 60), limits=st.lists(st.tuples(st.booleans(), LIMIT), min_size=1, max_size=6),
    R_wh=st.floats(1, 50), R_ha=st.floats(1, 50) | st.just(math.inf), share=st.floats(0, 1), loss=st.floats(0, 1),
    efficiency=st.floats(0.3, 1), on=st.floats(0, 2), alpha=st.just(0.0) | st.floats(0, 0.008),
)  # fmt: skip
@settings(max_examples=300, deadline=None)
def test_no_node_settles_above_any_of_its_limits(
    ambient, limits, R_wh, R_ha, share, loss, efficiency, on, alpha
):
    """The heat balance of the two nodes by hand (bisection), at the current told; with none told they are idle."""
    w = WHEEL.copy()
    for name, value in {
        "thermal_resistance": R_wh, "housing_resistance": R_ha, "driver_heat": share, "fixed_loss": loss,
        "efficiency": efficiency, "on_resistance": on, "coefficient": alpha,
    }.items():  # fmt: skip
        w[name] = value
    housed = math.isfinite(R_ha)
    known = [Limit(f"limit {i}", housed and of, degC) for i, (of, degC) in enumerate(limits)]
    told = wheel_figures(w, 7.0, ambient, known)
    current, R20 = told["continuous_current_A"], told["phase_resistance_ohm"]
    way = R_wh + (R_ha if housed else 0.0)

    def surplus(T):
        """Return what the winding takes up more than it gives away at T [W], as the kernel counts losses."""
        copper, stage = 1.5 * current**2 * R20 * (1 + alpha * (T - 20)), 1.5 * current**2 * on
        return copper + share * (stage + loss + (copper + stage) * (1 / efficiency - 1)) - (T - ambient) / way

    low, high = ambient, 1e4
    for _ in range(100):
        middle = (low + high) / 2
        low, high = (middle, high) if surplus(middle) > 0 else (low, middle)
    winding = low
    housing = ambient + (winding - ambient) * R_ha / way if housed else ambient
    room = min(limit.degC - (housing if limit.of_housing else winding) for limit in known)
    if current > 0:
        assert room == pytest.approx(0, abs=1e-3)
        assert told["continuous_limit"] in {limit.name for limit in known}
    else:
        assert room <= 1e-3  # idle, a driver's own loss reaches it


def test_what_is_endless_is_none():
    idle = {"rover.battery.electronics": "0 W", "rover.wheel.driver.fixed_loss": "0 W"}
    found = derived(build(loaded(**idle)))
    assert found["ride_through_s"] is None
    assert np.isfinite(derived(build(loaded()))["ride_through_s"])
    json.dumps(found, allow_nan=False)


def test_slopes_by_friction_follow_the_tyre_and_the_ground():
    """All wheels driven: atan(µ) (textbook); none told on soil, where friction is not what holds."""
    for factor in (1.0, 0.5):
        found = derived(build(loaded(**{"ground.friction_factor": repr(factor)})))
        assert found["steepest_by_friction_deg"] == pytest.approx(np.degrees(np.arctan(0.8 * factor)))
    soil = {"rover.wheel.tyre.width": "16 mm", "ground.soil": "{preset: dry_sand}"}
    assert derived(build(loaded(**soil)))["steepest_by_friction_deg"] is None


@pytest.mark.parametrize("undriven", [(), ("rear_left", "rear_right")])
def test_the_slope_that_torque_climbs_leaves_room_for_what_drags(undriven):
    """Half a degree below the figure the rover climbs at full voltage, half a degree above it does not.

    Tyres that hardly slip, a pack that hardly sags, copper that stays cold; the ground doubles the rolling resistance.
    """
    hill = {
        "rover.wheel.tyre.friction": "3", "rover.wheel.tyre.sliding_friction": "3",
        "rover.battery.cell_resistance": "1 mohm",
        "rover.wheel.winding.heat_capacity": "1e6 J/K", "rover.wheel.tyre.rolling_resistance": "5 %",
        "ground.rolling_factor": "2", "rover.wheel.bearing.dry": "1.5 mN*m",
        "rover.wheels.front_left.extra_drag": "2 mN*m",
        **{f"rover.wheels.{name}.driven": "false" for name in undriven},
    }  # fmt: skip
    drive = "{strategy: fixed_voltage, voltage_per_speed: 10 V*s/rad}"
    told = derived(build(loaded(drive=drive, **hill)))["steepest_by_torque_deg"]
    came = [
        simulate(
            loaded(drive=drive, ground=slope(told + more), commands="[{at: 0 s, forward: 0.2 m/s}]", **hill)
        ).summary["distance_m"]
        for more in (-0.5, 0.5)
    ]
    assert came[0] > 0.03
    assert came[1] < 0.01


def test_drag_that_eats_all_the_torque_leaves_no_slope():
    assert derived(build(loaded(**LOCKED_BEARINGS)))["steepest_by_torque_deg"] == 0
