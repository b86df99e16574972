"""What one wheel's controller knows of its rotor: Hall edges, speed and angle; imports drive and the compiler.

``p`` is the wheel's parameter record, ``w`` its state record (fields in ``drivesim.engine.records``).
``edge_index`` is the sector that the wheel is in, as the sensors' levels tell it; ``edge_angle`` [rad] the middle of
the sector that the controller takes it to be in.

Which controller reads what: speed always comes from registered edges (a timer's captures).  Six-step commutation
(SECTORS) reads the levels at each sample, so a missed edge costs it no more than one sample of the wrong sector.
INTERPOLATED goes from edge to edge while it knows a speed, so a missed edge leaves it behind until the next one; at a
standstill it reads the levels too.  A stuck sensor keeps its old levels; once mended they are true again.
"""

from drivesim._compile import compiled
from drivesim.drive.hall import crossed_edge, edge_shift, edge_time, measured_speed

IDEAL_SENSOR = 0  # number of Hall sensors otherwise

# how the controller finds the rotor's angle
IDEAL_ANGLE = 0
INTERPOLATED = 1
SECTORS = 2

POWERED = 1


@compiled
def sense(p, w, speed, time):
    """Store the speed that this controller believes in [rad/s]; ``speed`` is the true one.

    A fast clock finds every period longer than it is.
    """
    if p.sensors == IDEAL_SENSOR:
        w.measured = 0.0 if w.sensor_stuck else speed / (1.0 + p.clock_error)
        return
    read_levels(p, w, time)
    size = measured_speed(p.edge_spacing, w.edge_period, time - w.edge_time, p.sensor_timeout)
    w.measured = believed_direction(p, w) * size / (1.0 + p.clock_error)


@compiled
def read_levels(p, w, time):
    """Take the sector from the sensors' levels where this controller looks at them, unless they are stuck."""
    if w.sensor_stuck:
        return
    if p.commutation == SECTORS or w.edge_period <= 0.0 or time - w.edge_time > p.sensor_timeout:
        w.edge_angle = (w.edge_index + 0.5) * p.edge_spacing


@compiled
def believed_direction(p, w):
    """Return 1.0 or −1.0: three sensors see the direction, with fewer it is taken to be the commanded one."""
    if p.sensors == 1:
        return 1.0 if w.setpoint >= 0.0 else -1.0
    return w.edge_direction


@compiled
def watch_edges(p, w, uniform, normal, angle_before, time, dt):
    """Note a Hall edge crossed in the step that ends at ``time`` [s]; the wheel came from ``angle_before`` [rad].

    ``uniform`` [0, 1) and ``normal`` are draws, of which each wheel takes its own from ``first_draw`` on.  An edge
    that is missed, or that comes while the sensor is stuck or the controller off, is not registered: the next
    period is then the longer.
    """
    if p.sensors == IDEAL_SENSOR:
        return
    before = w.edge_index
    lower = upper = 0.0
    if p.edge_jitter > 0.0 or p.edge_placement > 0.0:
        if abs(w.angle - (before + 0.5) * p.edge_spacing) < p.edge_spacing / 6.0:
            return  # shifts reach no farther than a third of the spacing
        lower = edge_shift(before, p.edge_placement, p.edge_jitter, p.edge_spacing, normal, p.first_draw)
        upper = edge_shift(before + 1, p.edge_placement, p.edge_jitter, p.edge_spacing, normal, p.first_draw)
    index = crossed_edge(before, w.angle, p.edge_spacing, p.edge_hysteresis, lower, upper)
    if index == before:
        return
    w.edge_index = index
    w.edges += 1
    if w.sensor_stuck:
        return
    if w.powered != POWERED and p.driven == 1:
        w.edge_angle = (index + 0.5) * p.edge_spacing  # the levels are read when it starts again
        return
    if p.missed_edges > 0.0 and uniform[(p.first_draw + w.edges) % uniform.shape[0]] < p.missed_edges:
        return
    if index > before:
        edge = index * p.edge_spacing + p.edge_hysteresis + upper
    else:
        edge = (index + 1) * p.edge_spacing - p.edge_hysteresis + lower
    at = edge_time(edge, angle_before, w.angle, time, dt, p.timer_tick)
    register_edge(p, w, at, 1.0 if index > before else -1.0, abs(index - before))


@compiled
def register_edge(p, w, at, direction, count):
    """Let the controller know of ``count`` edges, the last at the time ``at`` [s], in ``direction`` ±1."""
    if w.edge_time < 0.0 or (p.sensors == 3 and direction != w.edge_direction):
        w.edge_period = 0.0  # a first edge, or a turn back that three sensors can see: no period yet
    else:
        w.edge_period = max((at - w.edge_time) / count, p.timer_tick)
    w.edge_direction = direction
    w.edge_time = at
    w.edge_angle = (w.edge_index + 0.5) * p.edge_spacing


@compiled
def estimated_angle(p, w, time):
    """Return the wheel angle [rad] at ``time`` [s] by which this controller commutates.

    The levels of the sensors tell the sector; its middle is taken with SECTORS and while no speed is known.
    INTERPOLATED goes on from the last edge at the last measured speed, as far as the next edge.
    """
    since = time - w.edge_time
    if p.commutation == SECTORS or w.edge_period <= 0.0 or since > p.sensor_timeout:
        return w.edge_angle
    share = min(1.0, since / w.edge_period)
    return w.edge_angle + believed_direction(p, w) * (share - 0.5) * p.edge_spacing
