"""What the trade knows of speed loops, windings, slopes, turning and frames; common practice, no source."""

from math import asin, cos, degrees, pi, sin, sqrt

import numpy as np
import pytest
from behaviour_runs import (
    BENCH,
    COLD,
    FLUX,
    GRAVITY,
    MASS,
    ON_RESISTANCE,
    PHASE_RESISTANCE,
    POLE_PAIRS,
    RADIUS,
    SPEED_LOOP,
    WHEELS,
    falls,
    forward,
    mean_over,
    run,
    share_of_way,
    text,
)
from scipy.optimize import brentq

from drivesim.physics.motor import copper_loss, stall_torque
from drivesim.physics.winding import resistance_at

THREE_SENSORS = {"drive.sensor.sensors": "3"}


# -- a speed loop on each wheel


@pytest.mark.parametrize("sensors", ["1", "3"])
def test_the_lifted_wheel_reaches_its_speed_while_the_others_stall_and_the_body_stays(sensors):
    """Common practice, no source: each loop sees only its own wheel.

    A kerb ahead, one wheel hung 6 mm high.
    """
    result = run(
        text(
            drive=SPEED_LOOP,
            ground="{length: 1.5 m, features: [{kind: step, at: 0.3 m, height: 20 mm, label: the kerb}]}",
            commands=forward(0.12),
            duration="6 s",
            change={
                "rover.wheels.front_right.drop": "-6 mm",
                "rover.centre_of_gravity": "[-8 mm, 8 mm, 12 mm]",
                "drive.sensor.sensors": sensors,
            },
        )
    )
    speed, load = mean_over(result, "wheel_speed", 4.0), mean_over(result, "normal_load", 4.0)
    asked = 0.12 / RADIUS
    lifted, standing = 1, [0, 2, 3]
    assert load[lifted] == 0
    assert speed[lifted] == pytest.approx(asked, rel=0.01 if sensors == "3" else 0.15)  # one sensor hunts
    assert np.abs(speed[standing]).max() < 0.01 * asked
    x = result.traces["x"].sel(time=slice(4.0, None)).values
    assert np.ptp(x) < 1e-3
    assert result.verdict.startswith("stuck at")
    assert "stalled against the kerb at full bus voltage" in result.verdict
    assert result.verdict.endswith("while front_right turned free in the air")
    wheels = result.summary["wheels"]
    assert wheels["front_right"]["airborne"] > 0.9
    assert all(wheels[WHEELS[i]]["first_stall_s"] is not None for i in standing)
    assert wheels["front_right"]["first_stall_s"] is None


@pytest.mark.parametrize("speed", [0.04, 0.05])
def test_one_hall_sensor_hunts_at_crawl_speed_where_three_do_not(speed):
    """Common practice, no source.  Same gains; an edge every 270 ms against every 90 ms at 0.05 m/s.

    At 0.03 m/s three sensors hunt as well (their edges then come 150 ms apart).
    """
    ripple = {}
    for sensors in ("1", "3"):
        change = {"drive.sensor.sensors": sensors}
        result = run(
            text("bench_start.yaml", commands=forward(speed, ramp=0.5), duration="10 s", change=change)
        )
        rows = result.traces["wheel_speed"].sel(time=slice(4.0, None))
        ripple[sensors] = float(rows.std("time").mean()) * RADIUS / speed
    assert ripple["1"] > 0.5
    assert ripple["3"] < 0.15


# -- the winding


def stalled(voltage, terminal_resistance):
    """Bearings that no torque turns; the field at ``voltage`` [V]."""
    drag = {f"rover.wheels.{name}.extra_drag": "1 N*m" for name in WHEELS}
    wheel = {
        "rover.wheel.motor.terminal_resistance": f"{terminal_resistance!r} ohm",
        "rover.wheel.driver.on_resistance": "0 ohm",
    }
    result = run(
        text(
            drive=f"{{strategy: fixed_voltage, voltage_per_speed: {voltage / 4.0!r} V*s/rad}}",
            ground=BENCH,
            commands=forward(4.0 * RADIUS, at=0.1, ramp=0.0),
            duration="1 s",
            change=drag | wheel | COLD,
        )
    )
    assert np.abs(mean_over(result, "wheel_speed", 0.5)).max() < 1e-6
    return mean_over(result, "motor_torque", 0.5), mean_over(result, "copper_loss", 0.5)


