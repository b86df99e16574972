"""How a wheel of a standing rover meets the ground, and the energy of a pose; composes ground, touch and physics."""

from math import cos, sin

from drivesim._compile import compiled
from drivesim.engine.touch import touch
from drivesim.physics.body import rotation
from drivesim.physics.contact import spring_energy

LEAST_CURVATURE = 1e-6  # of the stiffest tyre: keeps a pose in the air from having none


@compiled
def quaternion(roll, pitch, yaw):
    """Return the quaternion of yaw, then pitch, then roll (ISO 8855)."""
    cr, sr = cos(roll / 2), sin(roll / 2)
    cp, sp = cos(pitch / 2), sin(pitch / 2)
    cy, sy = cos(yaw / 2), sin(yaw / 2)
    return (
        cr * cp * cy + sr * sp * sy,
        sr * cp * cy - cr * sp * sy,
        cr * sp * cy + sr * cp * sy,
        cr * cp * sy - sr * sp * cy,
    )


@compiled
def stand(p, rot, grid, surface, b, z):
    """Return a wheel's arm (x, y, z) [m] and the ground's normal under its hub in world axes, and the depth [m].

    ``p``: its WHEEL record; ``rot``: the body's rotation matrix; ``b``: the BODY_STATE, but for its height ``z`` [m].
    """
    x, y, low = p.x, p.y, p.z + p.twist * b.twist
    arm_x = rot[0] * x + rot[1] * y + rot[2] * low
    arm_y = rot[3] * x + rot[4] * y + rot[5] * low
    arm_z = rot[6] * x + rot[7] * y + rot[8] * low
    axle_x = rot[0] * p.axle_x + rot[1] * p.axle_y
    axle_y = rot[3] * p.axle_x + rot[4] * p.axle_y
    found = touch(p.radius, axle_x, axle_y, b.x + arm_x, b.y + arm_y, z + arm_z + p.hub_lower, grid, surface)
    return arm_x, arm_y, arm_z, found[0], found[1], found[2], found[3]


@compiled
def pose_energy(z, roll, pitch, yaw, weight, wheels, states, grid, surface, b, gradient, curvature):
    """Return m·g·z + Σ½·k·depth² [J] of a pose; fills its gradient and a positive curvature over (z, roll, pitch).

    ``wheels`` and ``states``: WHEEL and WHEEL_STATE records; ``gradient`` (3,) and ``curvature`` (3, 3) are
    overwritten.  ``weight`` [N].
    """
    q0, q1, q2, q3 = quaternion(roll, pitch, yaw)
    rot = rotation(q0, q1, q2, q3)
    forward_x, forward_y = cos(yaw), sin(yaw)
    stiffest = 0.0
    for p in wheels:
        stiffest = max(stiffest, p.radial_stiffness)
    for i in range(3):
        gradient[i] = 0.0
        for j in range(3):
            curvature[i, j] = LEAST_CURVATURE * stiffest if i == j else 0.0
    gradient[0] = weight
    energy = weight * z
    for w in range(len(wheels)):
        p = wheels[w]
        arm_x, arm_y, arm_z, nx, ny, nz, depth = stand(p, rot, grid, surface, b, z)
        depth -= states[w].sinkage
        if depth <= 0.0:
            continue
        # how the depth grows with height, roll about the heading (forward) and pitch about the axle (left)
        by_height = -nz
        by_roll = -(
            nx * forward_y * arm_z - ny * forward_x * arm_z + nz * (forward_x * arm_y - forward_y * arm_x)
        )
        by_pitch = -(
            nx * forward_x * arm_z + ny * forward_y * arm_z - nz * (forward_y * arm_y + forward_x * arm_x)
        )
        k = p.radial_stiffness
        energy += spring_energy(depth, k)
        slope = (by_height, by_roll, by_pitch)
        for i in range(3):
            gradient[i] += k * depth * slope[i]
            for j in range(3):
                curvature[i, j] += k * slope[i] * slope[j]
    return energy
