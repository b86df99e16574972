"""Loads, grades, steps, turns and pulls, against closed forms and published values."""

from __future__ import annotations

import math
from functools import partial

import numpy as np
import pytest
from scipy.optimize import brentq
from sizing_rovers import BASE, HEIGHT, RADIUS, TORQUE, TRACK, WEIGHT, limits, plain, shelf

from drivesim.analysis.derived import derived
from drivesim.engine.build import build
from drivesim.physics import obstacle
from drivesim.sizing.answers import FOR_EVER, NOW, WHEEL_UP, Rover, answers
from drivesim.sizing.ask import Ask
from drivesim.sizing.loads import Standing, shifted
from drivesim.sizing.statics import steepest_grade

STRONG = {"rover.wheel.motor.phase_resistance": "0.01 ohm"}  # a hundred times the torque
WEAK = {"rover.wheel.tyre.friction": 3.0}  # friction never limits


def standing(changes=None) -> Standing:
    return Rover.of(plain(changes)).standing


def test_loads_on_a_slope_are_the_published_ones():
    # Wong; Gillespie (from memory): axle loads up a slope; closed form for the moment of a pull at axle height
    loads = standing().loads(math.radians(20.0))
    front, rear = obstacle.axle_loads(WEIGHT, math.radians(20.0), BASE, BASE / 2, HEIGHT)
    assert (loads[0] + loads[1], loads[2] + loads[3]) == pytest.approx((front, rear), rel=1e-9)
    pulled = standing().loads(0.0, 3.0)
    assert pulled[2] + pulled[3] == pytest.approx(WEIGHT / 2 + 3.0 * RADIUS / BASE, rel=1e-9)


@pytest.mark.parametrize(
    "change",
    [
        {"rover__centre_of_gravity": ["10 mm", "-8 mm", "12 mm"]},
        {"rover__wheels": {"front_left": {"drop": "0.2 mm"}}},
        {
            "rover__wheels": {"front_left": {"drop": "-4 mm"}},
            "rover__centre_of_gravity": ["-4 mm", "0 mm", "5 mm"],
        },
        {"rover__frame": {"torsion_stiffness": "1.5 N/mm", "skew": "1 mm"}},
    ],
)
def test_loads_are_those_on_which_a_run_stands(change):
    """Independent of sizing: a run's pose has the least energy of weight and tyres."""
    scenario = shelf("turn_on_the_spot.yaml", **change)
    told = [w["standing_load_N"] for w in derived(build(scenario))["wheels"].values()]
    assert Rover.of(scenario).standing.loads() == pytest.approx(told, abs=0.01)


def test_a_lifted_wheel_unloads_the_opposite_one():
    """Rigid body on four equal springs: one bump unloads a diagonal, the other one carries the weight."""
    for wheel in range(4):
        loads = standing().lifted(wheel)
        other = [1, 2] if wheel in (0, 3) else [0, 3]
        assert [loads[i] for i in other] == pytest.approx([WEIGHT / 2] * 2)
    uphill = standing().lifted(3, math.radians(15.0))  # the front wheel of that diagonal is lighter: it hangs
    full = standing().loads(math.radians(15.0))
    assert uphill[0] == pytest.approx(0.0, abs=1e-12)
    assert uphill[3] == pytest.approx(full[3] - full[0])
    assert sum(uphill) == pytest.approx(sum(full))
    assert shifted([1.0, 2.0], [-4.0, 1.0]) == [0.0, 2.25]


def test_a_rover_tips_where_its_centre_of_gravity_passes_the_rear_axle():
    # closed form: atan((L − a)/hg) = 59.04 deg
    assert standing().loads(math.radians(58.9)) is not None
    assert standing().loads(math.radians(59.2)) is None
    found = limits(plain(STRONG | {"rover.wheel.tyre.friction": 3.0}))["grade", NOW]
    assert (math.degrees(found.value), found.name) == (pytest.approx(59.036, abs=0.01), "tipping")


@pytest.mark.parametrize(
    ("idle", "slope"),
    [((), 30.964), (("front_left", "front_right"), 20.095), (("rear_left", "rear_right"), 14.265)],
)
def test_the_steepest_grade_by_friction(idle, slope):
    # Wong; Gillespie (from memory): a = 0.1, hg = 0.06, L = 0.2, mu = 0.6, driven by all, rear, front wheels
    wheels = {name: {"driven": False} for name in idle}
    found = limits(plain(STRONG | {"rover.wheels": wheels}))["grade", NOW]
    assert (math.degrees(found.value), found.name) == (pytest.approx(slope, abs=1e-3), "traction")


