"""The same rover model as an ordinary differential equation, interpreted, for scipy's solve_ivp.

Run with NUMBA_DISABLE_JIT=1 so that every equation is plain Python:  peer.py SCENARIO SECONDS METHOD CURRENTS
Prints one JSON line: wall time, simulated time, evaluations, final place.  Dry friction is smoothed, and the drive
is a locked frequency, which needs no sampled controller.  CURRENTS is "states" for the same model (stiff: their
time constant is microseconds) or "steady" for currents that follow at once, which makes it easier than ours.
"""

from __future__ import annotations

import json
import math
import sys
import time

import numpy as np
from scipy.integrate import solve_ivp

from drivesim import load_scenario
from drivesim.engine.build import build
from drivesim.engine.model import Model
from drivesim.engine.records import as_record_array
from drivesim.ground.surface import FRICTION, height_and_slopes, node_at, unit_normal
from drivesim.physics import body as rigid
from drivesim.physics import contact, heat, motor, supply, tyre
from drivesim.physics.winding import resistance_at

BODY_SIZE, WHEEL_SIZE = 14, 7  # pose 7, velocities 6, charge; spin, angle, ux, uy, temperature, id, iq
SMOOTH = 0.05  # rad/s over which dry friction changes sign


def start(model: Model) -> np.ndarray:
    """Return the state vector of the model as it stands."""
    b = model.bodies[0]
    y = [*(b[k] for k in ("x", "y", "z", "q0", "q1", "q2", "q3")), *np.zeros(6), b["state_of_charge"]]
    for w in model.states:
        y += [0.0, 0.0, 0.0, 0.0, w["temperature"], 0.0, 0.0]
    return np.array(y, dtype=float)


def field_at(model: Model, t: float) -> float:
    """Return the field's angle [electrical] under a command that ramps linearly, from where a free rotor rests."""
    command = model.scenario.commands[0]
    target = command.forward / model.wheels[0]["radius"] * model.wheels[0]["pole_pairs"]
    into = max(0.0, t - command.at)
    if into < command.ramp:
        return 0.5 * target * into * into / command.ramp - math.pi / 2
    return target * (into - 0.5 * command.ramp) - math.pi / 2


