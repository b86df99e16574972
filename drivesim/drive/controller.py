"""One wheel's controller: what happens at each of its samples; imports drive, physics and the compiler.

``p`` is the wheel's parameter record, ``w`` its state record (fields in ``drivesim.engine.records``).  To add a
strategy: a code in ``commutation``, a branch in ``sample``, a model in ``drivesim.scenario.drive``, a line in
``drivesim.engine.build``.  The other parts of a controller can be had from here too.
"""

from math import inf, pi

from drivesim._compile import compiled
from drivesim.drive.commutation import (
    FIXED_VOLTAGE,
    FORCED,
    LOCKED_FREQUENCY,
    SPEED_LOOP,
    TRIMMED_FREQUENCY,
    is_forced,
    load_angle,
    phase_voltages,
    turn_field,
)
from drivesim.drive.coordination import EQUAL_CURRENT, corrected
from drivesim.drive.fixed_point import from_fixed, pi_step_fixed, rounded, to_fixed
from drivesim.drive.pi import pi_step, toward
from drivesim.drive.sensing import (
    IDEAL_ANGLE,
    IDEAL_SENSOR,
    INTERPOLATED,
    SECTORS,
    sense,
    watch_edges,
)
from drivesim.physics.heat import cut_back_factor
from drivesim.physics.motor import pull_out_angle

__all__ = [
    "FIXED_VOLTAGE",
    "FORCED",
    "IDEAL_ANGLE",
    "IDEAL_SENSOR",
    "INTERPOLATED",
    "LOCKED_FREQUENCY",
    "SECTORS",
    "SPEED_LOOP",
    "TRIMMED_FREQUENCY",
    "apply_pending",
    "due",
    "is_forced",
    "load_angle",
    "phase_voltages",
    "reset",
    "sample",
    "sense",
    "turn_field",
    "watch_edges",
]

NEVER = inf  # the tick of what is not waited for
ALIGNED = -1.0  # s


@compiled
def due(p, w, tick):
    """Tell whether this controller samples at ``tick``, and set the time of its next sample by its own clock.

    A fast clock (``clock_error`` > 0) samples more often.
    """
    if w.next_sample > tick + 0.5:
        return False
    w.next_sample += p.sample_ticks / (1.0 + p.clock_error)
    return True


@compiled
def sample(p, w, speed, voltage_limit, time, tick):
    """Do what the controller does at each of its samples: sense, slew, and set amplitude and frequency.

    ``speed`` [rad/s] is the true one, ``voltage_limit`` [V] what the bus allows, ``time`` [s] that of ``tick``.
    """
    if p.latency_ticks > 0.0:
        take_over(p, w)  # no output waits beyond the next sample
    if p.cut_back_start < inf:
        w.derate = cut_back_factor(w.temperature, p.cut_back_start, p.cut_back_end)
    slew(p, w)
    sense(p, w, speed, time)
    field_speed = 0.0
    if p.strategy == SPEED_LOOP:
        amplitude = speed_loop(p, w, voltage_limit * w.derate)
    elif p.strategy == FIXED_VOLTAGE:
        amplitude = p.voltage_per_speed * w.setpoint
    else:
        shift = trim(p, w) if p.strategy == TRIMMED_FREQUENCY else 0.0
        field_speed = p.pole_pairs * (w.setpoint + shift) * (1.0 + p.clock_error)
        amplitude = p.base_amplitude + p.amplitude_per_hertz * abs(field_speed) / (2.0 * pi)
        if p.hold_at_standstill == 0 and w.setpoint == 0.0 and w.align_left <= 0.0:
            amplitude = 0.0
    if p.pwm_steps > 0.0 and voltage_limit > 0.0:
        amplitude = rounded(amplitude / voltage_limit * p.pwm_steps) * voltage_limit / p.pwm_steps
    w.pending_amplitude, w.pending_field_speed = amplitude, field_speed
    if p.latency_ticks > 0.0:
        w.pending_at = tick + p.latency_ticks
    else:
        take_over(p, w)


