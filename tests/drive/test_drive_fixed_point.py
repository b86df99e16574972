"""The PI in whole numbers against the same lines in Python's unbounded integers, and against the floating PI."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from drive_records import samples, wheel
from hypothesis import given, settings
from hypothesis import strategies as st

from drivesim.drive.controller import LOCKED_FREQUENCY, SPEED_LOOP, TRIMMED_FREQUENCY
from drivesim.drive.fixed_point import pi_step_fixed, to_fixed


def held(number: int, bits: int) -> int:
    """Return ``number``, or the end of the signed word that it lies beyond."""
    return sorted((-(2 ** (bits - 1)), number, 2 ** (bits - 1) - 1))[1]


def reference(setpoint, measured, integral, ff, kp, ki, low, high, word, gain):
    """Return (output, integral) in integers that never overflow."""
    error = held(setpoint - measured, word)
    candidate = held(integral + ki * error, 2 * word)
    asked = (ff * setpoint + kp * error + candidate) // 2**gain
    output = sorted((low, held(asked, word), high))[1]
    pushes_on = output != asked and (asked - output) * error > 0
    return output, integral if pushes_on else candidate


def whole(word: int, least: int | None = None):
    """Return numbers of a word, its ends more often than chance would have them."""
    most = 2 ** (word - 1) - 1
    least = -most - 1 if least is None else least
    return st.one_of(st.sampled_from((least, most, 0, 1, -1 if least < 0 else 2)), st.integers(least, most))


@st.composite
def runs(draw, word):
    """Return constant registers, and set-points and speeds of a sequence of samples."""
    gains = tuple(draw(whole(word, 0)) for _ in range(3))
    limits = (draw(st.integers(-(2 ** (word - 1)), 0)), draw(whole(word, 0)))
    inputs = draw(st.lists(st.tuples(whole(word), whole(word)), min_size=1, max_size=40))
    return gains, limits, draw(st.integers(0, 30)), inputs


@pytest.mark.parametrize("word", [8, 16, 32])
@settings(deadline=None, derandomize=True, max_examples=400)
@given(data=st.data())
def test_bit_for_bit_against_unbounded_integers(word, data):
    gains, limits, gain_bits, inputs = data.draw(runs(word))
    integral = expected = 0
    for setpoint, measured in inputs:
        output, integral = pi_step_fixed(setpoint, measured, integral, *gains, *limits, word, gain_bits)
        wanted, expected = reference(setpoint, measured, expected, *gains, *limits, word, gain_bits)
        assert (output, integral) == (wanted, expected)
        assert type(integral) is int or isinstance(integral, np.integer)


@pytest.mark.parametrize("word", [8, 16, 32])
def test_corners_saturate_and_never_wrap(word):
    most, least = 2 ** (word - 1) - 1, -(2 ** (word - 1))
    top = 2 ** (2 * word - 1) - 1
    # everything pushes up and nothing may turn negative: held by the word alone, so the integral stays
    assert pi_step_fixed(most, least, top, most, most, most, least, most, word, 0) == (most, top)
    assert pi_step_fixed(least, most, -top - 1, most, most, most, least, most, word, 0) == (least, -top - 1)
    # from a full integral the way back starts at once
    assert pi_step_fixed(0, 1, top, 0, 0, 1, least, most, word, 0) == (most, top - 1)
    # the shift goes downward: one count below zero stays one count below zero
    assert pi_step_fixed(0, 1, 0, 0, 1, 0, least, most, word, min(word, 30)) == (-1, 0)


@settings(deadline=None, derandomize=True, max_examples=1000)
@given(
    value=st.one_of(st.floats(-300, 300), st.floats(allow_nan=False)),
    word=st.sampled_from((8, 16, 32)),
    share=st.floats(0, 0.999),
)
def test_numbers_round_halves_away_from_zero_and_saturate(value, word, share):
    fraction_bits = int(share * word)
    if math.isinf(value):
        expected = held(10**12 if value > 0 else -(10**12), word)
    else:
        size = abs(Fraction(value)) * 2**fraction_bits
        nearest = math.floor(size + Fraction(1, 2))
        expected = held(nearest if value >= 0 else -nearest, word)
    assert to_fixed(value, fraction_bits, word) == expected


GAINS = {"kp": 0.1, "ki": 2.0, "feed_forward": 0.014}


def fixed(word: int, fraction: int, gain: int, sample_time: float = 2e-3) -> dict:
    """Return the fields of a controller that counts in whole numbers."""
    return GAINS | {
        "word_bits": word, "fraction_bits": fraction, "gain_bits": gain,
        "kp_fixed": to_fixed(GAINS["kp"], gain, word), "ki_fixed": to_fixed(GAINS["ki"] * sample_time, gain, word),
        "feed_forward_fixed": to_fixed(GAINS["feed_forward"], gain, word),
    }  # fmt: skip


@pytest.mark.parametrize("direction", [1, -1])
@pytest.mark.parametrize("strategy", [SPEED_LOOP, TRIMMED_FREQUENCY])
def test_with_more_bits_it_becomes_the_floating_pi(strategy, direction):
    """Unlimited and limited samples alike; each four bits more bring the output at least eight times closer."""

    def outputs(changed):
        p, w = wheel(changed | {"strategy": strategy, "base_amplitude": 1.0}, command=10.0 * direction)
        found = []
        for k in range(60):
            samples(p, w, direction * (7.0 if k < 40 else 11.3), 1, limit=2.0)
            found.append((float(w.amplitude), float(w.field_speed)))
        return np.array(found)

    exact = outputs(GAINS)
    errors = [np.abs(outputs(fixed(32, bits, bits + 6)) - exact).max() for bits in (4, 8, 12, 16)]
    assert np.ptp(exact, axis=0).max() > 0.3
    assert errors[-1] < 1e-3
    for coarse, fine in pairwise(errors):
        assert fine < coarse / 8


def test_a_coarse_word_stands_still_where_a_fine_one_creeps_on():
    """With 8 bits and 2 of fraction, ki·Ts = 0.004 is less than half a count of 1/64: nothing is ever integrated."""
    coarse_p, coarse = wheel({"strategy": SPEED_LOOP} | fixed(8, 2, 6), command=10.0)
    fine_p, fine = wheel({"strategy": SPEED_LOOP} | fixed(32, 16, 20), command=10.0)
    assert coarse_p.ki_fixed == 0
    assert np.ptp(samples(coarse_p, coarse, 9.0, 50)) == 0
    assert np.ptp(samples(fine_p, fine, 9.0, 50)) == pytest.approx(49 * 0.004, rel=1e-2)


def test_a_locked_field_does_not_count_in_whole_numbers():
    p, w = wheel(fixed(8, 2, 6) | {"strategy": LOCKED_FREQUENCY, "base_amplitude": 1.0}, command=3.1)
    samples(p, w, 0.0, 1)
    assert w.field_speed == pytest.approx(4 * 3.1, rel=1e-12)
