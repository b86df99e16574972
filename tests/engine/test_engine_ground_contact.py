"""Whole-rover statics that a run must settle on: a step's corner, and four springs on uneven feet."""

import math
from pathlib import Path

import numpy as np
import pytest
from engine_rovers import G, each_wheel, ideal, standing_on_a_slope
from scipy import optimize
from scipy.spatial.transform import Rotation

from drivesim import scenario_from_text, simulate
from drivesim.engine.build import build
from drivesim.engine.simulate import run_model

SCENARIOS = Path(__file__).parents[2] / "scenarios"
RADIUS, BASE = 0.05, 0.2


def climbs(h: float, mu: float, rear_only: bool, bite: float = 0.0) -> bool:
    """Tell whether strong motors bring the front axle, driven too unless ``rear_only``, from a step's corner onto it.

    A body of high pitch inertia and a slow start keep the push quasi-static.
    """
    corner = BASE / 2 + math.sqrt(2 * RADIUS * h - h * h) + 1e-5
    ground = {
        "length": "1 m", "behind": "0.3 m", "width": "0.6 m", "cell": "0.1 mm",
        "features": [{"kind": "step", "at": f"{corner!r} m", "height": f"{h!r} m"}],
    }  # fmt: skip
    drive = {
        "strategy": "speed_loop", "proportional": "2 V*s/rad", "integral": "20 V/rad", "sample_time": "1 ms",
        "sensor": {"kind": "ideal"},
    }  # fmt: skip
    scenario = ideal(
        each_wheel("driven", (not rear_only, not rear_only, True, True))
        | {
            "rover.inertia": ["1e-2 kg*m^2", "5e-2 kg*m^2", "5e-2 kg*m^2"],
            "rover.wheel.tyre.friction": mu,
            "rover.wheel.tyre.bite": bite,
            "rover.wheel.tyre.slip_stiffness": "300 N",
            "rover.wheel.tyre.relaxation_length": "2 mm",
            "rover.wheel.tyre.radial_stiffness": "20 N/mm",
            "rover.wheel.tyre.radial_damping": "40 N*s/m",
            "ground": ground,
            "drive": drive,
            "commands": [{"at": "0 s", "forward": "0.03 m/s", "ramp": "2 s"}],
            "duration": "4 s",
        }
    )
    height = run_model(build(scenario)).wheels["hub_z"][:, 0]
    return bool(height.max() - height[0] > h / 2)


@pytest.mark.parametrize(
    ("h", "rear_only", "mu"),
    [(0.01, False, 2 / 7), (0.02, False, 0.4), (0.01, True, 6 / 11), (0.02, True, 0.8)],
)
def test_friction_that_a_step_asks_for(h, rear_only, mu):
    """Rigid statics (derived): r = 50 mm, L = 200 mm, weight midway, driven wheels at the friction limit."""
    assert not climbs(h, 0.98 * mu, rear_only)
    assert climbs(h, 1.02 * mu, rear_only)


def friction_with_spikes(h: float, bite: float) -> float:
    """Return the friction at which the front axle starts to lift where spikes add ``bite`` at the corner only.

    Rigid statics (derived): with f = mu + bite at the corner, its normal leaning back by theta,
    (L + r·s)·(c + f·s) + h·(s − f·c) = L/2·((c + f·s) + (s − f·c)/mu).
    """
    c = (RADIUS - h) / RADIUS
    s = math.sqrt(1 - c * c)

    def excess(mu: float) -> float:
        f = mu + bite
        up, back = c + f * s, s - f * c
        return (BASE + RADIUS * s) * up + h * back - BASE / 2 * (up + back / mu)

    return optimize.brentq(excess, 1e-3, 2.0)


@pytest.mark.parametrize(("h", "bite"), [(0.01, 0.2), (0.02, 0.3), (0.03, 0.5)])
def test_spikes_spare_friction_at_a_step(h, bite):
    """While the wheel leaves the floor, each of its feet has the hold of the ground under it."""
    mu = friction_with_spikes(h, bite)
    assert not climbs(h, 0.97 * mu, False, bite)
    assert climbs(h, 1.03 * mu, False, bite)


# 40 N on four springs of 2000 N/m, one foot longer by ``bump``: N = 10 ± k·bump/4 on the diagonals (derived)
def on_uneven_feet(bump: float):
    """Return the built model of the rover on springs; free wheels, so that no tread holds it aside."""
    return build(
        ideal(
            each_wheel("driven", (False,) * 4)
            | {
                "rover.mass": f"{40 / G!r} kg",
                "rover.inertia": ["0.4 kg*m^2", "0.5 kg*m^2", "0.8 kg*m^2"],
                "rover.wheelbase": "1 m",
                "rover.track": "0.9 m",
                "rover.wheel.tyre.radial_stiffness": "2000 N/m",
                "rover.wheel.tyre.radial_damping": "40 N*s/m",
                "rover.wheels.front_left.drop": f"{bump!r} m",
                "duration": "4 s",
            }
        )
    )


