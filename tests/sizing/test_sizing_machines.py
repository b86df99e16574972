"""What wheels and pack give together, against published lines and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from sizing_rovers import RADIUS, TORQUE, limits, plain, shelf

from drivesim.analysis.derived import derived
from drivesim.engine.build import build
from drivesim.sizing.answers import FOR_EVER, NOW, Rover
from drivesim.sizing.ask import Ask
from drivesim.sizing.bus import settle_bus
from drivesim.sizing.design import wheel_records
from drivesim.sizing.loading import loading_table
from drivesim.sizing.machine import draw, most_torque, settled, time_to_limit

#: the textbook motor V = 12 V, R = 0.5 ohm, Kt = Ke = 0.03, friction 6 mN·m, as a three-phase one: Kt = 1.5·p·λ and
#: Ke = p·λ, so that its amplitude is 8 V on 1/3 ohm
TEXTBOOK = {
    "rover.wheel.motor.pole_pairs": 1,
    "rover.wheel.motor.flux_linkage": "20 mWb",
    "rover.wheel.motor.phase_resistance": "0.333333333333 ohm",
    "rover.wheel.bearing": {"dry": "6 mN*m"},
    "rover.battery.open_circuit": [[0, "16 V"], [1, "16 V"]],
}


def test_a_wheel_follows_the_speed_torque_line_of_the_textbook():
    # any motor text: stall 0.72 N·m, 24 A; without load 396.6667 rad/s; greatest power at half of that
    rover = Rover.of(plain(TEXTBOOK))
    wheel, R = rover.design.wheels[0], rover.cold.resistances[0]
    assert most_torque(wheel, 16.0, 0.0, R).torque == pytest.approx(0.72, rel=1e-6)
    assert draw(wheel, 0.72, 16.0, 0.0, R).current == pytest.approx(0.72 / 0.03, rel=1e-6)
    found = limits(plain(TEXTBOOK))["top_speed", NOW]
    assert found.value / RADIUS == pytest.approx(396.6667, rel=1e-6)
    half = most_torque(wheel, 16.0, 198.3333 * RADIUS, R).torque - 6e-3
    assert half * 198.3333 == pytest.approx(70.805, rel=1e-5)


def test_a_forced_wheel_gives_its_pull_out_torque():
    # cylindrical-rotor theory (Fitzgerald; Chapman, from memory): 1.072527 N·m at 700 rad/s electrical, 1.68 at rest
    scenario = plain({
        "rover.wheel.motor.phase_resistance": "0.05 ohm", "rover.wheel.motor.phase_inductance": "20 uH",
        "rover.battery.open_circuit": [[0, "20 V"], [1, "20 V"]],
        "drive": {"strategy": "locked_frequency", "base_amplitude": "4 V"},
    })  # fmt: skip
    rover = Rover.of(scenario)
    wheel, R = rover.design.wheels[0], rover.cold.resistances[0]
    found = most_torque(wheel, 20.0, 100.0 * RADIUS, R)
    assert (found.torque, found.name) == (pytest.approx(1.072527, rel=1e-6), "pull-out")
    assert most_torque(wheel, 20.0, 0.0, R).torque == pytest.approx(1.68, rel=1e-12)
    # its power at the peak: 306.8484 W (same source), at id = -7.26994, iq = 51.07273 A
    taken = draw(wheel, found.torque, 20.0, 100.0 * RADIUS, R)
    assert taken.phases == pytest.approx(306.8484, rel=1e-6)
    assert taken.current == pytest.approx(math.hypot(7.26994, 51.07273), rel=1e-6)


@pytest.mark.parametrize("change", [{}, {"rover__wheel__driver__current_limit": "0.6 A"}])
def test_the_sagging_bus_is_that_of_check(change):
    """Independent of sizing: ``check`` solves the same sag in another way, at 20 degC."""
    scenario = shelf(ambient="20 degC", **change)
    rover = Rover.of(scenario)
    told = derived(build(scenario))
    bus = rover.cold.bus(0.0)
    assert bus.voltage == pytest.approx(told["bus_all_stalled_V"], abs=1e-5)
    name = "current limit" if change else "torque"
    assert {cap.name for cap in bus.wheels} == {name}


def test_a_constant_power_pack_sags_as_published():
    # closed form: 11.1 V behind 0.06 ohm gives 200 W at 9.886185 V and 20.230251 A, and 513.375 W at most
    pack = {
        "rover.battery.open_circuit": [[0, "11.1 V"], [1, "11.1 V"]], "rover.battery.cell_resistance": "60 mohm",
        "rover.battery.electronics": "200 W",
    }  # fmt: skip
    rover = Rover.of(plain(pack))
    bus = settle_bus(rover.design, rover.cold.resistances, 0.0, rover.cold.caps(0.0), lasting=False)
    assert bus.voltage < 9.886185
    idle = rover.cold.bus(0.0, [0.0] * 4)
    assert (idle.voltage, idle.current) == pytest.approx((9.886185, 20.230251), rel=1e-6)
    dead = Rover.of(plain(pack | {"rover.battery.electronics": "514 W"})).cold.bus(0.0)
    assert dead.collapsed
    assert {cap.name for cap in dead.wheels} == {"battery"}


def test_a_pack_that_must_not_sag_below_the_lockout_holds_all_wheels_back_alike():
    weak = {"rover.battery.cell_resistance": "0.4 ohm", "rover.wheel.driver.lockout": {
        "below": "3.2 V", "above": "3.4 V", "boot": "1 s"}}  # fmt: skip
    rover = Rover.of(plain(weak))
    bus = rover.cold.bus(0.0)
    assert bus.voltage == pytest.approx(3.2)
    assert {cap.name for cap in bus.wheels} == {"battery"}
    # four stalled wheels of 1 ohm take 1.5·i² each: the pack gives 3.2 V · 2 A
    current = math.sqrt(3.2 * (4.0 - 3.2) / 0.4 / 4 / 1.5)
    assert bus.wheels[0].torque == pytest.approx(1.5 * 7 * 2e-3 * current, rel=1e-6)


def test_for_ever_is_the_least_of_heat_and_ratings():
    """Heat: 1.5·I²·R·R_th = 38 K; the pack's rating: four times 1.5·I²·R from 4 V."""
    cap = Rover.of(plain({"rover.wheel.winding.limit": "60 degC"})).lasting.caps(0.0)[0]
    assert cap == (pytest.approx(1.5 * 7 * 2e-3 * math.sqrt(38.0 / 15.0)), "heat")
    rated = Rover.of(plain({"rover.wheel.driver.current_rating": "1.2 A"})).lasting.bus(0.0)
    assert rated.wheels[0] == (pytest.approx(1.5 * 7 * 2e-3 * 1.2), "driver rating")
    pack = Rover.of(
        plain({"rover.battery.discharge_rating": 0.5, "rover.battery.cell_resistance": "10 mohm"})
    )
    bus = pack.lasting.bus(0.0)
    assert bus.current == pytest.approx(1.0)
    assert bus.wheels[0].name == "cell rating"
    assert 4 * 1.5 * (bus.wheels[0].torque / (1.5 * 7 * 2e-3)) ** 2 == pytest.approx(
        1.0 * bus.voltage, rel=1e-6
    )
    assert pack.cold.bus(0.0).wheels[0].torque == pytest.approx(TORQUE * pack.cold.bus(0.0).voltage / 4.0)


