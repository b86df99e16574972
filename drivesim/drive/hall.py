"""Speed from the time between Hall edges, as a small wheel controller measures it; imports only the compiler.

``n`` sensors on ``p`` pole pairs give 2·n·p edges a turn.  One sensor cannot tell the direction of turning.
"""

from math import floor, pi, tau

from drivesim._compile import compiled


@compiled
def edge_angle(pole_pairs, sensors):
    """Return the wheel angle between two edges [rad]: 2·π/(2·n·p)."""
    return pi / (pole_pairs * sensors)


@compiled
def edge_shift(k, placement, jitter, spacing, normal, first):
    """Return by how much edge ``k`` lies off its place [rad], at most a third of ``spacing``.

    ``placement`` [rad] is the standard deviation of a shift that comes back with every turn, ``jitter`` [rad]
    that of one that does not; ``normal`` holds standard normal draws, jitter in its first half, of which this
    wheel's begin at ``first``.
    """
    half = normal.shape[0] // 2
    per_turn = int(tau / spacing + 0.5)
    shift = placement * normal[half + (first + k % per_turn) % half] + jitter * normal[(first + k) % half]
    return max(-spacing / 3.0, min(spacing / 3.0, shift))


@compiled
def crossed_edge(index, angle, spacing, hysteresis, lower, upper):
    """Return the new edge index for a wheel at ``angle`` [rad]; edges lie at whole multiples of ``spacing`` [rad].

    An edge counts only once the wheel is ``hysteresis`` [rad] beyond it.  ``lower`` and ``upper`` [rad] are the
    shifts of the two edges around the wheel.
    """
    if angle >= (index + 1) * spacing + upper + hysteresis:
        return max(index + 1, floor((angle - upper - hysteresis) / spacing))
    if angle < index * spacing + lower - hysteresis:
        return min(index - 1, floor((angle - lower + hysteresis) / spacing))
    return index


@compiled
def edge_time(edge, angle_before, angle_after, time, dt, tick):
    """Return when the wheel came by the angle ``edge`` [rad] in the step that ends at ``time`` [s], by the timer.

    Linear within the step; cut to whole timer ticks (``tick`` [s], 0 for none).
    """
    travel = angle_after - angle_before
    part = (edge - angle_before) / travel if travel != 0.0 else 1.0
    at = time - dt + dt * max(0.0, min(1.0, part))
    return floor(at / tick) * tick if tick > 0.0 else at


@compiled
def measured_speed(spacing, period, since_edge, timeout):
    """Return the speed [rad/s, unsigned] a period measurement gives.

    ``period`` [s] between the last two edges (0: none yet); bounded by the time since the last edge, zero after
    ``timeout`` [s].
    """
    if period <= 0.0 or since_edge > timeout:
        return 0.0
    return spacing / max(period, since_edge)