@compiled
def slew(p, w):
    """Move the set-point toward the corrected command; let go of what was wound up for the old way.

    A forced field stands still for ``align_time`` before its set-point leaves zero.
    """
    before = w.setpoint
    target = corrected(w.command, w.correction)
    if p.align_time > 0.0 and is_forced(p.strategy) and before == 0.0:
        align(p, w, target)
        if w.align_left > 0.0:
            target = 0.0
    w.setpoint = toward(before, target, p.slew * p.sample_time)
    if before != 0.0 and before * w.setpoint <= 0.0 and before * w.command <= 0.0:
        w.integral = 0.0
        w.integral_fixed = 0


@compiled
def align(p, w, target):
    """Count down how long the field still has to stand; at rest again, all of it lies ahead.

    ``align_left`` [s] is ALIGNED from the end of it to the next rest: turning round is no rest.
    """
    if target == 0.0:
        w.align_left = 0.0
        return
    if w.align_left == 0.0:
        w.align_left = p.align_time
    else:
        w.align_left -= p.sample_time
    if w.align_left <= 0.5 * p.sample_time:
        w.align_left = ALIGNED


@compiled
def speed_loop(p, w, limit):
    """Return the amplitude [V] of a speed loop within ±``limit`` [V], or of its share in an equal current."""
    low, high = -limit, limit
    if p.braking == 0:
        low = 0.0 if w.setpoint >= 0.0 else low
        high = 0.0 if w.setpoint < 0.0 else high
    if p.coordination == EQUAL_CURRENT:
        wanted = (p.resistance + p.on_resistance) * w.current_command
        wanted += p.pole_pairs * p.flux_linkage * w.measured
        return max(low, min(high, wanted))
    return regulated(p, w, p.feed_forward, p.feed_forward_fixed, low, high)


@compiled
def trim(p, w):
    """Return by how much a PI on the measured speed shifts the forced speed [rad/s]."""
    most = p.trim_limit * abs(w.setpoint)
    return regulated(p, w, 0.0, 0, -most, most)


@compiled
def regulated(p, w, feed_forward, feed_forward_fixed, low, high):
    """Return the output of the wheel's PI, in floating point or in the controller's whole numbers."""
    if p.word_bits == 0:
        output, w.integral = pi_step(
            w.setpoint - w.measured, w.integral, feed_forward * w.setpoint, p.kp, p.ki,
            low, high, p.anti_windup, p.sample_time,
        )  # fmt: skip
        return output
    bits, fraction = p.word_bits, p.fraction_bits
    number, w.integral_fixed = pi_step_fixed(
        to_fixed(w.setpoint, fraction, bits), to_fixed(w.measured, fraction, bits), w.integral_fixed,
        feed_forward_fixed, p.kp_fixed, p.ki_fixed,
        to_fixed(low, fraction, bits), to_fixed(high, fraction, bits), bits, p.gain_bits,
    )  # fmt: skip
    return from_fixed(number, fraction)


@compiled
def take_over(p, w):
    """Let the output of the last sample take effect."""
    w.amplitude = w.pending_amplitude
    if is_forced(p.strategy):
        w.field_speed = w.pending_field_speed
        w.pull_out_angle = pull_out_angle(p.resistance + p.on_resistance, p.inductance, w.field_speed)
    w.pending_at = NEVER


@compiled
def apply_pending(p, w, tick):
    """Let the output of the last sample take effect once its latency is over."""
    if tick + 0.5 >= w.pending_at:
        take_over(p, w)


@compiled
def reset(w):
    """Forget what a controller that starts anew has forgotten; its command must be sent again."""
    w.command = w.command_target = w.command_rate = 0.0
    w.setpoint = w.correction = w.current_command = 0.0
    w.integral = w.amplitude = w.measured = w.align_left = 0.0
    w.integral_fixed = 0
    w.field_speed = w.pending_amplitude = w.pending_field_speed = 0.0
    w.pending_at = NEVER
    w.derate = 1.0
    w.edge_time = -1.0
    w.edge_period = 0.0
    w.edge_direction = 1.0
