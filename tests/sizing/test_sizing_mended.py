"""Uneven loads, wheels with values of their own, a pack that holds back, tipping, soil and warm windings."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import linprog
from sizing_rovers import BASE, RADIUS, TORQUE, TRACK, WEIGHT, limits, plain

from drivesim.physics import obstacle
from drivesim.sizing.answers import FOR_EVER, NOW, WHEEL_UP, Rover
from drivesim.sizing.levers import levers_of, whole_steps

STRONG = {"rover.wheel.motor.phase_resistance": "0.01 ohm"}
GRIPPY = {"rover.wheel.tyre.friction": 3.0}
NAMES = ("front_left", "front_right", "rear_left", "rear_right")


def test_a_turn_on_the_spot_goes_about_the_centre_that_resists_least():
    """Closed form: about the heavier axle only the lighter one is dragged, 2·y·f = 2·b·sqrt((mu·N)² − f²) of it."""
    light = WEIGHT / 4 * (1 - 0.02 / (BASE / 2))
    needed = 0.6 * light * (BASE / 2) / math.hypot(BASE / 2, TRACK / 2)
    ahead = {"rover.centre_of_gravity": ["20 mm", "0 mm", "10 mm"]}
    assert limits(plain(ahead))["turn", NOW].value == pytest.approx(TORQUE / RADIUS / needed, rel=1e-6)


def test_side_forces_resist_a_turn_as_much_as_a_linear_program_finds():
    draws = np.random.default_rng(3)
    for _ in range(20):
        x, hold = draws.normal(size=6), draws.uniform(0, 2, 6)
        most = linprog(-x, A_eq=np.ones((1, 6)), b_eq=[0.0], bounds=list(zip(-hold, hold, strict=True)))
        assert obstacle.side_moment(x, hold) == pytest.approx(-most.fun, rel=1e-9)


@pytest.mark.parametrize("task", ["grade", "tow", "step_front", "step_rear"])
def test_a_pack_that_holds_back_gives_what_slipping_wheels_leave(task):
    """With a wheel in the air it cannot do more than with none: slipping wheels leave their share to the others."""
    held = {
        "rover.wheel.motor.phase_resistance": "0.3 ohm",
        "rover.battery.cell_resistance": "0.12 ohm",
        "rover.wheel.driver.lockout": {"below": "3.5 V", "above": "3.6 V", "boot": "1 s"},
        "rover.wheel.tyre.friction": 0.7,
    }
    found = limits(plain(held))
    assert found[task, NOW].value >= found[task, WHEEL_UP].value - 1e-6
    slippery = {"rover.wheels": {name: {"friction_factor": 0.02} for name in NAMES[:2]}}
    pull = limits(plain(held | GRIPPY | slippery))["tow", NOW]
    front = (WEIGHT / 2 - pull.value * RADIUS / BASE) * 0.06
    Kt, R = 1.5 * 7 * 2e-3, 0.3
    each = np.array([front, pull.value - front]) / 2 * RADIUS / Kt  # A of a front and a rear wheel
    assert pull.name == "battery"
    assert 2 * 1.5 * R * (each**2).sum() == pytest.approx(3.5 * 0.5 / 0.12, rel=1e-5)


OWN = {name: {"change": {"tyre.friction": 0.3, "motor.flux_linkage": "4 mWb", "tyre.rolling_resistance": "3 %"}}
       for name in NAMES}  # fmt: skip
COMMON = {"rover.wheel.tyre.friction": 0.3, "rover.wheel.motor.flux_linkage": "4 mWb",
          "rover.wheel.tyre.rolling_resistance": "3 %"}  # fmt: skip


@pytest.mark.parametrize("lever", ["tyre_friction", "flux_linkage", "rolling_resistance", "on_resistance"])
def test_a_lever_moves_what_wheels_have_of_their_own(lever):
    on = {"rover.wheel.driver.on_resistance": "0.1 ohm"}
    own, common = plain(on | {"rover.wheels": OWN}), plain(on | COMMON)
    for factor in (0.9, 1.1):
        one, other = (
            Rover.of(levers_of(scenario)[lever].change(scenario, factor)) for scenario in (own, common)
        )
        for a, b in zip(one.design.wheels, other.design.wheels, strict=True):
            assert (a.friction, a.lam, a.rolling, a.on) == pytest.approx((b.friction, b.lam, b.rolling, b.on))
    changed = whole_steps(own)["space_vector"][1]
    assert Rover.of(changed).design.wheels[0].modulation == pytest.approx(1 / math.sqrt(3))


def test_a_softer_tyre_of_one_wheel_carries_less():
    """Statics of four springs: a diagonal's tyres half as stiff; the twisting spring's share, b = k/(k + k′)."""
    half = {"change": {"tyre.radial_stiffness": "10 N/mm"}}
    soft = {"rover.wheels": dict.fromkeys(("front_left", "rear_right"), half)}
    loads = Rover.of(plain(soft)).standing.loads()
    assert loads == pytest.approx([WEIGHT / 6, WEIGHT / 3, WEIGHT / 3, WEIGHT / 6], rel=1e-6)


def test_a_rover_that_tips_before_its_front_wheels_are_up():
    # closed form: the lean at which b·cos = z·sin, 0.02·cos = 0.1·sin: h = L·0.02/hypot(0.02, 0.1)
    high = {"rover.centre_of_gravity": ["-80 mm", "0 mm", "100 mm"]}
    found = limits(plain(STRONG | GRIPPY | high))["step_front", NOW]
    assert (found.value, found.name) == (pytest.approx(BASE * 0.02 / math.hypot(0.02, 0.1)), "tipping")


def test_soil_drags_at_a_turn_and_at_a_step_too():
    sand = {"ground.soil": {"preset": "dry_sand"}, "rover.wheel.tyre.width": "40 mm"}
    rover = Rover.of(plain(sand))
    (limit, drag), thrust = rover.design.traction(rover.design.wheels[0], WEIGHT / 4), TORQUE / RADIUS
    x, y = BASE / 2, TRACK / 2
    share = 1 / limits(plain(sand))["turn", NOW].value
    f = share * thrust
    assert drag > 0.05
    steps = [
        limits(plain(sand | {"rover.wheelbase": f"{base} m"}))["step_front", NOW].value
        for base in (0.2, 0.32)
    ]
    assert min(steps) > 0
    assert y * (f - drag) == pytest.approx(x * math.sqrt(limit**2 - f**2), rel=1e-6)


def test_for_ever_the_windings_settle_where_heat_is_not_the_limit():
    """2 A in 1 ohm at 22 degC: T = 22 + 15·i², i = 2/(1 + 0.004·(T − 20)); cooler than its 100 degC."""
    from scipy.optimize import brentq

    copper = {"rover.wheel.winding.temperature_coefficient": "0.004 1/K"}
    limit = {"rover.wheel.winding.limit": "140 degC"}

    def current(T: float) -> float:
        return 2.0 / (1 + 0.004 * (T - 20))

    T = brentq(lambda T: 22 + 15 * (1 + 0.004 * (T - 20)) * current(T) ** 2 - T, 22, 100)
    found = limits(plain(GRIPPY | copper | limit))["tow", FOR_EVER]
    assert found == (pytest.approx(4 * 1.5 * 7 * 2e-3 * current(T) / RADIUS, rel=1e-4), "torque")
