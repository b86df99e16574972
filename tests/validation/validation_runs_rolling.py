"""Runs of whole rovers on the ground: spinning up, sliding, springs, steps, turning on the spot."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import numpy as np
from engine_rovers import FOREVER, G, each_wheel, ideal, run_on, step_ends
from validation_check import Check, closed

from drivesim.analysis.ledger import ledger
from drivesim.engine.build import build
from drivesim.engine.simulate import run_model

FREE = each_wheel("driven", (False,) * 4)
LOCKED = each_wheel("extra_drag", (f"{FOREVER} N*m",) * 4)
STIFF_TREAD = {"rover.wheel.tyre.slip_stiffness": "300 N", "rover.wheel.tyre.relaxation_length": "2 mm"}
RADIUS, BASE, TRACK, MU = 0.05, 0.2, 0.16, 0.8
LOOP = {
    "strategy": "speed_loop", "proportional": "2 V*s/rad", "integral": "20 V/rad", "sample_time": "1 ms",
    "sensor": {"kind": "ideal"},
}  # fmt: skip


@cache
def spin_up() -> tuple[float, float, float, float]:
    """Return final speed [m/s], time [s] and way [m] to rolling, share of the energy lost, of spinning wheels.

    The four wheels together have a disc's inertia m·r²/2; they are set down at 60 rad/s with friction 0.6.
    """
    inertia = 1.0 * RADIUS**2 / 2 / 4
    changes = {
        "rover.wheel.inertia": f"{inertia} kg*m^2", "rover.wheel.tyre.friction": 0.6, "duration": "0.4 s",
        "record_every": "0.1 ms",
    }  # fmt: skip
    model = build(ideal(FREE | STIFF_TREAD | changes), 1e-4)
    model.states["spin"] = 60.0
    recording = run_model(model)
    time, body = step_ends(recording), recording.body
    final = float(body["speed"][-1])
    half = int(np.argmax(body["speed"] > 0.5 * final))
    rolling = final * time[half] / body["speed"][half]  # the straight rise drawn on
    way = float(np.interp(rolling, time, body["x"]))
    return final, float(rolling), way, ledger(recording)["tyre_slip"] / (4 * 0.5 * inertia * 60.0**2)


def slope_acceleration() -> float:
    """Return the acceleration [m/s²] of a rover with locked wheels 5° beyond the friction angle."""
    ramp = {
        "kind": "ramp",
        "start": "-3 m",
        "end": "3 m",
        "slope": f"{math.degrees(math.atan(MU)) + 5!r} deg",
    }
    changes = {"ground.features": [ramp], "ground.cell": "5 mm", "duration": "1 s"}
    model = build(ideal(FREE | LOCKED | changes))
    speeds = []
    for until in (0.3, 0.8):
        run_on(model, until)
        speeds.append(math.hypot(model.bodies["vx"][0], model.bodies["vz"][0]))
    return (speeds[1] - speeds[0]) / 0.5


def sliding_way(heading: float, side_ratio: float) -> float:
    """Return how far [m] locked wheels slide from 1 m/s, with ``side_ratio`` of the friction sideways."""
    changes = {
        "rover.wheel.tyre.side_friction_ratio": side_ratio, "start.heading": f"{heading} deg", "duration": "1 s",
    }  # fmt: skip
    model = build(ideal(FREE | LOCKED | STIFF_TREAD | changes))
    model.bodies["vx"] = 1.0
    run_model(model)
    return float(model.bodies["x"][0])


def coasting_way() -> float:
    """Return the way [m] a rover coasts from 0.5 m/s against bearings and rolling resistance."""
    changes = {
        "rover.wheel.bearing": {"dry": "0.4 mN*m", "viscous": "2e-5 N*m*s/rad"},
        "rover.wheel.tyre.rolling_resistance": 0.01,
        "duration": "5 s",
    }
    model = build(ideal(FREE | changes))
    model.bodies["vx"], model.states["spin"] = 0.5, 0.5 / RADIUS
    run_model(model)
    return float(model.bodies["x"][0])


@cache
def coasting_closed_form() -> float:
    """Return that way from M·dv/dt = −F − B·v [m]."""
    M = 1.0 + 4 * 1e-4 / RADIUS**2
    F, B = 4 * 0.4e-3 / RADIUS + 0.01 * 1.0 * G, 4 * 2e-5 / RADIUS**2
    return M / B * (0.5 - F / B * math.log(1 + B * 0.5 / F))


@cache
def springs(bump: float, torsion: float | None = None) -> np.ndarray:
    """Return the wheels' loads [N] of 40 N on springs of 2000 N/m, the first foot longer by ``bump`` [m].

    ``torsion`` [N/m] is the stiffness of the frame's twist at each wheel; None for a stiff frame.
    """
    changes = {
        "rover.mass": f"{40 / G!r} kg",
        "rover.inertia": ["0.4 kg*m^2", "0.5 kg*m^2", "0.8 kg*m^2"],
        "rover.wheelbase": "1 m",
        "rover.track": "0.9 m",
        "rover.wheel.tyre.radial_stiffness": "2000 N/m",
        "rover.wheel.tyre.radial_damping": "40 N*s/m",
        "rover.wheels.front_left.drop": f"{bump!r} m",
        "duration": "4 s",
    }
    if torsion is not None:
        changes["rover.frame"] = {"torsion_stiffness": f"{torsion} N/m"}
    model = build(ideal(FREE | changes))
    model.bodies["z"] += 0.005
    return run_model(model).wheels["normal_load"][-1]


def swing(field: str, kick: float, channel: str) -> float:
    """Return the frequency [rad/s] at which the body swings on its undamped tyres."""
    changes = {
        "rover.wheel.tyre.friction": 1e-6,
        "rover.wheel.tyre.radial_damping": "0 N*s/m",
        "rover.centre_of_gravity": ["0 m", "0 m", "-50 mm"],
        "duration": "0.5 s",
        "record_every": "20 us",
    }
    model = build(ideal(changes), 2e-5)
    model.bodies[field] = kick
    recording = run_model(model)
    away = recording.body[channel] - recording.body[channel][0]
    rising = np.flatnonzero((away[:-1] < 0) & (away[1:] >= 0))
    at = recording.time[rising] - away[rising] / (away[rising + 1] - away[rising]) * 2e-5
    return float(2 * math.pi / np.diff(at).mean())


def climbs(h: float, mu: float, rear_only: bool) -> bool:
    """Tell whether strong motors lift the front axle from the corner of a step onto it, slowly."""
    corner = BASE / 2 + math.sqrt(2 * RADIUS * h - h * h) + 1e-5
    step = {"kind": "step", "at": f"{corner!r} m", "height": f"{h!r} m"}
    scenario = ideal(
        each_wheel("driven", (not rear_only, not rear_only, True, True))
        | STIFF_TREAD
        | {
            "rover.inertia": ["1e-2 kg*m^2", "5e-2 kg*m^2", "5e-2 kg*m^2"],
            "rover.wheel.tyre.friction": mu,
            "rover.wheel.tyre.radial_stiffness": "20 N/mm",
            "rover.wheel.tyre.radial_damping": "40 N*s/m",
            "ground": {
                "length": "0.4 m",
                "behind": "0.3 m",
                "width": "0.4 m",
                "cell": "0.2 mm",
                "features": [step],
            },
            "drive": LOOP,
            "commands": [{"at": "0 s", "forward": "0.03 m/s", "ramp": "2 s"}],
            "duration": "4 s",
        }
    )
    height = run_model(build(scenario)).wheels["hub_z"][:, 0]
    return bool(height.max() - height[0] > h / 2)


def friction_needed(h: float, expected: float, rear_only: bool = False) -> float:
    """Return the friction coefficient from which that rover climbs, by halving the interval of ± 8 %."""
    low, high = 0.92 * expected, 1.08 * expected
    if climbs(h, low, rear_only) or not climbs(h, high, rear_only):
        return math.nan
    for _ in range(4):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if climbs(h, middle, rear_only) else (middle, high)
    return 0.5 * (low + high)


@cache
def over_sand() -> tuple[float, float]:
    """Return the mean sinkage [mm] of free wheels that roll over dry sand, and the force [N] that slows the rover."""
    changes = {
        "ground.soil": {"preset": "dry_sand"}, "rover.wheel.tyre.width": "40 mm",
        "rover.wheel.tyre.radial_stiffness": "20 N/mm", "duration": "0.25 s", "record_every": "1 ms",
    }  # fmt: skip
    model = build(ideal(FREE | changes))
    model.bodies["vx"], model.states["spin"] = 0.5, 0.5 / RADIUS
    recording = run_model(model)
    rolling = recording.time > 0.05
    slowing = -np.polyfit(recording.time[rolling], recording.body["speed"][rolling], 1)[0]
    return 1e3 * float(recording.wheels["sinkage"][rolling].mean()), float(
        slowing * (1.0 + 4 * 1e-4 / RADIUS**2)
    )


def braking_moment() -> float:
    """Return the moment [N·m] by which free, sideways sliding wheels brake a spin."""
    changes = {
        "ground": {"length": "1 m", "behind": "1 m", "width": "2 m"}, "duration": "0.1 s",
        "record_every": "0.1 ms", "rover.wheel.inertia": "1e-7 kg*m^2",
    }  # fmt: skip
    model = build(ideal(FREE | STIFF_TREAD | changes), 5e-6)
    model.bodies["wz"] = 10.0
    model.states["spin"] = 10.0 * TRACK / 2 / RADIUS * np.array([-1, 1, -1, 1])
    recording = run_model(model)
    rate, time = recording.body["turn_rate"], recording.time
    within = (time > 0.01) & (rate > 1.0)
    slope = np.polyfit(time[within], rate[within], 1)[0]
    return float(-slope * (8e-3 + 4 * 1e-7 * (TRACK / 2 / RADIUS) ** 2))


@cache
def turn_on_the_spot() -> tuple[float, float, float]:
    """Return turn rate [rad/s], push along and force across of a wheel [N] at wheel speeds of ± 8 rad/s."""
    command = {"at": "0 s", "left": "-8 rad/s", "right": "8 rad/s", "ramp": "0.5 s"}
    changes = {
        "ground": {"length": "1 m", "behind": "1 m", "width": "2 m"}, "drive": LOOP, "commands": [command],
        "duration": "2.5 s",
    }  # fmt: skip
    recording = run_model(build(ideal(STIFF_TREAD | changes)))
    late = recording.time > 1.5
    wheels = recording.wheels[late]
    push, across = np.abs(wheels["drive_force"]).mean(), np.abs(wheels["side_force"]).mean()
    return float(recording.body["turn_rate"][late].mean()), float(push), float(across)


WHOLE: dict[str, Any] = {"by": "whole rover", "wobble": 1e-5}
SAND_N, SAND_K = 1.1, 0.99e3 / 0.04 + 1528.43e3  # dry sand under wheels 40 mm wide
SUNK = (3 * G / 4 / ((3 - SAND_N) * 0.04 * SAND_K * math.sqrt(2 * RADIUS))) ** (
    2 / (2 * SAND_N + 1)
)  # m, Bekker
SAND_DRAG = 0.04 * SAND_K * SUNK ** (SAND_N + 1) / (SAND_N + 1)  # N a wheel
DIAGONAL = math.hypot(BASE, TRACK)

TYRE_RUNS: list[Check] = [
    closed("rover with spinning wheels set down: rolls at r·ω0/3", "1.0", "m/s", lambda: spin_up()[0], rel=0.01,
           **WHOLE),
    closed("… after r·ω0/(3·μ·g)", "0.169895", "s", lambda: spin_up()[1], rel=0.01, **WHOLE),
    closed("… and so far", "0.084947", "m", lambda: spin_up()[2], rel=0.01, **WHOLE),
    closed("… having lost two thirds of its energy to slip", "0.666667", "", lambda: spin_up()[3], rel=0.01,
           **WHOLE),
    closed("locked wheels 5° beyond the friction angle: g·(sin − μ·cos)",
           f"{G * (math.sin(math.atan(MU) + math.radians(5)) - MU * math.cos(math.atan(MU) + math.radians(5))):.5f}",
           "m/s²", slope_acceleration, rel=0.005, **WHOLE),
    closed("locked wheels slide v²/(2·μ·g), along", f"{1 / (2 * MU * G):.5f}", "m", lambda: sliding_way(0, 1.0),
           rel=0.005, **WHOLE),
    closed("… across, with half the friction", f"{1 / (MU * G):.5f}", "m", lambda: sliding_way(90, 0.5),
           rel=0.005, **WHOLE),
    closed("rover coasts from 0.5 m/s against bearings and rolling", f"{coasting_closed_form():.5f}", "m",
           coasting_way, rel=0.003, **WHOLE),
]  # fmt: skip

BODY_RUNS: list[Check] = [
    *[
        closed(f"four springs of 2000 N/m under 40 N, one foot {1e3 * bump:g} mm longer: {wheel}", load, "N",
               lambda bump=bump, i=i: springs(bump)[i], apart=0.05, digits=3, **WHOLE)
        for bump, loads in ((0.008, ("14", "6")), (0.019, ("19.5", "0.5")), (0.021, ("20",)))
        for i, (wheel, load) in enumerate(zip(("that wheel", "its neighbour"), loads, strict=False))
    ],
    *[
        closed(f"the same with a frame that twists by 2000 N/m, foot 8 mm longer: {wheel}", load, "N",
               lambda i=i: springs(0.008, 2000.0)[i], apart=0.05, digits=3, **WHOLE)
        for i, (wheel, load) in enumerate((("that wheel", "12"), ("its neighbour", "8")))
    ],
    closed("bounce on the tyres, sqrt(4·k/m)", f"{math.sqrt(4 * 5000):.3f}", "rad/s",
           lambda: swing("vz", 0.005, "z"), rel=0.003, **WHOLE),
    closed("roll on the tyres, sqrt(k·B²/I)", f"{math.sqrt(5000 * TRACK**2 / 4e-3):.3f}", "rad/s",
           lambda: swing("wx", 0.05, "roll"), rel=0.003, **WHOLE),
    closed("pitch on the tyres, sqrt(k·L²/I)", f"{math.sqrt(5000 * BASE**2 / 5e-3):.3f}", "rad/s",
           lambda: swing("wy", 0.05, "pitch"), rel=0.003, **WHOLE),
]  # fmt: skip

STEP_RUNS: list[Check] = [
    closed(f"rover at a {1e3 * h:g} mm step, {drive}: friction from which it climbs", mu, "",
           lambda h=h, mu=mu, rear=rear: friction_needed(h, float(mu), rear), rel=0.03, digits=3,
           by="whole rover", wobble=1e-4)
    for h, rear, drive, mu in ((0.01, False, "all wheels driven", "0.285714"),
                               (0.02, False, "all wheels driven", "0.4"),
                               (0.01, True, "rear wheels driven", "0.545455"),
                               (0.02, True, "rear wheels driven", "0.8"))
]  # fmt: skip

SOIL_RUNS: list[Check] = [
    closed("1 kg rover coasting over dry sand, wheels 100 × 40 mm: sinkage", f"{1e3 * SUNK:.4f}", "mm",
           lambda: over_sand()[0], rel=0.01, digits=3, by="whole rover", wobble=1e-4),
    closed("… force that slows it, four wheels' compaction resistance", f"{4 * SAND_DRAG:.4f}", "N",
           lambda: over_sand()[1], rel=0.01, digits=3, by="whole rover", wobble=1e-4),
]  # fmt: skip

TURNING_RUNS: list[Check] = [
    closed("free wheels brake a spin by μ·W·l/2", f"{MU * G * BASE / 2:.4f}", "N·m", braking_moment, rel=0.005,
           **WHOLE),
    closed("driven turn on the spot: rate 2·r·ω·b/(b² + l²)", f"{16 * RADIUS * TRACK / DIAGONAL**2:.5f}", "rad/s",
           lambda: turn_on_the_spot()[0], rel=0.005, **WHOLE),
    closed("… push of each wheel μ·N·l/sqrt(b² + l²)", f"{MU * G / 4 * BASE / DIAGONAL:.5f}", "N",
           lambda: turn_on_the_spot()[1], rel=0.005, **WHOLE),
    closed("… force across μ·N·b/sqrt(b² + l²)", f"{MU * G / 4 * TRACK / DIAGONAL:.5f}", "N",
           lambda: turn_on_the_spot()[2], rel=0.005, **WHOLE),
]  # fmt: skip
