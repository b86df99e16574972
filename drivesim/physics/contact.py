"""A wheel pressed on the ground, and the wheel's own bearing; scalar equations only, imports only the compiler."""

from math import copysign

from drivesim._compile import compiled


@compiled
def normal_force(depth, depth_rate, k, c):
    """Return N = k·depth + c·depth_rate ≥ 0 [N]; zero out of contact.

    ``depth`` [m], ``depth_rate`` [m/s], ``k`` [N/m], ``c`` [N·s/m].
    """
    if depth <= 0.0:
        return 0.0
    return max(0.0, k * depth + c * depth_rate)


@compiled
def spring_energy(depth, k):
    """Return the energy held by a spring that only pushes, ½·k·depth² [J]; zero for ``depth`` ≤ 0 [m]."""
    return 0.5 * k * max(0.0, depth) ** 2


@compiled
def share_corner(depth_a, depth_b, cosine):
    """Return how deep (a, b) [m] a wheel presses into each of two planes that meet in a corner.

    ``depth_a``, ``depth_b`` are how far its centre lies beyond each plane, ``cosine`` < 1 that of the angle
    between their normals.  The vector a·n_a + b·n_b leads to the nearest place that both planes allow, so
    that half its square is a potential: pushing into a corner and out again makes no energy.  One plane alone
    counts where that already satisfies the other.
    """
    if depth_a <= 0.0 and depth_b <= 0.0:
        return 0.0, 0.0
    if depth_a > 0.0 and depth_b <= depth_a * cosine:
        return depth_a, 0.0
    if depth_b > 0.0 and depth_a <= depth_b * cosine:
        return 0.0, depth_b
    square = 1.0 - cosine * cosine
    return (depth_a - cosine * depth_b) / square, (depth_b - cosine * depth_a) / square


@compiled
def dry_friction(speed, limit, J, dt):
    """Return the speed [rad/s] after dry friction of at most ``limit`` [N·m] has acted for ``dt`` [s] on ``J``.

    The exact impulse: it stops the motion where it can, and never reverses it.
    """
    change = limit * dt / J
    if abs(speed) <= change:
        return 0.0
    return speed - copysign(change, speed)


@compiled
def viscous_friction(speed, b, J, dt):
    """Return the speed [rad/s] after viscous drag b·w [N·m], implicit: w/(1 + b·dt/J)."""
    return speed / (1.0 + b * dt / J)


@compiled
def misalignment_drag(angle, drag_per_angle):
    """Return the dry drag [N·m] of a bearing out of line by ``angle`` [rad]; ``drag_per_angle`` [N·m/rad]."""
    return abs(angle) * drag_per_angle
