"""A wheel pressed on the ground, and the wheel's own bearing; scalar equations only, imports only the compiler."""

from math import copysign

from drivesim._compile import compiled


@compiled
def normal_force(depth, depth_rate, k, c):
    """Return N = k·depth + c·depth_rate ≥ 0 [N]; zero out of contact.  depth [m], rate [m/s], k [N/m], c [N·s/m]."""
    if depth <= 0.0:
        return 0.0
    return max(0.0, k * depth + c * depth_rate)


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