def test_twice_the_resistance_halves_stall_torque_and_root_two_times_the_voltage_restores_the_heat():
    """Common practice, no source: T = Kt·V/R and P = 1.5·V²/R."""
    R, V = PHASE_RESISTANCE, 2.0
    assert stall_torque(V, 2 * R, FLUX, POLE_PAIRS) == pytest.approx(
        stall_torque(V, R, FLUX, POLE_PAIRS) / 2, rel=1e-14
    )
    assert copper_loss((sqrt(2) * V / (2 * R)) ** 2, 2 * R) == pytest.approx(
        copper_loss((V / R) ** 2, R), rel=1e-14
    )
    torque, heat = stalled(V, 2 * R)
    halved, _ = stalled(V, 4 * R)
    restored, same_heat = stalled(sqrt(2) * V, 4 * R)
    assert halved == pytest.approx(torque / 2, rel=1e-9)
    assert same_heat == pytest.approx(heat, rel=1e-9)
    assert restored == pytest.approx(torque / sqrt(2), rel=1e-9)  # the same heat buys less torque
    at_22 = resistance_at(R, 20.0, 22.0, 0.00393)
    assert torque == pytest.approx(stall_torque(V, at_22, FLUX, POLE_PAIRS), rel=1e-6)


# -- slopes


def on_slope(degrees_, duration=3.0):
    """Standing on a slope, all the voltage there is from the first moment, tyres that never slip."""
    grip = {"rover.wheel.tyre.friction": "2", "rover.wheel.tyre.sliding_friction": "2"}
    ground = f"{{kind: ramp, start: -1.9 m, end: 6 m, slope: {degrees_!r} deg, label: the ramp}}"
    return run(
        text(
            drive="{strategy: fixed_voltage, voltage_per_speed: 10 V*s/rad}",
            ground=f"{{length: 6 m, behind: 2 m, width: 0.8 m, features: [{ground}]}}",
            commands=forward(0.2, at=0.0, ramp=0.0),
            duration=f"{duration} s",
            change=grip | COLD,
        )
    )


def test_distance_on_a_slope_falls_to_zero_where_stall_torque_says_so():
    """Common practice, no source: four wheels climb while 4·T/r > m·g·sin.

    The drag of bearings and tyres counts too.
    """
    came = [on_slope(angle).summary["distance_m"] for angle in (20.0, 25.0, 28.0, 30.0, 31.0, 33.0)]
    assert came == sorted(came, reverse=True)
    assert came[0] > 1.0
    assert abs(came[-1]) < 0.01
    steepest = falls(lambda angle: on_slope(angle).summary["distance_m"] > 0.05, 25.0, 40.0, 0.2)

    bus = float(on_slope(33.0).traces["bus_voltage"].values[-1])
    resistance = resistance_at(PHASE_RESISTANCE, 20.0, 22.0, 0.00393) + ON_RESISTANCE
    pull = 4 * stall_torque(bus / 2, resistance, FLUX, POLE_PAIRS) / RADIUS  # sine drive: half the bus
    weight = MASS * GRAVITY
    assert steepest == pytest.approx(degrees(asin(pull / weight)), rel=0.1)  # the rule of thumb
    dry, rolling = 4 * 0.4e-3 / RADIUS, 0.03
    limit = brentq(lambda a: pull - dry - weight * (sin(a) + rolling * cos(a)), 0.0, pi / 2)
    assert steepest == pytest.approx(degrees(limit), rel=0.015)


