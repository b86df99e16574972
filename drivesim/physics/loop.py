"""A wheel under its speed loop as a first-order plant with a dead time, and Skogestad's rule for its PI.

The plant is that of a self-commutated wheel, phase voltage [V] to speed [rad/s], its inductance neglected:

    P(s) = k·exp(−theta·s)/(tau·s + 1)

``R`` [ohm] per phase of the equivalent star, ``lam`` [Wb] peak flux linkage per phase, ``p`` pole pairs, ``J`` [kg·m²],
``b`` [N·m·s/rad] viscous friction.  Scalar equations only, imports nothing but the compiler.

Sources: the DC machine with Kt = 1.5·p·lam, Ke = p·lam (any drive text); S. Skogestad, "Simple analytic rules for model
reduction and PID controller tuning", J. Process Control 13 (2003) 291-309 (rule and examples from memory).
"""

from drivesim._compile import compiled


@compiled
def speed_gain(R, lam, p, b):
    """Return the steady speed for each volt, k = Kt/(Kt·Ke + R·b) [rad/s/V]."""
    Kt = 1.5 * p * lam
    return Kt / (Kt * p * lam + R * b)


@compiled
def speed_time_constant(R, J, lam, p, b):
    """Return tau = R·J/(Kt·Ke + R·b) [s]."""
    return R * J / (1.5 * (p * lam) ** 2 + R * b)


@compiled
def carried_inertia(J, m, r):
    """Return the inertia J + m·r² [kg·m²] of a wheel that rolls without slip and carries the mass ``m`` [kg]."""
    return J + m * r * r


@compiled
def edge_delay(spacing, speed):
    """Return the delay [s] of a speed taken from the time between edges ``spacing`` [rad] apart, at ``speed`` [rad/s].

    The value is a mean over one interval, half an interval old when it is new, and held for one interval, half an
    interval on average: one interval in all.
    """
    return spacing / speed


@compiled
def simc_gain(k, tau, closed, theta):
    """Return Skogestad's proportional gain Kc = tau/(k·(closed + theta)).

    ``closed`` [s] is the time constant asked of the closed loop; he recommends ``theta``.
    """
    return tau / (k * (closed + theta))


@compiled
def simc_integral_time(tau, closed, theta):
    """Return Skogestad's integral time min(tau, 4·(closed + theta)) [s]."""
    return min(tau, 4.0 * (closed + theta))


@compiled
def simc_integral_of_delay(k, closed, theta):
    """Return the integral gain 1/(k·(closed + theta)) [1/s] of Skogestad's rule for a plant without lag (tau → 0)."""
    return 1.0 / (k * (closed + theta))
