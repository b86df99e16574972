"""A rover on soft ground: how deep it stands, how it pulls, what it loses, against the formulas of soil and wheel."""

from __future__ import annotations

import math

import numpy as np
import pytest
from engine_rovers import G, ideal, run_on

from drivesim.analysis.ledger import ledger
from drivesim.engine.build import build
from drivesim.engine.simulate import simulate
from drivesim.physics import soil
from drivesim.scenario.soil import Soil

RADIUS, WIDTH, SPRING = 0.05, 0.04, 5000.0
LOOP = {
    "strategy": "speed_loop", "proportional": "1 V*s/rad", "integral": "10 V/rad", "sample_time": "1 ms",
    "sensor": {"kind": "ideal"},
}  # fmt: skip
SPEED = 6.0  # rad/s of the wheels


def numbers(preset: str):
    """Return the preset's numbers and its modulus under this wheel."""
    values = Soil(preset=preset).numbers
    return values, soil.modulus(values.k_c, values.k_phi, WIDTH)


def on_soil(preset: str, slope: float = 0.0, lugs: str = "0 mm", **more: object):
    """Return the built rover standing on soil, on a slope of ``slope`` degrees from end to end."""
    changes: dict[str, object] = {
        "rover.wheel.tyre.width": f"{WIDTH} m",
        "rover.wheel.tyre.lug_height": lugs,
        "ground.soil": {"preset": preset},
        "drive": LOOP,
        "commands": [{"at": "0.2 s", "left": f"{SPEED} rad/s", "right": f"{SPEED} rad/s", "ramp": "0.5 s"}],
        "record_every": "20 ms",
    }
    if slope:
        ramp = {"kind": "ramp", "start": "-3 m", "end": "3 m", "slope": f"{slope} deg"}
        changes |= {"ground.features": [ramp], "ground.cell": "2 mm"}
    return build(ideal(changes | more))


def sinkage_under(preset: str, load: np.ndarray) -> np.ndarray:
    """Return the sinkage [m] of the rigid-wheel formula under each ``load`` [N]."""
    values, k = numbers(preset)
    return np.array([soil.sinkage_under_load(N, WIDTH, 2 * RADIUS, values.exponent, k) for N in load])


@pytest.mark.parametrize("preset", ["dry_sand", "sandy_loam_15", "snow", "heavy_clay"])
def test_a_rover_stands_on_tyre_and_soil_in_series(preset):
    """Bekker's wheel under a quarter of the weight, and the tyre's spring: hub at r − z(N) − N/k_t."""
    model = on_soil(preset)
    recording = run_on(model, 0.2)
    load = recording.wheels["normal_load"][-1]
    assert load == pytest.approx([G / 4] * 4, rel=1e-3)
    sunk = recording.wheels["sinkage"][-1]
    assert sunk == pytest.approx(sinkage_under(preset, load), rel=0.01)
    assert recording.wheels["hub_z"][-1] == pytest.approx(RADIUS - sunk - load / SPRING, abs=1e-5)


CASES = [
    ("dry_sand", 3.0, "0 mm"),
    ("dry_sand", 10.0, "5 mm"),
    ("sandy_loam_15", 8.0, "0 mm"),
    ("clay_thailand_55", 4.0, "3 mm"),
]


@pytest.fixture(scope="module", params=CASES, ids=lambda case: " ".join(map(str, case)))
def climb(request):
    """Return (preset, slope, lugs, recording of a last steady second, soil loss in it [J])."""
    preset, slope, lugs = request.param
    model = on_soil(preset, slope, lugs)
    run_on(model, 3.0)
    before = model.states["soil_loss"].sum()
    recording = run_on(model, 4.0)
    recording.wheels = recording.wheels[recording.time > 3.0]
    recording.body = recording.body[recording.time > 3.0]
    assert np.ptp(recording.body["speed"]) < 0.02 * recording.body["speed"].mean()  # steady
    return preset, slope, lugs, recording, float(model.states["soil_loss"].sum() - before)


