"""Virtual power of one wheel's contact: what the body and the spin give is what press, slip and hold take."""

from pathlib import Path

import numpy as np
import pytest

from drivesim import scenario_from_text
from drivesim.analysis.ledger import ledger
from drivesim.engine import records
from drivesim.engine.build import build
from drivesim.engine.press import ground_under, press
from drivesim.engine.simulate import run_model
from drivesim.engine.wheel_step import move, place
from drivesim.ground.surface import SOIL
from drivesim.physics.body import rotation

SCENARIOS = Path(__file__).parents[2] / "scenarios"
RADIUS, CELL = 0.05, 0.002


def ground():
    """A floor that meets a slope of 0.3 in a hollow edge at x = 0.5 m, as the wheel's centre rides on it."""
    x = np.arange(0.0, 1.0, CELL)
    surface = np.repeat((np.where(x < 0.5, 0.0, 0.3 * (x - 0.5)) + RADIUS)[:, None], 3, axis=1)
    grid = np.zeros(1, records.GRID)
    for name, value in {"dx": CELL, "dy": 1.0, "y0": -1.0, "friction_dx": 1.0, "friction_dy": 1.0}.items():
        grid[name] = value
    fields = np.ones((2, 2, 4))
    fields[..., SOIL] = 0.0
    return surface, grid[0], fields


def wheel_and_body(rng):
    """A toed wheel pressed 2 mm into the ground near the edge, everything turning and slipping at random."""
    p, w, c, b = (
        np.zeros(1, t) for t in (records.WHEEL, records.WHEEL_STATE, records.CONTACT, records.BODY_STATE)
    )
    fixed = {
        "radius": RADIUS, "axle_x": 0.1, "axle_y": 0.995, "x": 0.1, "y": 0.06, "z": -0.01, "radial_stiffness": 3e3,
        "friction": 0.8, "sliding_friction": 0.8, "stribeck_speed": 0.05, "side_friction_ratio": 1.0,
        "tread_stiffness": 2e3, "side_stiffness": 2e3, "width": 0.02, "lug_height": 0.003, "twist": -1.0,
    }  # fmt: skip
    for name, value in fixed.items():
        p[name] = value
    q = np.array([1.0, *rng.normal(0, 0.15, 3)])
    q /= np.linalg.norm(q)
    for name, value in zip(("q0", "q1", "q2", "q3"), q, strict=True):
        b[name] = value
    arm = np.array(rotation(*q)).reshape(3, 3) @ [0.1, 0.06, -0.01]
    b["x"], b["y"], b["z"] = 0.5 + rng.normal(0, 0.003) - arm[0], -arm[1], RADIUS - 0.002 - arm[2]
    for name in ("vx", "vy", "vz", "wx", "wy", "wz"):
        b[name] = rng.normal()
    b["twist_rate"] = 0.1 * rng.normal()
    w["spin"], w["ux"], w["uy"] = 10 * rng.normal(), *rng.normal(0, 1e-4, 2)
    return p[0], w[0], c[0], b[0], rotation(*q)


@pytest.mark.parametrize("soil", [0, 1])
def test_power_in_equals_power_out(soil):
    """F·v + M·Ω − r·F·spin = −N·(depth rate) + F·(slip along) + S·(slip across) + drag·v: mechanics, no model in it.

    The frame twists under the wheel, and on soil the drag acts at the hub.
    """
    rng = np.random.default_rng(1)
    surface, grid, fields = ground()
    fields[..., SOIL] = soil
    sand = np.array([(1.1, 990.0, 1528430.0, 1040.0, 0.53, 0.01)], records.SOIL)
    corners = 0
    for _ in range(500):
        p, w, c, b, rot = wheel_and_body(rng)
        depth = place(p, c, b, rot, grid, surface)
        move(p, w, c, b, rot)
        press(p, w, c, grid, fields, sand, depth, 1e-4)
        corners += c["grip"] > 1.0001
        turning = np.array(rot).reshape(3, 3) @ [b["wx"], b["wy"], b["wz"]]
        hub = np.array([b["vx"], b["vy"], b["vz"]]) + np.cross(turning, [c["arm_x"], c["arm_y"], c["arm_z"]])
        hub += p["twist"] * b["twist_rate"] * np.array(rot).reshape(3, 3)[:, 2]
        force = np.array([c["force_x"], c["force_y"], c["force_z"]])
        couple = np.array([c["couple_x"], c["couple_y"], c["couple_z"]])
        tread = w["drive_force"] - c["soil_drag"]
        given = force @ hub + couple @ turning - c["rolling_radius"] * tread * w["spin"]
        taken = (
            tread * c["slip_x"]
            + c["soil_drag"] * c["hub_speed"]
            + w["side_force"] * c["slip_y"]
            - w["normal_load"] * c["depth_rate"]
        )
        assert given == pytest.approx(taken, rel=1e-9, abs=1e-12)
    assert corners > 20


