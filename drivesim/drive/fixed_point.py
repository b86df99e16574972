"""The PI of a small controller in whole numbers, bit for bit; imports only the compiler.

A value in the format with ``fraction_bits`` is the whole number value·2^fraction_bits, held in a signed word of
``word_bits`` (8, 16 or 32).  Sums are kept in twice the word.  What does not fit saturates; nothing wraps round.
"""

from math import floor

from drivesim._compile import compiled


@compiled
def rounded(value):
    """Return ``value`` rounded to a whole number, halves away from zero; still a float."""
    size = abs(value)
    whole = floor(size) + 0.0
    if size - whole >= 0.5:
        whole += 1.0
    return whole if value >= 0.0 else -whole


@compiled
def greatest(bits):
    """Return the greatest number in a signed word of ``bits`` ≤ 64; the least is −greatest − 1."""
    return 2 * ((1 << (bits - 2)) - 1) + 1


@compiled
def saturated(value, bits):
    """Return ``value`` held within a signed word of ``bits``."""
    most = greatest(bits)
    return max(-most - 1, min(most, value))


@compiled
def added(a, b, bits):
    """Return a + b held within a signed word of ``bits`` ≤ 64; nothing overflows on the way."""
    most = greatest(bits)
    if b >= 0:
        return most if a > most - b else a + b
    return -most - 1 if a < -most - 1 - b else a + b


@compiled
def to_fixed(value, fraction_bits, word_bits):
    """Return ``value`` in the fixed-point format: rounded, halves away from zero, and saturated."""
    scaled = value * (1 << fraction_bits)
    most = greatest(word_bits)
    if not scaled < most:  # NaN too
        return most
    if scaled <= -most - 1:
        return -most - 1
    return int(rounded(scaled))


@compiled
def from_fixed(number, fraction_bits):
    """Return the value of a number in the fixed-point format."""
    return number / (1 << fraction_bits)


@compiled
def pi_step_fixed(
    setpoint, measured, integral, feed_forward, kp, ki, low, high, word_bits, gain_bits
):  # one argument a register of the controller
    """Return (output, integral) of one sample, all whole numbers.

    error = setpoint − measured; integral += ki·error, in twice the word; output = (feed_forward·setpoint +
    kp·error + integral) shifted right by ``gain_bits`` ≤ 30 (downward), held in the word and in [low, high].
    Gains ≥ 0 carry ``gain_bits`` of fraction, ki times the sample time.  Where the output is held and the error
    pushes further, the integral stays as it was.
    """
    error = saturated(setpoint - measured, word_bits)
    gathered = added(integral, ki * error, 2 * word_bits)
    wanted = added(gathered, feed_forward * setpoint + kp * error, 64) >> gain_bits
    output = max(low, min(high, saturated(wanted, word_bits)))
    if (wanted > output and error > 0) or (wanted < output and error < 0):
        return output, integral
    return output, gathered