def test_the_steepest_grade_by_torque_and_by_heat():
    drag = {"rover.wheel.tyre.rolling_resistance": 0.03, "rover.wheel.bearing": {"dry": "1 mN*m"}}
    low = {"rover.wheel.winding.limit": "40 degC"}
    found = limits(plain(WEAK | drag | low))
    slope = obstacle.grade_by_torque(4 * TORQUE, 4e-3, 0.03, RADIUS, WEIGHT)
    assert found["grade", NOW] == (pytest.approx(slope, rel=1e-6), "torque")
    held = 1.5 * 7 * 2e-3 * math.sqrt((40.0 - 22.0) / 15.0)
    slope = obstacle.grade_by_torque(4 * held, 4e-3, 0.03, RADIUS, WEIGHT)
    assert found["grade", FOR_EVER] == (pytest.approx(slope, rel=1e-6), "heat")


def test_the_pull_is_what_torque_or_friction_leaves():
    assert limits(plain(WEAK))["tow", NOW] == (pytest.approx(4 * TORQUE / RADIUS, rel=1e-6), "torque")
    assert limits(plain(STRONG))["tow", NOW] == (pytest.approx(0.6 * WEIGHT, rel=1e-6), "traction")
    # with a wheel in the air three push: the pull itself loads the rear wheel that was unloaded with it
    assert limits(plain(WEAK))["tow", WHEEL_UP].value == pytest.approx(3 * TORQUE / RADIUS, rel=1e-6)


def test_slipping_wheels_leave_more_of_the_bus_to_the_others():
    """The front wheels give what their grip holds, the rear ones all that the sagging bus lets them: solved anew."""
    slippery = {name: {"friction_factor": 0.02} for name in ("front_left", "front_right")}
    found = limits(plain(WEAK | {"rover.wheels": slippery, "rover.battery.cell_resistance": "0.15 ohm"}))[
        "tow", NOW
    ]
    Kt = 1.5 * 7 * 2e-3

    def drawn(voltage: float) -> tuple[float, float]:  # pull and what the pack gives too much
        rear = 2 * Kt * voltage / 2 / RADIUS
        front_axle = (WEIGHT / 2 - rear * RADIUS / BASE) / (1 + 0.06 * RADIUS / BASE)
        front = 0.06 * front_axle
        power = 2 * 1.5 * ((voltage / 2) ** 2 + (front / 2 * RADIUS / Kt) ** 2)
        return rear + front, voltage * (4.0 - voltage) / 0.15 - power

    voltage = brentq(lambda v: drawn(v)[1], 2.5, 4.0)
    assert found == (pytest.approx(drawn(voltage)[0], rel=1e-5), "torque")


def test_the_worst_wheel_in_the_air_is_told():
    def rover_with(weak: str) -> Rover:
        return Rover.of(plain(WEAK | {"rover.wheels": {weak: {"resistance_factor": 2.0}}}))

    rover = rover_with("front_right")
    stands = [partial(rover.standing.lifted, wheel) for wheel in range(4)]
    each = [steepest_grade(rover.cold, stand, 0.0).value for stand in stands]
    found, worst = answers(rover, Ask(0.1))
    assert found["grade", WHEEL_UP].value == pytest.approx(min(each), rel=1e-9)
    assert max(each) > 1.05 * min(each)
    assert each[worst["grade"]] == pytest.approx(min(each), rel=1e-9)
    # the weak wheel hangs on the diagonal that is left, or on the one that hangs with the other front wheel
    assert worst["grade"] == 0
    assert answers(rover_with("front_left"), Ask(0.1))[1]["grade"] == 1


@pytest.mark.parametrize(("mu", "step"), [(0.20581, 5e-3), (2 / 7, 10e-3), (0.4, 20e-3), (0.49321, 30e-3)])
def test_the_front_axles_highest_step_by_friction(mu, step):
    # closed form, three balances: r = 0.05, L = 0.2, b = 0.1
    found = limits(plain(STRONG | {"rover.wheel.tyre.friction": mu}))["step_front", NOW]
    assert (found.value, found.name) == (pytest.approx(step, rel=1e-3), "traction")