# -- turning


def on_charge(percent, command):
    """The shipped rover with an ideal sensor, on a smoother screed: on the shipped one it cannot turn."""
    change = {
        "ground.friction_factor": "0.8",
        "rover.battery.state_of_charge": f"{percent} %",
        "drive.sensor": "{kind: ideal}",
    }
    return run(
        text("turn_on_the_spot.yaml", commands=f"[{{at: 0.3 s, {command}, ramp: 0.5 s}}]", change=change)
    )


TURNING, STRAIGHT = "turn: 60 deg/s", f"forward: {pi / 3 * 0.065!r} m/s"  # the same wheel speeds


def test_turning_on_the_spot_needs_many_times_the_torque_of_going_straight():
    """Common practice, no source: every wheel is dragged sideways."""
    turning, straight = on_charge(90, TURNING), on_charge(90, STRAIGHT)
    torque = {
        name: np.abs(mean_over(r, "motor_torque", 3.0)).mean()
        for name, r in (("turn", turning), ("go", straight))
    }
    assert torque["turn"] > 5 * torque["go"]
    assert turning.summary["turned_rad"] > 1.0
    # all wheels pull along their own commands: a skid turn is no fight
    assert turning.summary["fighting"]["force_mean_N"] < 0.02


def test_as_the_battery_empties_turning_on_the_spot_is_the_first_to_fail():
    """Common practice, no source."""
    charges = (90, 20, 5, 3, 2)
    turned = [on_charge(charge, TURNING).summary["turned_rad"] for charge in charges]
    went = [share_of_way(on_charge(charge, STRAIGHT)) for charge in charges]
    assert min(turned[:2]) > 1.0
    assert max(turned[2:]) < 0.1
    assert min(went) > 0.9
    assert on_charge(5, TURNING).verdict.startswith("stuck at its start")


# -- the frame


def test_a_skewed_frame_that_presses_on_its_bearings_shortens_the_way_over_rubble():
    """Common practice, no source.  Eight grounds, each with a straight frame and with a skewed one.

    It is the misalignment (bearings, toe) that costs the way.  Wheels out of plane alone do not: the rover
    then stands on one diagonal, and those two wheels slip less.
    """
    skew = {
        "rover.wheels.front_left.drop": "6 mm", "rover.wheels.rear_right.drop": "6 mm",
        "rover.wheels.front_left.extra_drag": "6 mN*m", "rover.wheels.rear_right.extra_drag": "6 mN*m",
        "rover.wheels.front_left.toe": "3 deg",
    }  # fmt: skip
    rubble = {"ground.features.0.rms": "5 mm", "ground.length": "6 m"}

    def distances(frame):
        runs = [
            run(text("rubble_speed_loop.yaml", seed=seed, duration="20 s", change=rubble | frame))
            for seed in range(1, 9)
        ]
        return np.array([r.summary["distance_m"] for r in runs])

    straight, skewed = distances({}), distances(skew)
    shorter = straight - skewed
    print(
        f"straight {straight.mean():.2f} m, skewed {skewed.mean():.2f} m, shorter by {shorter.mean():.2f} m"
    )
    assert shorter.mean() > 0.3 * straight.mean()
    assert shorter.mean() > 3 * shorter.std(ddof=1) / sqrt(len(shorter))


def test_bearings_pressed_by_a_skewed_frame_cost_way_on_every_ground():
    """Common practice, no source: 5 mN·m more drag in two bearings, mild rubble, three sensors."""
    drag = {f"rover.wheels.{name}.extra_drag": "5 mN*m" for name in ("front_left", "rear_right")}
    for seed in range(1, 9):
        rubble = {"ground.features.0.rms": "3 mm"} | THREE_SENSORS
        straight, pressed = (
            run(text("rubble_speed_loop.yaml", seed=seed, change=rubble | frame)).summary["distance_m"]
            for frame in ({}, drag)
        )
        assert pressed < straight
