"""Small time loops and settings of the physics tests; they only compose functions of drivesim.physics.

The loops are compiled too, so that long runs take milliseconds.
"""

from math import cos, pi, sin

import numba
import numpy as np
from hypothesis import settings

from drivesim.physics.body import angular_acceleration, kinetic_energy, rotation, turned
from drivesim.physics.contact import dry_friction, viscous_friction
from drivesim.physics.motor import advance_current, forced_voltages, torque
from drivesim.physics.tyre import advance_bristle, tread_force

compiled = numba.njit(error_model="numpy")  # unlike the product's own code, these loops make arrays

# The first example may include a compile, so there is no deadline; derandomized, so that a failure repeats.
quick = settings(deadline=None, derandomize=True, max_examples=200)


def dc_as_synchronous(R, L, K, p):
    """Return (R, L, lam) of the dq machine that equals a DC machine of R [ohm], L [H], Ke = Kt = K.

    With T = 1.5·p·lam·iq the current iq is the DC machine's divided by 1.5, so R and L grow by 1.5.
    """
    return 1.5 * R, 1.5 * L, K / p


@compiled
def regulated_speed(R, L, lam, p, J, b, voltage, target, Kp, Ki, Kd, dt, steps, every):
    """Run a self-commutated machine from rest at ``voltage`` plus a PID of the speed error.

    Returns speed [rad/s] and iq [A] at t = 0 and after every ``every`` steps.
    """
    speeds = np.zeros(steps // every + 1)
    currents = np.zeros(steps // every + 1)
    id_, w, rate, integral = 0.0, 0.0, 0.0, 0.0
    iq = Kd * target / L  # the ideal D term meets a step of the target with an impulse of voltage
    currents[0] = iq
    for k in range(1, steps + 1):
        error = target - w
        integral += Ki * error * dt
        vq = voltage + Kp * error + integral - Kd * rate
        id_, iq, _, mean_iq, _ = advance_current(id_, iq, 0.0, vq, R, L, lam, p * w, dt)
        before = w
        w = viscous_friction(w + dt * torque(mean_iq, p, lam) / J, b, J, dt)
        rate = (w - before) / dt
        if k % every == 0:
            speeds[k // every] = w
            currents[k // every] = iq
    return speeds, currents


@compiled
def swing(i_peak, lam, p, J, load, delta, field_speed, rotor_speed, dt, steps):
    """Return the load angle [rad electrical] at every step under a field of constant torque amplitude."""
    angles = np.empty(steps + 1)
    angles[0] = delta
    w = rotor_speed
    for k in range(1, steps + 1):
        w += dt * (torque(i_peak * sin(delta), p, lam) - load) / J
        delta += dt * (field_speed - p * w)
        angles[k] = delta
    return angles


@compiled
def loaded_until_slip(V, R, L, lam, p, J, field_speed, start_load, end_load, ramp_time, dt, steps):
    """Turn a forced machine in step, ramp its load, hold it; return (load, time) when |delta| passes pi.

    The load is the last one and the time -1 when it holds to the end.
    """
    w = field_speed / p
    delta, id_, iq = 0.0, 0.0, 0.0
    load = start_load
    for k in range(steps):
        load = start_load + (end_load - start_load) * min(1.0, k * dt / ramp_time)
        vd, vq = forced_voltages(V, delta)
        id_, iq, _, mean_iq, _ = advance_current(id_, iq, vd, vq, R, L, lam, p * w, dt)
        w += dt * (torque(mean_iq, p, lam) - load) / J
        delta += dt * (field_speed - p * w)
        if abs(delta) > pi:
            return load, k * dt
    return load, -1.0


@compiled
def coast_down(speed, coulomb, b, J, dt, steps):
    """Return the speeds [rad/s] of a free wheel that Coulomb and viscous friction slow down."""
    speeds = np.empty(steps + 1)
    speeds[0] = speed
    for k in range(1, steps + 1):
        speed = dry_friction(viscous_friction(speed, b, J, dt), coulomb, J, dt)
        speeds[k] = speed
    return speeds


@compiled
def rest_on_slope(m, g, slope, heading, mu, k, damping, dt, steps):
    """Lay a mass on locked wheels on a slope; return its downhill positions [m] and speeds [m/s].

    ``heading`` [rad] is the downhill direction in the wheels' axes: 0 along, pi/2 to the left.
    """
    positions = np.zeros(steps + 1)
    speeds = np.zeros(steps + 1)
    limit = mu * m * g * cos(slope)
    c, s = cos(heading), sin(heading)
    x, v, ux, uy, force = 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(1, steps + 1):
        v += dt * (g * sin(slope) + force / m)
        x += dt * v
        new_x, new_y = advance_bristle(ux, v * c, 0.0, 1.0, dt), advance_bristle(uy, v * s, 0.0, 1.0, dt)
        rate_x, rate_y = (new_x - ux) / dt, (new_y - uy) / dt
        fx, fy, ux, uy = tread_force(new_x, new_y, rate_x, rate_y, k, k, damping, damping, limit, limit)
        force = fx * c + fy * s
        positions[i] = x
        speeds[i] = v
    return positions, speeds


@compiled
def dropped_disc(m, inertia, r, w, mu, g, k, sigma, dt, steps):
    """Drop a spinning wheel on the ground; return positions [m], speeds [m/s] and spins [rad/s]."""
    positions = np.zeros(steps + 1)
    speeds = np.zeros(steps + 1)
    spins = np.zeros(steps + 1)
    spins[0] = w
    limit = mu * m * g
    x, v, u = 0.0, 0.0, 0.0
    for i in range(1, steps + 1):
        new = advance_bristle(u, v - w * r, w * r, sigma, dt)
        force, _, u, _ = tread_force(new, 0.0, 0.0, 0.0, k, k, 0.0, 0.0, limit, limit)
        v += dt * force / m
        w -= dt * force * r / inertia
        x += dt * v
        positions[i], speeds[i], spins[i] = x, v, w
    return positions, speeds, spins


@compiled
def tumble(inertia, w, q, dt, steps):
    """Turn a free rigid body; return quaternions, world angular momenta [N·m·s] and energies [J]."""
    attitude = np.empty((steps + 1, 4))
    momentum = np.empty((steps + 1, 3))
    energy = np.empty(steps + 1)
    wx, wy, wz = w
    Ix, Iy, Iz = inertia
    q0, q1, q2, q3 = q
    for k in range(steps + 1):
        attitude[k] = (q0, q1, q2, q3)
        m = rotation(q0, q1, q2, q3)
        for row in range(3):
            momentum[k, row] = m[3 * row] * Ix * wx + m[3 * row + 1] * Iy * wy + m[3 * row + 2] * Iz * wz
        energy[k] = kinetic_energy(1.0, 0.0, 0.0, 0.0, Ix, Iy, Iz, wx, wy, wz)
        ax, ay, az = angular_acceleration(wx, wy, wz, 0.0, 0.0, 0.0, Ix, Iy, Iz)
        wx, wy, wz = wx + dt * ax, wy + dt * ay, wz + dt * az
        q0, q1, q2, q3 = turned(q0, q1, q2, q3, wx, wy, wz, dt)
    return attitude, momentum, energy