def test_the_highest_step_by_torque_is_that_where_the_balance_holds():
    """The balance taken anew by a linear solver: all wheels at their torque, unknown loads and step."""
    found = limits(plain(WEAK))["step_front", NOW]
    F = TORQUE / RADIUS * 2

    def front_rest(h):  # what is left over along x with the front wheels at F and the rear ones at F
        s, c = obstacle.corner(RADIUS, h)
        matrix = np.array([[c, 1.0], [(BASE + RADIUS * s) * c + h * s, 0.0]])
        right = [WEIGHT - F * s, WEIGHT * BASE / 2 - F * ((BASE + RADIUS * s) * s - h * c)]
        front, _ = np.linalg.solve(matrix, right)
        return F + F * c - front * s

    assert front_rest(found.value) == pytest.approx(0.0, abs=1e-6)
    assert found.name == "torque"
    assert front_rest(found.value + 1e-3) < 0 < front_rest(found.value - 1e-3)


def test_the_margin_of_a_turn_on_the_spot_is_rigid_coulomb_theory():
    """Closed form, four even loads: each wheel turns the rover by N·mu·x/sqrt(x² + y²) along its own way."""
    needed = 0.6 * WEIGHT / 4 * (BASE / 2) / math.hypot(BASE / 2, TRACK / 2)
    found = limits(plain())["turn", NOW]
    assert found == (pytest.approx(TORQUE / RADIUS / needed, rel=1e-6), "torque")
    # two wheels on a diagonal carry twice as much each
    assert limits(plain())["turn", WHEEL_UP].value == pytest.approx(found.value / 2, rel=1e-6)
    sideways = {"rover.wheel.tyre.side_friction_ratio": 0.5}
    x, y, half = BASE / 2, TRACK / 2, 0.5
    eased = 0.6 * WEIGHT / 4 * half * x / math.hypot(half * x, y)  # y·f = x·half·sqrt(P² − f²)
    assert limits(plain(sideways))["turn", NOW].value == pytest.approx(TORQUE / RADIUS / eased, rel=1e-6)


def test_wheels_that_are_not_driven_can_keep_it_from_turning():
    """Driven on a diagonal: 2·y·mu·N of thrust against 2·b·mu·N of the idle wheels, whatever the centre."""
    idle = {"rover.wheels": {name: {"driven": False} for name in ("front_left", "rear_right")}}
    slim = {"rover.track": "0.08 m"}
    assert limits(plain(STRONG | idle | slim))["turn", NOW] == (0.0, "traction")
    assert limits(plain(STRONG | idle | {"rover.track": "0.26 m"}))["turn", NOW].value > 1


def test_soil_gives_its_shear_and_takes_its_drag():
    """Mohr–Coulomb at full slip less Bekker's compaction, from the equations of physics one by one."""
    from drivesim.physics import soil

    ground = {"ground.soil": {"preset": "dry_sand"}, "rover.wheel.tyre.width": "40 mm"}
    found = limits(plain(STRONG | ground))["tow", NOW]
    load, D, b = WEIGHT / 4, 2 * RADIUS, 0.04
    k = 990.0 / b + 1528430.0
    z = soil.sinkage_under_load(load, b, D, 1.1, k)
    length = soil.contact_length(z, D)
    thrust = b * length * 1040.0 + load * math.tan(math.radians(28.0))
    thrust *= 1 - 0.01 / length * (1 - math.exp(-length / 0.01))
    pull = 4 * (thrust - soil.compaction_resistance(z, b, k, 1.1))
    assert found == (pytest.approx(pull, rel=0.03), "traction")  # the pull shifts load from front to rear


def test_what_cannot_be_sized_is_left_out():
    six = {f"w{i}": {"at": [f"{x} m", f"{y} m"]} for i, (x, y) in enumerate(
        (x, y) for x in (0.2, 0.0, -0.2) for y in (0.1, -0.1))}  # fmt: skip
    scenario = plain()
    data = {"rover.wheels": six, "rover.wheelbase": None, "rover.track": None}
    assert scenario.rover.wheelbase
    found = limits(plain(data))
    assert math.isnan(found["step_front", NOW].value)
    assert found["grade", NOW].value > 0
    assert found["grade", WHEEL_UP].value < found["grade", NOW].value
