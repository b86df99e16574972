"""One wheel's controller: what happens at each of its samples, and between them; imports drive and physics.

``p`` is the wheel's parameter record, ``w`` its state record (fields in ``drivesim.engine.records``).  To add a
strategy: a code here, a branch in ``sample``, a model in ``drivesim.scenario.drive``, a line in
``drivesim.engine.build``.
"""

from math import pi

from drivesim._compile import compiled
from drivesim.drive.hall import crossed_edge, edge_time, measured_speed
from drivesim.drive.pi import pi_step, toward
from drivesim.physics.motor import forced_voltages, pull_out_angle

SPEED_LOOP = 0
LOCKED_FREQUENCY = 1
TRIMMED_FREQUENCY = 2
FIXED_VOLTAGE = 3

LIMITED = 0.999  # share of the limit that counts as reaching it: the limit sags a little between samples
FORCED = (LOCKED_FREQUENCY, TRIMMED_FREQUENCY)  # the field turns at a frequency of its own

IDEAL_SENSOR = 0  # number of Hall sensors otherwise


@compiled
def is_forced(strategy):
    """Tell whether the field turns at a frequency of its own."""
    return strategy in FORCED


@compiled
def sense(p, w, speed, time):
    """Store the speed that this controller believes in [rad/s]; ``speed`` is the true one."""
    if p.sensors == IDEAL_SENSOR:
        w.measured = speed
        return
    size = measured_speed(p.edge_spacing, w.edge_period, time - w.edge_time, p.sensor_timeout)
    if p.sensors == 1:  # the direction is taken to be the commanded one
        w.measured = size if w.setpoint >= 0.0 else -size
    else:
        w.measured = size * w.edge_direction


@compiled
def watch_edges(p, w, angle_before, time, dt):
    """Note a Hall edge crossed in the step that ends at ``time``; the wheel came from ``angle_before`` [rad]."""
    if p.sensors == IDEAL_SENSOR:
        return
    index = crossed_edge(w.edge_index, w.angle, p.edge_spacing, p.edge_hysteresis)
    if index == w.edge_index:
        return
    at = edge_time(
        w.edge_index, index, angle_before, w.angle, p.edge_spacing, p.edge_hysteresis, time, dt, p.timer_tick
    )
    direction = 1.0 if index > w.edge_index else -1.0
    if w.edge_time < 0.0 or (p.sensors == 3 and direction != w.edge_direction):
        w.edge_period = 0.0  # a first edge, or a turn back that three sensors can see: no period yet
    else:
        w.edge_period = max((at - w.edge_time) / abs(index - w.edge_index), p.timer_tick)
    w.edge_direction = direction
    w.edge_index = index
    w.edge_time = at


@compiled
def sample(p, w, speed, voltage_limit, time):
    """Do what the controller does once every ``p.sample_time``: sense, slew, and set amplitude and frequency."""
    before = w.setpoint
    w.setpoint = toward(before, w.command, p.slew * p.sample_time)
    if before != 0.0 and before * w.setpoint <= 0.0:
        w.integral = 0.0  # told to stop or to turn round: what was wound up for the old way is let go
    sense(p, w, speed, time)
    error = w.setpoint - w.measured
    if p.strategy == SPEED_LOOP:
        low, high = -voltage_limit, voltage_limit
        if p.braking == 0:
            low = 0.0 if w.setpoint >= 0.0 else low
            high = 0.0 if w.setpoint < 0.0 else high
        w.amplitude, w.integral = pi_step(
            error,
            w.integral,
            p.feed_forward * w.setpoint,
            p.kp,
            p.ki,
            low,
            high,
            p.anti_windup,
            p.sample_time,
        )
    elif p.strategy == FIXED_VOLTAGE:
        w.amplitude = p.voltage_per_speed * w.setpoint
    else:
        trim = 0.0
        if p.strategy == TRIMMED_FREQUENCY:
            most = p.trim_limit * abs(w.setpoint)
            trim, w.integral = pi_step(
                error, w.integral, 0.0, p.kp, p.ki, -most, most, p.anti_windup, p.sample_time
            )
        w.field_speed = p.pole_pairs * (w.setpoint + trim)
        w.pull_out_angle = pull_out_angle(p.resistance + p.on_resistance, p.inductance, w.field_speed)
        w.amplitude = p.base_amplitude + p.amplitude_per_hertz * abs(w.field_speed) / (2.0 * pi)
        if p.hold_at_standstill == 0 and w.setpoint == 0.0:
            w.amplitude = 0.0


@compiled
def phase_voltages(p, w, electrical_speed, voltage_limit, dt):
    """Return (vd, vq) [V] for the coming step and whether the bus limits them (1.0 or 0.0).

    A forced field is taken at its angle in the middle of the step.
    """
    amplitude = toward(0.0, w.amplitude, voltage_limit)
    limited = 1.0 if abs(w.amplitude) >= LIMITED * voltage_limit else 0.0
    if is_forced(p.strategy):
        lead = field_lead(p, w) + 0.5 * dt * (w.field_speed - electrical_speed)
        vd, vq = forced_voltages(amplitude, lead)
        return vd, vq, limited
    return 0.0, amplitude, limited


@compiled
def field_lead(p, w):
    """Return by how much the field's voltage leads the rotor's q axis [rad electrical], from the pole it holds."""
    return w.field_angle - p.pole_pairs * w.angle - 2.0 * pi * w.poles_slipped


@compiled
def load_angle(p, w):
    """Return how far the field is ahead of where it would hold a free rotor [rad electrical].

    Torque peaks at a quarter turn and the next pole takes over at half a turn, both ways of turning alike.
    """
    return field_lead(p, w) - w.pull_out_angle + 0.5 * pi


@compiled
def turn_field(p, w, dt):
    """Turn the field on by one step and count the poles that the rotor has slipped."""
    if p.driven == 0 or not is_forced(p.strategy):
        return
    w.field_angle += w.field_speed * dt
    angle = load_angle(p, w)
    if abs(angle) > pi:
        w.poles_slipped += 1.0 if angle > 0.0 else -1.0
        w.pole_slips += 1.0
