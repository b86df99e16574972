"""Rolling, sliding, holding and turning of the whole rover against rigid bodies with Coulomb friction."""

import math

import numpy as np
import pytest
from engine_rovers import FOREVER, G, each_wheel, ideal, run_on, step_ends

from drivesim.analysis.ledger import ledger
from drivesim.engine.build import build
from drivesim.engine.simulate import run_model

FREE = each_wheel("driven", (False,) * 4)
STIFF_TREAD = {"rover.wheel.tyre.slip_stiffness": "300 N", "rover.wheel.tyre.relaxation_length": "2 mm"}


def test_spinning_wheels_set_down_at_rest():
    """Source: textbook mechanics (spinning disc, Coulomb friction): r = 50 mm, w0 = 60 rad/s, mu = 0.6.

    Rolls at r·w0/3 = 1.0 m/s after r·w0/(3·mu·g) = 0.169895 s and 0.084947 m; two thirds of the energy are
    lost.  The four wheels together have the disc's inertia m·r²/2.  Free wheels hand the friction to the body
    at their axles, the height of its centre of gravity, so that no axle is unloaded.
    """
    scenario = ideal(
        FREE
        | STIFF_TREAD
        | {
            "rover.wheel.inertia": f"{1.0 * 0.05**2 / 2 / 4} kg*m^2",
            "rover.wheel.tyre.friction": 0.6,
            "duration": "0.4 s",
            "record_every": "0.1 ms",
        }
    )
    model = build(scenario, 1e-4)
    model.states["spin"] = 60.0
    recording = run_model(model)
    time, body, slip = step_ends(recording), recording.body, recording.wheels["slip_speed"]
    rolling = np.argmax(np.abs(slip).max(axis=1) < 0.003)
    assert body["speed"][-1] == pytest.approx(1.0, rel=0.005)
    assert time[rolling] == pytest.approx(0.169895, rel=0.01)
    assert body["x"][rolling] == pytest.approx(0.084947, rel=0.01)
    before = 4 * 0.5 * 3.125e-4 * 60.0**2
    parts = ledger(recording)
    assert parts["tyre_slip"] == pytest.approx(2 / 3 * before, rel=0.005)
    assert parts["motion"] == pytest.approx(-2 / 3 * before, rel=0.005)


def on_a_slope(degrees: float, duration: float, **more: object):
    """Return the built model of a rover with locked wheels on a slope."""
    ramp = {"kind": "ramp", "start": "-3 m", "end": "3 m", "slope": f"{degrees!r} deg"}
    return build(
        ideal(
            FREE
            | each_wheel("extra_drag", (f"{FOREVER} N*m",) * 4)
            | {"ground.features": [ramp], "ground.cell": "5 mm", "duration": f"{duration} s", **more}
        )
    )


@pytest.mark.parametrize("heading", [0, 90, 200])
def test_locked_wheels_hold_below_the_friction_angle(heading):
    """Coulomb friction: a block rests below atan(mu).

    Let go with slack treads it first slides a little, then stands.
    """
    slope = 0.97 * math.degrees(math.atan(0.8))
    model = on_a_slope(slope, 2.0, **{"start.heading": f"{heading} deg"})
    run_model(model)
    given_way = np.array([model.bodies["x"][0], model.bodies["y"][0]])
    bristle = 3 * 0.8 * G / 4 / model.wheels["tread_stiffness"][0]
    assert np.hypot(*given_way) < 0.01
    run_on(model, 12.0)
    assert np.hypot(model.bodies["x"][0] - given_way[0], model.bodies["y"][0] - given_way[1]) < 1e-4 * bristle


@pytest.mark.parametrize("sign", [1, -1])
def test_locked_wheels_slide_above_the_friction_angle(sign):
    """Coulomb friction: a = g·(sin − mu·cos), down the slope, whichever way the rover looks."""
    slope = math.degrees(math.atan(0.8)) + 5
    model = on_a_slope(slope, 1.0, **{"start.heading": "0 deg" if sign > 0 else "180 deg"})
    run_on(model, 0.3)
    early = math.hypot(model.bodies["vx"][0], model.bodies["vz"][0])
    recording = run_on(model, 0.8)
    late = math.hypot(model.bodies["vx"][0], model.bodies["vz"][0])
    a = G * (math.sin(math.radians(slope)) - 0.8 * math.cos(math.radians(slope)))
    assert (late - early) / 0.5 == pytest.approx(a, rel=0.002)
    assert np.sign(recording.body["speed"][-1]) == -sign


@pytest.mark.parametrize(
    ("heading", "side_ratio", "patch", "friction"),
    [(0, 1.0, 1.0, 0.8), (90, 0.5, 1.0, 0.4), (0, 0.5, 0.3, 0.24), (90, 0.5, 0.3, 0.12)],
)
def test_blocked_wheels_slide_to_rest(heading, side_ratio, patch, friction):
    """Coulomb friction: a way of v²/(2·mu·g), mu along or across the tyre, times the ground's own factor."""
    model = build(
        ideal(
            FREE
            | STIFF_TREAD
            | each_wheel("extra_drag", (f"{FOREVER} N*m",) * 4)
            | {
                "rover.wheel.tyre.side_friction_ratio": side_ratio,
                "ground.patches": [{"x": ["-1 m", "2.5 m"], "y": ["-1 m", "1 m"], "factor": patch}],
                "start.heading": f"{heading} deg",
                "duration": "2 s",
            }
        )
    )
    model.bodies["vx"] = 1.0
    run_model(model)
    assert model.bodies["x"][0] == pytest.approx(1.0 / (2 * friction * G), rel=0.005)
    assert abs(model.bodies["vx"][0]) < 1e-6


