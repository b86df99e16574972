"""Rigid body in three dimensions; scalar equations only, imports nothing but the compiler.

Quaternion (q0, q1, q2, q3) turns body axes (x forward, y left, z up; ISO 8855) into world axes.
"""

from math import asin, atan2, cos, sin, sqrt

from drivesim._compile import compiled


@compiled
def rotation(q0, q1, q2, q3):
    """Return the nine entries, row by row, of the matrix that takes body vectors to the world."""
    return (
        1.0 - 2.0 * (q2 * q2 + q3 * q3),
        2.0 * (q1 * q2 - q0 * q3),
        2.0 * (q1 * q3 + q0 * q2),
        2.0 * (q1 * q2 + q0 * q3),
        1.0 - 2.0 * (q1 * q1 + q3 * q3),
        2.0 * (q2 * q3 - q0 * q1),
        2.0 * (q1 * q3 - q0 * q2),
        2.0 * (q2 * q3 + q0 * q1),
        1.0 - 2.0 * (q1 * q1 + q2 * q2),
    )


@compiled
def turned(q0, q1, q2, q3, wx, wy, wz, dt):
    """Return the quaternion after turning at (wx, wy, wz) [rad/s, body axes] for ``dt`` [s]: exact for constant w."""
    half = 0.5 * dt * sqrt(wx * wx + wy * wy + wz * wz)
    # sin(half)/half is 1 − half²/6 where the quotient would lose digits
    factor = 0.5 * dt * (sin(half) / half if half > 1e-4 else 1.0 - half * half / 6.0)
    c, x, y, z = cos(half), wx * factor, wy * factor, wz * factor
    a0 = q0 * c - q1 * x - q2 * y - q3 * z
    a1 = q0 * x + q1 * c + q2 * z - q3 * y
    a2 = q0 * y - q1 * z + q2 * c + q3 * x
    a3 = q0 * z + q1 * y - q2 * x + q3 * c
    size = sqrt(a0 * a0 + a1 * a1 + a2 * a2 + a3 * a3)
    return a0 / size, a1 / size, a2 / size, a3 / size


@compiled
def angular_acceleration(wx, wy, wz, tx, ty, tz, Ix, Iy, Iz):
    """Return Euler's equations I·dw/dt = t − w × (I·w) in principal axes [rad/s²]; t [N·m], I [kg·m²]."""
    return (
        (tx - (Iz - Iy) * wy * wz) / Ix,
        (ty - (Ix - Iz) * wz * wx) / Iy,
        (tz - (Iy - Ix) * wx * wy) / Iz,
    )


@compiled
def roll_pitch_yaw(q0, q1, q2, q3):
    """Return roll, pitch, yaw [rad] (ISO 8855: yaw about z, then pitch about y, nose down positive, then roll)."""
    pitch = asin(max(-1.0, min(1.0, 2.0 * (q0 * q2 - q3 * q1))))
    roll = atan2(2.0 * (q0 * q1 + q2 * q3), 1.0 - 2.0 * (q1 * q1 + q2 * q2))
    yaw = atan2(2.0 * (q0 * q3 + q1 * q2), 1.0 - 2.0 * (q2 * q2 + q3 * q3))
    return roll, pitch, yaw


@compiled
def cross(ax, ay, az, bx, by, bz):
    """Return the vector product a × b."""
    return ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx


@compiled
def kinetic_energy(m, vx, vy, vz, Ix, Iy, Iz, wx, wy, wz):
    """Return the kinetic energy [J] of translation and of rotation in principal axes."""
    return 0.5 * m * (vx * vx + vy * vy + vz * vz) + 0.5 * (Ix * wx * wx + Iy * wy * wy + Iz * wz * wz)


@compiled
def circulating(sum_of_sizes, size_of_sum):
    """Return what works against itself: ½(Σ|a_i| − |Σa_i|), of forces [N] or powers [W]."""
    return 0.5 * (sum_of_sizes - size_of_sum)


@compiled
def damped_velocity(v, force, c, m, dt):
    """Return the velocity after ``dt`` [s] under ``force`` and damping c·v, implicit: (v + dt·F/m)/(1 + dt·c/m)."""
    return (v + dt * force / m) / (1.0 + dt * c / m)