def pressed(model) -> np.ndarray:
    """Return the load [N] that one step from the model's pose finds on each wheel."""
    model.scenario = model.scenario.model_copy(update={"duration": model.step})
    run_model(model)
    return model.states["normal_load"].copy()


@pytest.mark.parametrize(
    ("bump", "loads"),
    [
        (0.008, [14.0, 6.0, 6.0, 14.0]),
        (0.019, [19.5, 0.5, 0.5, 19.5]),
        (0.021, [20.0, 0.0, 0.0, 20.0]),  # lift-off at W/k = 20 mm
    ],
)
def test_four_springs_on_uneven_feet(bump, loads):
    """Both the settled start and a run that is dropped onto its feet end with these loads."""
    assert pressed(on_uneven_feet(bump)) == pytest.approx(loads, abs=0.02)
    dropped = on_uneven_feet(bump)
    dropped.bodies["z"] += 0.005
    last = run_model(dropped).wheels[-1]
    assert last["normal_load"] == pytest.approx(loads, abs=0.05)


@pytest.mark.parametrize(
    ("field", "kick", "channel", "frequency"),
    [
        ("vz", 0.05, "z", math.sqrt(4 * 5000 / 1.0)),
        ("wx", 0.5, "roll", math.sqrt(5000 * 0.16**2 / 4e-3)),
        ("wy", 0.5, "pitch", math.sqrt(5000 * 0.2**2 / 5e-3)),
    ],
)
def test_the_body_swings_on_its_tyres(field, kick, channel, frequency):
    """Bounce sqrt(4·k/m), roll sqrt(k·B²/I_x), pitch sqrt(k·L²/I_y): small swings without friction."""
    changes = {
        "rover.wheel.tyre.friction": 1e-6,
        "rover.wheel.tyre.radial_damping": "0 N*s/m",
        "rover.centre_of_gravity": ["0 m", "0 m", "-50 mm"],
        "duration": "0.5 s",
        "record_every": "20 us",
    }
    model = build(ideal(changes), 2e-5)
    model.bodies[field] = kick * 0.1
    recording = run_model(model)
    swing = recording.body[channel] - recording.body[channel][0]
    rising = np.flatnonzero((swing[:-1] < 0) & (swing[1:] >= 0))
    assert 2 * math.pi / np.diff(recording.time[rising]).mean() == pytest.approx(frequency, rel=0.003)


@pytest.mark.parametrize("heading", [0, 40, 90, 215])
def test_loads_on_a_slope(heading):
    """Rigid statics: the weight's part along the slope, at the height h, shifts load down the slope.

    N_i = W·(−g_z/4 + h·g_x·x_i/L² + h·g_y·y_i/B²), g the direction of gravity in body axes (derived; facing
    uphill these are Wong's axle loads).
    """
    model = build(standing_on_a_slope(25.0, heading))
    x, y = model.wheels["x"], model.wheels["y"]
    last = run_model(model).wheels[-1]
    body = model.bodies[0]
    turn = Rotation.from_quat([body["q1"], body["q2"], body["q3"], body["q0"]])
    g = turn.inv().apply([0, 0, -1])
    loads = G * (-g[2] / 4 + 0.06 * g[0] * x / 0.2**2 + 0.06 * g[1] * y / 0.16**2)
    assert math.degrees(math.acos(-g[2])) == pytest.approx(25.0, abs=0.02)
    assert last["normal_load"] == pytest.approx(loads, rel=0.002)


@pytest.mark.parametrize("degrees", [0.0, 12.0, 20.0])
def test_a_run_on_a_slope_starts_at_rest(degrees):
    """Statics: the treads hold the rover, and the loads add up to W·cos(slope) from the first row on."""
    scenario = standing_on_a_slope(degrees, 0.0)
    recording = run_model(build(scenario))
    load = recording.wheels["normal_load"].sum(axis=1)
    weight = scenario.rover.mass * G
    assert load == pytest.approx(np.full(load.shape, weight * math.cos(math.radians(degrees))), rel=1e-4)
    assert np.ptp(recording.body["x"]) < 1e-6


@pytest.mark.parametrize("height", [20, 30])
@pytest.mark.parametrize("step", [None, 50e-6])
def test_pushed_into_a_corner_the_wheels_stand_still_and_make_no_energy(height, step):
    """Statics: friction on floor and edge together holds far more torque than these motors give."""
    text = f"""
    name: corner
    rover: rovers/crawler.yaml
    drive: {{strategy: fixed_voltage, voltage_per_speed: 1 V*s/rad, sensor: {{kind: ideal}}}}
    ground: {{length: 1 m, width: 0.8 m, features: [{{kind: step, at: 0.25 m, height: {height} mm}}]}}
    commands: [{{at: 0.1 s, left: 1 rad/s, right: 1 rad/s}}]
    duration: 5 s
    """
    run = simulate(scenario_from_text(text, SCENARIOS), step=step)
    assert np.abs(run.traces["wheel_speed"].values[-100:]).max() < 1e-3
    assert run.traces["hub_x"].values[-1].max() < 0.25
    assert abs(run.summary["ledger"]["remainder_fraction"]) < 0.005