def test_coast_down():
    """Dry and viscous bearings and rolling resistance against the solution of M·dv/dt = −F − B·v."""
    dry, viscous, rolling, J, r, m, v0 = 0.4e-3, 2e-5, 0.01, 1e-4, 0.05, 1.0, 0.5
    model = build(
        ideal(
            FREE
            | {
                "rover.wheel.bearing": {"dry": f"{dry} N*m", "viscous": f"{viscous} N*m*s/rad"},
                "rover.wheel.tyre.rolling_resistance": rolling,
                "duration": "5 s",
                "record_every": "1 ms",
            }
        )
    )
    model.bodies["vx"], model.states["spin"] = v0, v0 / r
    recording = run_model(model)
    M, F, B = m + 4 * J / r**2, 4 * dry / r + rolling * m * G, 4 * viscous / r**2
    time = recording.time
    expected = np.maximum(0.0, (v0 + F / B) * np.exp(-B * time / M) - F / B)
    stop = M / B * math.log(1 + B * v0 / F)
    assert stop < 4.5
    assert np.abs(recording.body["speed"] - expected).max() < 0.003 * v0
    way = M / B * (v0 - F / B * math.log(1 + B * v0 / F))
    assert model.bodies["x"][0] == pytest.approx(way, rel=0.003)
    assert np.abs(recording.wheels["wheel_speed"][time > stop + 0.1]).max() < 1e-3
    assert np.abs(model.states["spin"]).max() < 1e-9


def test_turned_axles_lead_the_rover_aside():
    """Wheels all turned 4 deg to the left roll where they point; the frame keeps its heading."""
    model = build(ideal(FREE | each_wheel("toe", ("4 deg",) * 4) | {"duration": "2 s"}))
    model.bodies["vx"], model.states["spin"] = 0.5, 0.5 / 0.05
    run_model(model)
    body = model.bodies[0]
    assert body["x"] > 0.8
    assert body["vy"] / body["vx"] == pytest.approx(math.tan(math.radians(4)), rel=1e-4)
    assert abs(body["yaw"]) < 1e-3


BASE, TRACK, MU = 0.2, 0.16, 0.8
SPIN_ROVER = STIFF_TREAD | {"ground": {"length": "1 m", "behind": "1 m", "width": "2 m"}}


def test_free_wheels_brake_a_spin_with_the_turning_moment():
    """Free wheels slide straight sideways: moment mu·W·l/2, l the wheelbase (closed form)."""
    scenario = ideal(
        SPIN_ROVER
        | FREE
        | {"duration": "0.1 s", "record_every": "0.1 ms", "rover.wheel.inertia": "1e-7 kg*m^2"}
    )
    model = build(scenario, 5e-6)
    model.bodies["wz"] = 10.0
    model.states["spin"] = 10.0 * TRACK / 2 / 0.05 * np.array([-1, 1, -1, 1])
    recording = run_model(model)
    rate, time = recording.body["turn_rate"], recording.time
    within = (time > 0.01) & (rate > 1.0)
    slope = np.polyfit(time[within], rate[within], 1)[0]
    inertia = 8e-3 + 4 * 1e-7 * (TRACK / 2 / 0.05) ** 2
    assert -slope * inertia == pytest.approx(MU * 1.0 * G * BASE / 2, rel=0.005)


def test_driven_turn_on_the_spot():
    """Rigid Coulomb theory: each wheel's friction opposes its slip, s along and w·l/2 across; moments cancel.

    Levers of l/2 and b/2 give s = w·l²/(2·b), so the rover turns at w = 2·r·w_wheel·b/(b² + l²) and each
    wheel pushes with mu·N·l/sqrt(b² + l²), at any speed.
    """
    speed = 8.0
    scenario = ideal(
        SPIN_ROVER
        | {
            "drive": {
                "strategy": "speed_loop",
                "proportional": "2 V*s/rad",
                "integral": "20 V/rad",
                "sample_time": "1 ms",
                "sensor": {"kind": "ideal"},
            },
            "commands": [
                {"at": "0 s", "left": f"{-speed} rad/s", "right": f"{speed} rad/s", "ramp": "0.5 s"}
            ],
            "duration": "3 s",
        }
    )
    recording = run_model(build(scenario))
    late = recording.time > 2.0
    wheels, body = recording.wheels[late], recording.body[late]
    diagonal = math.hypot(BASE, TRACK)
    assert wheels["wheel_speed"].mean(axis=0) == pytest.approx(speed * np.array([-1, 1, -1, 1]), rel=1e-4)
    assert body["turn_rate"].mean() == pytest.approx(2 * 0.05 * speed * TRACK / diagonal**2, rel=0.003)
    push = MU * G / 4 * BASE / diagonal
    assert wheels["drive_force"].mean(axis=0) == pytest.approx(push * np.array([-1, 1, -1, 1]), rel=0.003)
    across = MU * G / 4 * TRACK / diagonal
    assert np.abs(wheels["side_force"]).mean(axis=0) == pytest.approx([across] * 4, rel=0.003)
    assert np.hypot(body["x"], body["y"]).max() < 1e-3
