"""Speed from the time between Hall edges, as a small wheel controller measures it; imports only the compiler.

``n`` sensors on ``p`` pole pairs give 2·n·p edges a turn.  One sensor cannot tell the direction of turning.
"""

from math import floor, pi

from drivesim._compile import compiled


@compiled
def edge_angle(pole_pairs, sensors):
    """Return the wheel angle between two edges [rad]: 2·π/(2·n·p)."""
    return pi / (pole_pairs * sensors)


@compiled
def crossed_edge(index, angle, spacing, hysteresis):
    """Return the new edge index for a wheel at ``angle`` [rad]; edges lie at whole multiples of ``spacing`` [rad].

    An edge counts only once the wheel is ``hysteresis`` [rad] beyond it.
    """
    if angle >= (index + 1) * spacing + hysteresis:
        return floor((angle - hysteresis) / spacing)
    if angle < index * spacing - hysteresis:
        return floor((angle + hysteresis) / spacing)
    return index


@compiled
def edge_time(index_before, index_after, angle_before, angle_after, spacing, hysteresis, time, dt, tick):
    """Return when the last edge was crossed within the step that ends at ``time`` [s], as the timer saw it.

    Linear within the step; cut to whole timer ticks (``tick`` [s], 0 for none).
    """
    edge = (
        index_after * spacing + hysteresis
        if index_after > index_before
        else (index_after + 1) * spacing - hysteresis
    )
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