def test_heat_settles_and_takes_its_time_as_the_closed_form_says():
    # textbook, single node: dT = P·R_th, and to a limit it takes −R_th·C·ln(1 − (T_limit − T_air)/dT)
    rover = Rover.of(plain())
    wheel = rover.design.wheels[0]
    rise = 1.5 * 2.0**2 * 1.0 * 10.0  # 2 A in 1 ohm
    assert settled(wheel, math.inf, 4.0, 0.0, 22.0) == pytest.approx(22.0 + rise, abs=1e-2)
    assert time_to_limit(wheel, math.inf, 4.0, 0.0, 22.0) == math.inf
    hotter = Rover.of(plain({"rover.wheel.winding.limit": "70 degC"})).design.wheels[0]
    wanted = -10.0 * 10.0 * math.log(1 - 48.0 / rise)
    assert time_to_limit(hotter, math.inf, 4.0, 0.0, 22.0) == pytest.approx(wanted, rel=1e-5)


def test_a_forced_field_that_overheats_unloaded_allows_nothing_for_ever():
    locked = {"drive": {"strategy": "locked_frequency", "base_amplitude": "2 V"}}
    cool = limits(plain(locked | {"rover.wheel.winding.limit": "83 degC"}))
    hot = limits(plain(locked | {"rover.wheel.winding.limit": "81 degC"}))
    # 2 V on 1 ohm at a crawl: 60 K over 22 degC
    assert hot["grade", FOR_EVER] == (0.0, "heat")
    assert cool["grade", FOR_EVER].value == pytest.approx(cool["grade", NOW].value, rel=1e-6)


def test_the_wheels_resistances_are_those_of_a_run():
    scenario = shelf(rover__wheel__motor__resistance_spread="10 %", seed=7,
                     rover__wheels={"rear_left": {"resistance_factor": 1.2}})  # fmt: skip
    np.testing.assert_array_equal(wheel_records(scenario)["resistance"], build(scenario).wheels["resistance"])
    table = loading_table(Rover.of(scenario), Ask(0.1))
    assert table["phase_current_A"].max() > 1.2 * table["phase_current_A"].min()
