"""The gains as whole numbers of a wheel controller: which format, what they become, what is lost.

Imports scenario, drive and engine.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from drivesim.drive.fixed_point import greatest, to_fixed
from drivesim.scenario.drive import SpeedLoop, TrimmedFrequency
from drivesim.scenario.fixed_point import Arithmetic
from drivesim.scenario.rules import full_amplitude
from drivesim.scenario.scenario import Scenario
from drivesim.tuning.plant import top_speed

WordBits = Literal[8, 16, 32]
MOST_GAIN_BITS = 30
#: of the commanded wheel speed: a word of the controller holds so much measured speed before it saturates.  A wheel
#: in the air overshoots; beyond this the error is held, and the output is at its end anyway.
ROOM = 4.0
INTEGRAL_ROOM = 2.0  # of the largest output: twice the word holds so much integral
NAMES = ("proportional", "integral", "feed_forward")


@dataclass(frozen=True)
class WholeNumber:
    """One gain in the controller: the SI value it enters with, the number flashed, and what that stands for.

    ``per_sample`` [s, or 1]: the factor between the gain and what the controller holds (ki·Ts).
    """

    name: str
    wanted: float
    per_sample: float
    number: int
    fraction_bits: int

    @property
    def held(self) -> float:
        """The gain that the number stands for."""
        return self.number / 2**self.fraction_bits / self.per_sample

    @property
    def error(self) -> float:
        """By which share rounding changes the gain."""
        return abs(self.held / self.wanted - 1.0) if self.wanted else 0.0


def has_whole_numbers(scenario: Scenario) -> bool:
    """Tell whether drivesim has this drive's loop in whole numbers: the wheels' own PI."""
    drive = scenario.drive.all_wheels
    return (
        isinstance(drive, SpeedLoop | TrimmedFrequency)
        and scenario.drive.coordination.kind != "equal_current"
    )


def chosen_arithmetic(scenario: Scenario, word_bits: WordBits = 16) -> Arithmetic | None:
    """Return the scenario's own format, or that with the most fraction bits that hold its gains and values.

    None where ``word_bits`` cannot hold them, or where there is no PI in whole numbers.
    """
    drive = scenario.drive.all_wheels
    if not has_whole_numbers(scenario):
        return None
    if drive.arithmetic is not None:
        return drive.arithmetic
    if isinstance(drive, SpeedLoop):
        output = full_amplitude(scenario.rover)
    else:
        output = getattr(drive, "trim_limit", 1.0) * top_speed(scenario)
    value_bits = most_bits(max(ROOM * top_speed(scenario), output), word_bits, word_bits - 1)
    largest = max(value * factor for _, value, factor in gains_of(scenario))
    gain_bits = most_bits(largest, word_bits, MOST_GAIN_BITS)
    if value_bits is None or gain_bits is None:
        return None
    of_integral = most_bits(INTEGRAL_ROOM * output, 2 * word_bits, value_bits + gain_bits)
    if of_integral is None or of_integral < value_bits:
        return None
    gain_bits = min(gain_bits, of_integral - value_bits)
    return Arithmetic(word_bits=word_bits, fraction_bits=value_bits, gain_fraction_bits=gain_bits)


def most_bits(value: float, word_bits: int, most: int) -> int | None:
    """Return the most fraction bits ≤ ``most`` with which a word holds ``value``; None where none do."""
    for bits in range(most, -1, -1):
        if value * 2**bits <= greatest(word_bits):
            return bits
    return None


def gains_of(scenario: Scenario) -> list[tuple[str, float, float]]:
    """Return (name, gain, factor with which it enters the controller) of the wheels' PI."""
    drive = scenario.drive.all_wheels
    factors = {"integral": drive.sample_time}
    return [
        (name, float(getattr(drive, name)), factors.get(name, 1.0)) for name in NAMES if hasattr(drive, name)
    ]


def whole_numbers(scenario: Scenario, arithmetic: Arithmetic) -> list[WholeNumber]:
    """Return the PI's gains as the controller holds them; by the very function that the simulation uses."""
    word, bits = arithmetic.word_bits, arithmetic.gain_fraction_bits
    return [
        WholeNumber(name, value, factor, int(to_fixed(value * factor, bits, word)), bits)
        for name, value, factor in gains_of(scenario)
    ]