def thrust_and_drag(preset: str, lugs: float, load: float, slip: float) -> tuple[float, float, float]:
    """Return sinkage [m], thrust [N] at ``slip`` and compaction resistance [N] of one wheel, by the formulas."""
    values, k = numbers(preset)
    z = soil.sinkage_under_load(load, WIDTH, 2 * RADIUS, values.exponent, k)
    length = soil.contact_length(z, 2 * RADIUS)
    most = soil.greatest_thrust(WIDTH * length, values.cohesion, load, values.tan_phi, lugs, WIDTH)
    thrust = most * soil.mean_shear(slip * length, values.shear_modulus)
    return z, thrust, soil.compaction_resistance(z, WIDTH, k, values.exponent)


def test_drawbar_pull_of_a_climbing_rover(climb):
    """Σ(thrust at the wheel's slip − compaction resistance) = W·sin(slope): Janosi–Hanamoto and Bekker.

    Sources of the soils' numbers: Wong, Theory of Ground Vehicles (from memory).  The slope is the drawbar.
    """
    preset, slope, lugs, recording, _ = climb
    wheels = recording.wheels
    load, slip = wheels["normal_load"].mean(axis=0), wheels["slip_ratio"].mean(axis=0)
    found = [
        thrust_and_drag(preset, float(lugs.split()[0]) * 1e-3, N, i) for N, i in zip(load, slip, strict=True)
    ]
    sunk, thrust, drag = np.array(found).T
    assert 0.02 < slip.mean() < 0.9
    assert wheels["sinkage"].mean(axis=0) == pytest.approx(sunk, rel=0.02)
    assert wheels["drive_force"].mean(axis=0) == pytest.approx(thrust - drag, rel=0.02)
    assert (thrust - drag).sum() == pytest.approx(G * math.sin(math.radians(slope)), rel=0.02)


def test_what_the_soil_takes_is_compaction_and_shear(climb):
    """∫(R_c·v + thrust·slip speed)dt of four wheels, by the formulas, is the soil's part of the energy."""
    preset, _, lugs, recording, lost = climb
    wheels = recording.wheels
    work = 0.0
    for i in range(4):
        load, slip = wheels["normal_load"][:, i].mean(), wheels["slip_ratio"][:, i].mean()
        _, thrust, drag = thrust_and_drag(preset, float(lugs.split()[0]) * 1e-3, load, slip)
        work += drag * wheels["hub_speed"][:, i].mean() - thrust * wheels["slip_speed"][:, i].mean()
    assert lost == pytest.approx(work * 1.0, rel=0.02)


@pytest.mark.parametrize("speed", [0.1, 0.3])
def test_out_of_a_rut_onto_hard_ground_makes_no_energy_and_no_jump(speed):
    """Half a metre of sand, then hard ground: the wheels climb out by the work of the drive, and stay down."""
    patch = {"x": ["0.2 m", "0.7 m"], "y": ["-1.5 m", "1.5 m"], "soil": {"preset": "dry_sand"}}
    changes = {
        "rover.wheel.tyre.width": f"{WIDTH} m", "rover.battery.electronics": "0 W", "drive": LOOP,
        "ground.patches": [patch], "record_every": "5 ms", "duration": f"{1.2 / speed} s",
        "commands": [{"at": "0.1 s", "forward": f"{speed} m/s", "ramp": "0.5 s"}],
    }  # fmt: skip
    recording = simulate(ideal(changes))
    counted = ledger(recording)
    assert recording.body["x"][-1] > 0.9
    assert recording.wheels["hub_z"].max() < RADIUS + 1e-3
    assert recording.wheels["normal_load"].max() < 3 * G / 4
    assert counted["soil"] > 0.1
    assert abs(counted["remainder"]) < 0.03 * counted["soil"]


def test_a_rover_half_on_soil_stands_still():
    changes = {
        "rover.wheel.tyre.width": f"{WIDTH} m", "rover.battery.electronics": "0 W",
        "ground.patches": [{"x": ["-3 m", "3 m"], "y": ["-1.5 m", "0 m"], "soil": {"preset": "snow"}}],
        "commands": [{"at": "0 s", "forward": "0 m/s"}], "duration": "0.5 s",
    }  # fmt: skip
    recording = simulate(ideal(changes))
    assert np.ptp(recording.body["z"]) < 1e-5
    assert recording.wheels["normal_load"][0].sum() == pytest.approx(G, rel=0.02)
    assert recording.wheels["sinkage"][0, 1] > 0.01  # the right ones sank
    assert recording.wheels["sinkage"][0, 0] == 0
