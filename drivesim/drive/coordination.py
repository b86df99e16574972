"""One host that sees all wheels and shifts their set-points or currents; imports drive and the compiler.

Everything is taken along each wheel's own command and relative to it, so that a turn is not fought.  Wheels
without power or without a command are left out of every mean.  ``P``, ``b``, ``wheels`` and ``states`` are
records of ``drivesim.engine.records``.
"""

from drivesim._compile import compiled
from drivesim.drive.pi import CONDITIONAL, pi_step
from drivesim.drive.sensing import POWERED

INDEPENDENT = 0
CROSS_COUPLED = 1
DROOP = 2
EQUAL_CURRENT = 3
SLIP_LIMITED = 4


@compiled
def along(command, value):
    """Return ``value`` along a wheel's own command; zero without a command."""
    if command > 0.0:
        return value
    return -value if command < 0.0 else 0.0


@compiled
def corrected(command, correction):
    """Return the command with its correction; never past zero, and no command stays no command."""
    if command > 0.0:
        return max(0.0, command + correction)
    return min(0.0, command + correction) if command < 0.0 else 0.0


@compiled
def totals(states):
    """Return (measured, commanded): sums [rad/s] over the powered wheels along their commands."""
    measured = commanded = 0.0
    for i in range(states.shape[0]):
        w = states[i]
        if w.powered == POWERED:
            measured += along(w.command, w.measured)
            commanded += abs(w.command)
    return measured, commanded


@compiled
def coordinate(P, b, wheels, states, dt_host):
    """Set ``correction`` [rad/s] or ``current_command`` [A] of every wheel; called every ``dt_host`` [s]."""
    if P.coordination == EQUAL_CURRENT:
        share_current(P, b, states, dt_host)
        return
    measured, commanded = totals(states)
    for i in range(wheels.shape[0]):
        w = states[i]
        w.correction = 0.0
        if w.powered != POWERED or w.command == 0.0:
            continue
        if P.coordination == CROSS_COUPLED:
            w.correction = cross_coupling(P.coordination_gain, w.command, w.measured, measured / commanded)
        elif P.coordination == DROOP:
            w.correction = droop(P.coordination_gain, w.command, w.iq)
        elif P.coordination == SLIP_LIMITED:
            others = commanded - abs(w.command)
            if others > 0.0:
                share = (measured - along(w.command, w.measured)) / others
                w.correction = holding_back(P.coordination_margin, w.command, share)


@compiled
def cross_coupling(gain, command, measured, share):
    """Return the correction [rad/s] toward the share of the command that all wheels together reach."""
    return gain * (share * command - measured)


@compiled
def droop(gain, command, iq):
    """Return the correction [rad/s]: the set-point yields to the wheel's own current ``iq`` [A], never past zero.

    A wheel that drives slows down; one that is dragged along runs faster.  ``gain`` [rad/s/A].
    """
    return corrected(command, -gain * iq) - command


@compiled
def holding_back(margin, command, share):
    """Return the correction [rad/s] that keeps a wheel within ``margin`` above the ``share`` the others reach.

    Both are shares of the wheel's own command.  It is always allowed the margin, so that a rover can start.
    """
    return min(0.0, max(0.0, share) + margin - 1.0) * command


@compiled
def share_current(P, b, states, dt_host):
    """Give every commanded wheel the same current along its command, from one PI on their mean speed.

    A wheel without a command is braked in proportion to its speed.
    """
    error = 0.0
    count = 0
    for i in range(states.shape[0]):
        w = states[i]
        if w.powered == POWERED and w.command != 0.0:
            error += along(w.command, w.setpoint - w.measured)
            count += 1
    most = P.coordination_most
    current = 0.0
    if count == 0:
        b.host_integral = 0.0
    else:
        current, b.host_integral = pi_step(
            error / count, b.host_integral, 0.0, P.coordination_kp, P.coordination_ki,
            -most, most, CONDITIONAL, dt_host,
        )  # fmt: skip
    for i in range(states.shape[0]):
        w = states[i]
        if w.powered != POWERED:
            w.current_command = 0.0
        elif w.command != 0.0:
            w.current_command = along(w.command, current)
        else:
            w.current_command = max(-most, min(most, -P.coordination_kp * w.measured))
