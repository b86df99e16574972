"""How the rover stands at rest on the ground: least energy of weight and tyres, then held until it is still."""

from __future__ import annotations

import copy
import math

import numpy as np

from drivesim.engine.kernel import advance
from drivesim.engine.model import Model
from drivesim.engine.records import RUNNING, kernel_view
from drivesim.engine.standing import pose_energy, quaternion, stand
from drivesim.ground.surface import SOIL, height_and_slopes, node_at
from drivesim.physics import soil
from drivesim.physics.body import rotation

STILL_AFTER = 0.4  # s of holding
WELL_DAMPED = 0.7  # of critical, of each spring alone
BLOCKED = 1e9  # N·m of bearing drag
SLID = 0.005  # m; farther than treads give

SINK_ROUNDS = 12  # of standing and sinking in turn
SUNK_CLOSE = 1e-6  # m

_ROUNDS = 60
_ENOUGH = 1e-10  # of the weight, and of weight × wheelbase


def settle(model: Model) -> None:
    """Let the rover stand on the ground at its start, at rest, with the treads holding it on a slope.

    Wheels are blocked and contacts well damped until everything is still.  A rover that would slide all the same
    keeps the pose without tread forces.
    """
    for _ in range(SINK_ROUNDS):
        stand_upright(model)
        if not sink_in(model):
            break
    trial = copy.copy(model)
    trial.params, trial.wheels = model.params.copy(), model.wheels.copy()
    trial.bodies, trial.states = model.bodies.copy(), model.states.copy()
    trial.contacts, trial.watches = model.contacts.copy(), model.watches[:0].copy()
    trial.params["record_ticks"] = np.iinfo(np.int64).max
    trial.params["recover_ticks"] = trial.params["electronics"] = trial.params["coordination"] = 0
    trial.params["frame_damping"] = (
        2 * WELL_DAMPED * np.sqrt(model.params["frame_stiffness"] * model.params["frame_mass"])
    )
    share = float(model.params["mass"][0]) / len(model.names)
    held = trial.wheels
    held["driven"], held["bearing_dry"] = 0, BLOCKED
    for stiffness, damping in (
        ("radial_stiffness", "radial_damping"),
        ("tread_stiffness", "tread_damping"),
        ("side_stiffness", "side_damping"),
    ):
        held[damping] = 2 * WELL_DAMPED * np.sqrt(held[stiffness] * share)
    arguments, _, _ = trial.kernel_arguments(1)
    status = advance(*(*arguments, round(STILL_AFTER / model.step)))
    slid = math.hypot(*(trial.bodies[axis][0] - model.bodies[axis][0] for axis in "xy"))
    if status == RUNNING and slid < SLID:
        for name in ("x", "y", "z", "q0", "q1", "q2", "q3", "twist"):
            model.bodies[name] = trial.bodies[name]
        for name in ("ux", "uy", "limit_x", "limit_y", "soil", "sinkage"):
            model.states[name] = trial.states[name]


def stand_upright(model: Model) -> None:
    """Set height, roll and pitch so that tyre forces alone carry the weight without a moment.

    Damped Newton on the energy m·g·z + Σ½·k·depth², which is convex for the small angles of a standing rover.
    """
    wheels, body, surface = model.wheels, model.bodies[0], model.ground.surface
    grid = kernel_view(model.grid)[0]
    yaw = math.atan2(2 * body["q0"] * body["q3"], 1 - 2 * body["q3"] ** 2)
    weight = float(model.params["mass"][0] * model.params["gravity"][0])
    state = np.array(_first_guess(wheels, grid, surface, body, yaw))
    size = float(np.hypot(wheels["x"], wheels["y"]).max())
    scale = np.array([1.0, 1 / size, 1 / size])
    gradient, curvature = np.zeros(3), np.zeros((3, 3))
    views = kernel_view(wheels), kernel_view(model.states), grid, surface, kernel_view(model.bodies)[0]

    def energy_at(pose: np.ndarray) -> float:
        return float(pose_energy(pose[0], pose[1], pose[2], yaw, weight, *views, gradient, curvature))

    energy = energy_at(state)
    for _ in range(_ROUNDS):
        if np.abs(gradient * scale).max() < _ENOUGH * weight:
            break
        move = -np.linalg.solve(curvature, gradient)
        share = 1.0
        while share > 1e-6:
            new = state + share * move
            trial = energy_at(new)
            if trial <= energy + 1e-15:
                break
            share /= 2
        state, energy = new, trial
    z, roll, pitch = state
    body["z"] = z
    body["q0"], body["q1"], body["q2"], body["q3"] = quaternion(roll, pitch, yaw)


def sink_in(model: Model) -> bool:
    """Let wheels that stand on soil sink under the loads they have; tell whether any sank farther than before."""
    body, grid, ground = kernel_view(model.bodies)[0], kernel_view(model.grid)[0], model.ground
    rot = rotation(body["q0"], body["q1"], body["q2"], body["q3"])
    moved = False
    for p, w in zip(kernel_view(model.wheels), model.states, strict=True):
        arm_x, arm_y, _, n_x, n_y, _, depth = stand(p, rot, grid, ground.surface, body, body["z"])
        x, y = body["x"] + arm_x - p["radius"] * n_x, body["y"] + arm_y - p["radius"] * n_y
        node = node_at(
            ground.fields,
            grid["friction_x0"],
            grid["friction_y0"],
            grid["friction_dx"],
            grid["friction_dy"],
            x,
            y,
        )
        w["soil"] = int(ground.fields[(*node, SOIL)])
        if not w["soil"]:
            continue
        kind, width = model.soils[w["soil"] - 1], p["width"]
        modulus = soil.modulus(kind["k_c"], kind["k_phi"], width)
        load = p["radial_stiffness"] * max(0.0, depth - w["sinkage"])
        sunk = soil.sinkage_under_load(load, width, 2 * p["radius"], kind["exponent"], modulus)
        moved |= abs(sunk - w["sinkage"]) > SUNK_CLOSE
        w["sinkage"] = sunk
    return moved


def _first_guess(
    wheels: np.ndarray, grid: np.void, surface: np.ndarray, body: np.void, yaw: float
) -> tuple[float, float, float]:
    """Return z, roll and pitch of the plane nearest to the ground under the wheels."""
    c, s = math.cos(yaw), math.sin(yaw)
    heights = []
    for p in wheels:
        x, y = body["x"] + c * p["x"] - s * p["y"], body["y"] + s * p["x"] + c * p["y"]
        heights.append(
            height_and_slopes(surface, grid["x0"], grid["y0"], grid["dx"], grid["dy"], x, y)[0] - p["z"]
        )
    matrix = np.column_stack([np.ones(len(wheels)), wheels["x"], wheels["y"]])
    z, slope_x, slope_y = np.linalg.lstsq(matrix, np.array(heights), rcond=None)[0]
    return z, math.atan(slope_y), -math.atan(slope_x)