def rhs(t: float, y: np.ndarray, model: Model, wheels: list, grid, P, steady: bool) -> np.ndarray:
    """Return dy/dt of the whole rover."""
    dy = np.zeros_like(y)
    x, yy, z, q0, q1, q2, q3 = y[:7]
    v, w = y[7:10], y[10:13]
    rot = np.array(rigid.rotation(q0, q1, q2, q3)).reshape(3, 3)
    omega = rot @ w
    force = np.array([0.0, 0.0, -P.mass * P.gravity])
    torque = np.zeros(3)
    E = supply.open_circuit(y[13], model.table[0], model.table[1])
    field_angle = field_at(model, t)
    power = P.electronics
    for i, p in enumerate(wheels):
        spin, angle, ux, uy, temperature, i_d, i_q = y[
            BODY_SIZE + WHEEL_SIZE * i : BODY_SIZE + WHEEL_SIZE * (i + 1)
        ]
        axle = rot @ np.array([p.axle_x, p.axle_y, 0.0])
        arm = rot @ np.array([p.x, p.y, p.z])
        hub = np.array([x, yy, z]) + arm
        h, hx, hy = height_and_slopes(
            model.ground.surface, grid.x0, grid.y0, grid.dx, grid.dy, hub[0], hub[1]
        )
        n = np.array(unit_normal(hx, hy))
        forward = np.cross(axle, n)
        size = math.sqrt(forward @ forward)
        forward /= size
        side = np.cross(n, forward)
        hub_velocity = v + np.cross(omega, arm)
        turning = omega + (spin - omega @ axle) * axle
        slip = hub_velocity + np.cross(turning, -p.radius * n)
        slip_x, slip_y = slip @ forward, slip @ side
        N = contact.normal_force((h - hub[2]) * n[2], -hub_velocity @ n, p.radial_stiffness, p.radial_damping)
        foot = hub - p.radius * n
        node = node_at(
            model.ground.fields, grid.friction_x0, grid.friction_y0, grid.friction_dx, grid.friction_dy,
            foot[0], foot[1],
        )  # fmt: skip
        factor = model.ground.fields[(*node, FRICTION)]
        mu = factor * tyre.stribeck_friction(
            math.hypot(slip_x, slip_y), p.friction, p.sliding_friction, p.stribeck_speed
        )
        tread_speed = hub_velocity @ forward - slip_x
        rate_x = -slip_x - abs(tread_speed) / p.relaxation_length * ux
        rate_y = -slip_y - abs(tread_speed) / p.relaxation_length * uy
        F, S, _, _ = tyre.tread_force(
            ux, uy, rate_x, rate_y, p.tread_stiffness, p.side_stiffness, p.tread_damping, p.side_damping,
            mu * N, mu * N * p.side_friction_ratio,
        )  # fmt: skip
        relative = spin - omega @ axle
        electrical = p.pole_pairs * relative
        R = resistance_at(p.resistance, p.given_at, temperature, p.coefficient)
        V = min(p.base_amplitude, p.modulation * E)
        vd, vq = motor.forced_voltages(V, field_angle - p.pole_pairs * angle)
        rate_d = rate_q = 0.0
        if steady:
            i_d, i_q = motor.steady_current(
                vd, vq, R + p.on_resistance, p.inductance, p.flux_linkage, electrical
            )
        else:
            drop_d = vd - (R + p.on_resistance) * i_d + electrical * p.inductance * i_q
            drop_q = vq - (R + p.on_resistance) * i_q - electrical * (p.inductance * i_d + p.flux_linkage)
            rate_d, rate_q = drop_d / p.inductance, drop_q / p.inductance
        T = motor.torque(i_q, p.pole_pairs, p.flux_linkage)
        drag = p.bearing_dry * math.tanh(relative / SMOOTH) + p.bearing_viscous * relative
        rolling = p.rolling_resistance * N * p.radius * math.tanh(spin / SMOOTH)
        contact_force = N * n + F * forward + S * side
        couple = np.cross(-p.radius * n, contact_force)
        couple -= (couple @ axle) * axle
        force += contact_force
        torque += np.cross(arm, contact_force) + couple - (T - drag) * axle
        power += motor.electrical_power(vd, vq, i_d, i_q) + p.fixed_loss
        at = BODY_SIZE + WHEEL_SIZE * i
        copper = motor.copper_loss(i_d * i_d + i_q * i_q, R)
        dy[at : at + WHEEL_SIZE] = (
            (T - drag - rolling - p.radius * size * F) / p.inertia, relative, rate_x, rate_y,
            heat.node_rate(copper, temperature, P.ambient, p.thermal_resistance, p.heat_capacity),
            rate_d, rate_q,
        )  # fmt: skip
    voltage = supply.terminal_voltage(E, P.battery_resistance, power)
    dy[13] = -power / voltage / P.capacity
    dy[:3] = v
    wx, wy, wz = w
    dy[3:7] = 0.5 * np.array(
        [
            -q1 * wx - q2 * wy - q3 * wz,
            q0 * wx + q2 * wz - q3 * wy,
            q0 * wy - q1 * wz + q3 * wx,
            q0 * wz + q1 * wy - q2 * wx,
        ]
    )
    dy[7:10] = force / P.mass
    dy[10:13] = rigid.angular_acceleration(*w, *(rot.T @ torque), P.inertia_x, P.inertia_y, P.inertia_z)
    return dy


def main() -> None:
    """Integrate and print."""
    model, seconds, method = build(load_scenario(sys.argv[1])), float(sys.argv[2]), sys.argv[3]
    wheels = list(as_record_array(model.wheels))
    grid, P = as_record_array(model.grid)[0], as_record_array(model.params)[0]
    began = time.perf_counter()
    arguments = (model, wheels, grid, P, sys.argv[4] == "steady")
    result = solve_ivp(rhs, (0.0, seconds), start(model), args=arguments, method=method, rtol=1e-4, atol=1e-7)
    wall = time.perf_counter() - began
    print(
        json.dumps(
            {"wall_s": wall, "simulated_s": seconds, "evaluations": result.nfev, "x_m": result.y[0, -1]}
        )
    )


if __name__ == "__main__":
    main()
