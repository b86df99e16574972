"""The sampled PI with anti-windup; imports only the compiler."""

from drivesim._compile import compiled

CONDITIONAL = 0
BACK_CALCULATION = 1


@compiled
def pi_step(error, integral, feed_forward, kp, ki, low, high, anti_windup, Ts):
    """Return (output, integral) of one sample: output = feed_forward + kp·error + integral, held in [low, high].

    ``integral`` is ki·∫error in units of the output.  CONDITIONAL stops integrating while the output is held and
    the error pushes further; BACK_CALCULATION pulls the integral toward the value that just reaches the limit,
    with the time constant kp/ki.
    """
    integral += ki * error * Ts
    wanted = feed_forward + kp * error + integral
    output = max(low, min(high, wanted))
    if output != wanted:
        if anti_windup == BACK_CALCULATION:
            rate = min(1.0, ki / kp * Ts) if kp > 0.0 else 1.0
            integral += rate * (output - wanted)
        elif (wanted - output) * error > 0.0:
            integral -= ki * error * Ts
    return output, integral


@compiled
def toward(value, target, most):
    """Return ``value`` moved toward ``target`` by at most ``most`` ≥ 0."""
    return max(value - most, min(value + most, target))
