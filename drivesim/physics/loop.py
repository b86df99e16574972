"""A wheel under its speed loop as a first-order plant with a dead time, and Skogestad's rule for its PI.

The plant is that of a self-commutated wheel, phase voltage [V] to speed [rad/s], its inductance neglected:

    P(s) = k·exp(−theta·s)/(tau·s + 1)

``R`` [ohm] per phase of the equivalent star, ``lam`` [Wb] peak flux linkage per phase, ``p`` pole pairs, ``J`` [kg·m²],
``b`` [N·m·s/rad] viscous friction.  Scalar equations only; composes motor.

Sources: the DC machine with Kt = 1.5·p·lam, Ke = p·lam (any drive text); S. Skogestad, "Simple analytic rules for model
reduction and PID controller tuning", J. Process Control 13 (2003) 291-309 (rule and examples from memory).
"""

from math import inf, sqrt

from drivesim._compile import compiled
from drivesim.physics.motor import torque, voltage_for_torque

TURN = 6.283185307179586  # rad


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
def current_gain(lam, p, b):
    """Return the steady speed for each ampere on the q axis, Kt/b [rad/s/A]."""
    return torque(1.0, p, lam) / b


@compiled
def current_time_constant(J, b):
    """Return J/b [s], with which a wheel of given current comes to its speed."""
    return J / b


@compiled
def rolling_load(m, g, rolling, r, dry, b, speed):
    """Return the torque [N·m] that a wheel which carries the mass ``m`` [kg] needs on level ground at ``speed``.

    m·g·rolling·r + dry + b·speed: ``rolling`` resistance as a share of the load, ``dry`` [N·m] drag of the bearing.
    """
    return m * g * rolling * r + dry + b * speed


@compiled
def grip_torque(m, g, friction, r):
    """Return the torque m·g·friction·r [N·m] at which a wheel that carries the mass ``m`` [kg] slides."""
    return m * g * friction * r


@compiled
def driving_voltage(T, R, lam, p, speed):
    """Return the amplitude [V] at which a self-commutated wheel makes ``T`` [N·m] at ``speed``, without inductance."""
    return voltage_for_torque(T, R, 0.0, lam, p, p * speed)


@compiled
def emf_per_hertz(lam):
    """Return the EMF's peak [V] for each hertz of the electrical frequency, 2·pi·lam."""
    return TURN * lam


@compiled
def crossover(k, tau, kp, ki):
    """Return the frequency [rad/s] at which the open loop |(kp + ki/jw)·k/(jw·tau + 1)| is one.

    0 where it is below one at every frequency, inf where above.  x = w² is the positive root of
    tau²·x² + (1 − (kp·k)²)·x − (ki·k)² = 0; of its two forms the one that subtracts nothing.
    """
    a, b, c = tau * tau, 1.0 - (kp * k) ** 2, (ki * k) ** 2
    root = sqrt(b * b + 4.0 * a * c)
    if b > 0.0:
        return sqrt(2.0 * c / (b + root))
    if a > 0.0:
        return sqrt((root - b) / (2.0 * a))
    return inf


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
