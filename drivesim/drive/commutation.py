"""From a controller's amplitude to the voltages that the motor sees; imports drive, physics and the compiler.

``p`` is the wheel's parameter record, ``w`` its state record (fields in ``drivesim.engine.records``).
"""

from math import floor, inf, pi, tau

from drivesim._compile import compiled
from drivesim.drive.pi import toward
from drivesim.drive.sensing import IDEAL_ANGLE, POWERED, estimated_angle
from drivesim.physics.motor import forced_voltages, limit_current

SPEED_LOOP = 0
LOCKED_FREQUENCY = 1
TRIMMED_FREQUENCY = 2
FIXED_VOLTAGE = 3

LIMITED = 0.999  # share of the limit that counts as reaching it: the limit sags a little between samples
FORCED = (LOCKED_FREQUENCY, TRIMMED_FREQUENCY)  # the field turns at a frequency of its own


@compiled
def is_forced(strategy):
    """Tell whether the field turns at a frequency of its own."""
    return strategy in FORCED


@compiled
def phase_voltages(p, w, electrical_speed, voltage_limit, R, time, dt):
    """Return (vd, vq, voltage_limited, current_limited, angle_error) for the step that begins at ``time`` [s].

    Voltages [V]; whether the bus (or its cutting back) and the current limit hold them, 1.0 or 0.0; by how much
    the controller's angle leads the rotor [rad electrical], 0 for an ideal angle and for a forced field.  ``R``
    [ohm] is what the current passes: winding and driver.  Angles are those in the middle of the step.
    """
    limit = voltage_limit * w.derate
    amplitude = toward(0.0, w.amplitude, limit)
    limited = 1.0 if abs(w.amplitude) >= LIMITED * limit and w.amplitude != 0.0 else 0.0
    error = held = 0.0
    if is_forced(p.strategy):
        lead = field_lead(p, w) + 0.5 * dt * (w.field_speed - electrical_speed)
        vd, vq = forced_voltages(amplitude, lead)
    elif p.commutation == IDEAL_ANGLE:
        vd, vq = 0.0, amplitude
    else:
        estimate = p.pole_pairs * (estimated_angle(p, w, time + 0.5 * dt) - w.angle)
        error = wrapped(estimate - 0.5 * dt * electrical_speed)
        vd, vq = forced_voltages(amplitude, error)
    if p.current_limit < inf:
        vd, vq, held = limit_current(
            vd, vq, R, p.inductance, p.flux_linkage, electrical_speed, p.current_limit
        )
    return vd, vq, limited, held, error


@compiled
def wrapped(angle):
    """Return the angle [rad] between −π and π."""
    return angle - tau * floor(angle / tau + 0.5) if abs(angle) > pi else angle


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
    """Turn the field on by one step and count the poles that the rotor has slipped.

    Without power there is no field: the rotor passes the poles uncounted.
    """
    if p.driven == 0 or not is_forced(p.strategy):
        return
    if w.powered == POWERED:
        w.field_angle += w.field_speed * dt
    angle = load_angle(p, w)
    if abs(angle) > pi:
        w.poles_slipped += 1.0 if angle > 0.0 else -1.0
        if w.powered == POWERED:
            w.pole_slips += 1.0