def test_each_foot_in_a_hollow_edge_has_the_ground_under_it():
    """Floor and slope of different kinds: each counts with its share of the load, and the soil of the greater holds."""
    rng = np.random.default_rng(2)
    surface, grid, fields = ground()
    grid["friction_x0"] = (
        0.007  # kinds meet at 507 mm: ahead of the foot on the floor, behind that on the slope
    )
    floor, slope = [0.4, 0.0, 1.0], [0.9, 1.0, 3.0]
    fields[0], fields[1] = [*floor, 0.0], [*slope, 1.0]
    on_slope = []
    for _ in range(500):
        p, _, c, b, rot = wheel_and_body(rng)
        place(p, c, b, rot, grid, surface)
        feet = np.array([[c["foot_x"], c["foot_y"]], [c["other_x"], c["other_y"]]])
        shares = np.array([1.0 - c["other_share"], c["other_share"]])
        assert c["grip"] * shares @ feet == pytest.approx([c["n_x"], c["n_y"]], abs=1e-12)
        if c["other_share"] > 0.0:
            on_slope.append(float(shares @ (feet[:, 0] < -0.2)))
            *kinds, soil = ground_under(RADIUS, c, grid, fields)
            assert kinds == pytest.approx(
                np.array(floor) + on_slope[-1] * np.subtract(slope, floor), abs=1e-12
            )
            assert soil == (on_slope[-1] > 0.5)
    assert len(on_slope) > 20
    assert min(on_slope) < 0.5 < max(on_slope)


@pytest.mark.parametrize(("height", "speed"), [(16, 0.3), (16, 0.5), (24, 0.3), (30, 0.2)])
def test_rolling_against_an_edge_makes_no_energy(height, speed):
    """A free rover without damping hits a step: what comes back is at most what it brought."""
    free = "".join(
        f", rover.wheels.{side}.driven: false"
        for side in ("front_left", "front_right", "rear_left", "rear_right")
    )
    text = f"""
    name: against an edge
    rover: rovers/crawler.yaml
    drive: {{strategy: fixed_voltage, voltage_per_speed: 0.02 V*s/rad, sensor: {{kind: ideal}}}}
    ground: {{length: 1 m, width: 0.8 m, features: [{{kind: step, at: 0.14 m, height: {height} mm}}]}}
    commands: [{{at: 0 s, left: 0 rad/s, right: 0 rad/s}}]
    duration: 0.6 s
    change: {{rover.wheel.tyre.radial_damping: 0 N*s/m, rover.battery.electronics: 0 W{free}}}
    """
    model = build(scenario_from_text(text, SCENARIOS))
    radius, inertia = float(model.wheels["radius"][0]), float(model.wheels["inertia"][0])
    mass = float(model.params["mass"][0])
    model.bodies["vx"], model.states["spin"] = speed, speed / radius
    brought = 0.5 * mass * speed**2 + 2 * inertia * (speed / radius) ** 2
    recording = run_model(model)
    assert recording.wheels["normal_load"].max() > 2 * mass * 9.81 / 4  # it did hit
    assert abs(ledger(recording)["remainder"]) < 0.02 * brought
