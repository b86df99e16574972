"""The C header with the gains to flash, each with its meaning in SI, and the PI step in whole numbers.

Imports scenario, drive and the gains as whole numbers.  The C function repeats
``drivesim.drive.fixed_point.pi_step_fixed`` bit for bit; a test compiles it and compares.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

from drivesim.drive.fixed_point import greatest, to_fixed
from drivesim.drive.hall import edge_angle
from drivesim.scenario.coordination import CrossCoupled, Droop, EqualCurrent, SlipLimited
from drivesim.scenario.drive import FixedVoltage, SpeedLoop, TrimmedFrequency
from drivesim.scenario.fixed_point import Arithmetic
from drivesim.scenario.rules import full_amplitude
from drivesim.scenario.scenario import Scenario
from drivesim.tuning.whole_numbers import WholeNumber, whole_numbers

GUARD = "DS_GAINS_H"
IN_ASCII = str.maketrans(
    {"·": "*", "×": "*", "−": "-", "–": "-", "—": "-", "“": '"', "”": '"', "’": "'", "‘": "'"}
)
DEFINES = {"proportional": "DS_KP", "integral": "DS_KI_TS", "feed_forward": "DS_FF"}
MEANS = {
    "proportional": "proportional gain",
    "integral": "integral gain of one sample, ki * DS_SAMPLE_TIME_S",
    "feed_forward": "feed-forward of the set-point",
}
CAUTION = """\
 * First run these gains with the wheels off the ground, on a supply with a current limit, with a way to cut the
 * power at hand.  Motor, driver and cells: their makers' data and local rules come first.  The gains were found by
 * simulation; a simulation supports a bench test and does not replace it."""

STEP = """\
/* What the numbers below rely on: an arithmetic right shift of negative numbers (the C standard leaves it to the
 * compiler) and two's complement.  The build stops here where they do not hold. */
typedef char ds_needs_arithmetic_shift[((int64_t)-3 >> 1) == (int64_t)-2 ? 1 : -1];
typedef char ds_needs_twos_complement[(-1 & 3) == 3 ? 1 : -1];

static inline int64_t ds_hold(int64_t value, int64_t low, int64_t high)
{{
    return value < low ? low : (value > high ? high : value);
}}

/* a + b, held at the ends of an int64_t; nothing overflows on the way */
static inline int64_t ds_add64(int64_t a, int64_t b)
{{
    if (b >= 0)
        return a > INT64_MAX - b ? INT64_MAX : a + b;
    return a < INT64_MIN - b ? INT64_MIN : a + b;
}}

/* One sample of the PI; call it every DS_SAMPLE_TIME_S.
 *
 * setpoint, measured: {in_unit} in counts of 1/DS_VALUE_ONE.  low, high: the limits of the output, likewise.
 * integral: kept between samples, zero at the start; in counts of 1/(DS_VALUE_ONE * DS_GAIN_ONE) {out_unit}.
 * Returns the {out_words} in counts of 1/DS_VALUE_ONE {out_unit}.
 * The integral stays as it was where the output is held and the error pushes further. */
static inline ds_word ds_pi_step(ds_word setpoint, ds_word measured, ds_long *integral, ds_word low, ds_word high)
{{
    int64_t error = ds_hold((int64_t)setpoint - measured, DS_WORD_LEAST, DS_WORD_MOST);
    int64_t gathered = {gathered};
    int64_t wanted = ds_add64(gathered, (int64_t)DS_FF * setpoint + (int64_t)DS_KP * error) >> DS_GAIN_BITS;
    int64_t output = ds_hold(wanted, low, high);

    if (!((wanted > output && error > 0) || (wanted < output && error < 0)))
        *integral = (ds_long)gathered;
    return (ds_word)output;
}}"""


def header(scenario: Scenario, arithmetic: Arithmetic | None, origin: str) -> str:
    """Return the text of the C header for ``scenario``'s common drive settings; ``origin`` says where they come from.

    Without ``arithmetic`` the gains are given in SI alone, as floating-point constants.
    """
    lines = [
        "/* Gains of a wheel controller, written by drivesim tune.",
        " *",
        f" * {_plain(origin)}",
        " *",
        CAUTION,
    ]
    lines += [" */", f"#ifndef {GUARD}", f"#define {GUARD}", ""]
    if arithmetic is not None:
        lines += ["#include <stdint.h>", ""]
    lines += _timing(scenario)
    lines += _whole(scenario, arithmetic) if arithmetic is not None else _real(scenario)
    lines += _host(scenario)
    if arithmetic is not None:
        lines += [_step(scenario, arithmetic), ""]
    return "\n".join([*lines, f"#endif /* {GUARD} */", ""])


def _define(name: str, value: str, meaning: str) -> str:
    return f"#define {name} {value} /* {_plain(meaning)} */"


def _plain(text: str) -> str:
    """Return text that neither ends nor begins a comment, without trigraphs, in ASCII: letters without accents."""
    text = unicodedata.normalize("NFKD", text.translate(IN_ASCII))
    text = "".join(sign for sign in text if not unicodedata.combining(sign))
    text = "".join(sign if sign.isascii() else "_" for sign in text)
    for pair in ("*/", "/*", "??"):
        while pair in text:
            text = text.replace(pair, " ".join(pair))
    return " ".join(text.split())


def _number(value: float) -> str:
    return repr(float(value))


def _timing(scenario: Scenario) -> list[str]:
    drive = scenario.drive.all_wheels
    lines = [
        _define("DS_SAMPLE_TIME_S", _number(drive.sample_time), "s, from sample to sample of the controller")
    ]
    if drive.sensor.kind == "hall":
        spacing = float(edge_angle(scenario.rover.wheel.motor.pole_pairs, drive.sensor.sensors))
        lines += [
            _define("DS_EDGE_ANGLE_RAD", _number(spacing), "rad of the wheel from Hall edge to Hall edge"),
            _define(
                "DS_SENSOR_TIMEOUT_S",
                _number(drive.sensor.timeout),
                "s without an edge: the speed is taken as 0",
            ),
        ]
    if drive.slew is not None:
        meaning = "rad/s^2, most that the set-point may change; drivesim slews in real numbers"
        lines.append(_define("DS_SLEW_RAD_S2", _number(drive.slew), meaning))
    return [*lines, ""]


def _whole(scenario: Scenario, arithmetic: Arithmetic) -> list[str]:
    word, bits, drive = arithmetic.word_bits, arithmetic.fraction_bits, scenario.drive.all_wheels
    lines = [
        f"typedef int{word}_t ds_word;",
        f"typedef int{2 * word}_t ds_long; /* of the integral */",
        _define("DS_WORD_MOST", _literal(int(greatest(word))), f"largest number of {word} bits"),
        _define("DS_WORD_LEAST", "(-DS_WORD_MOST - 1)", "smallest number"),
        _define(
            "DS_LONG_MOST",
            _literal(int(greatest(2 * word))),
            f"largest integral: {2 * word} bits, then it is held",
        ),
        _define("DS_VALUE_BITS", str(bits), f"fraction bits of speeds and {_output(scenario)[0]}s"),
        _define("DS_VALUE_ONE", _literal(2**bits), f"counts of 1 rad/s, and of 1 {_output(scenario)[1]}"),
        _define("DS_GAIN_BITS", str(arithmetic.gain_fraction_bits), "fraction bits of the gains"),
        _define("DS_GAIN_ONE", _literal(2**arithmetic.gain_fraction_bits), "counts of a gain of 1"),
        "",
    ]
    for gain in whole_numbers(scenario, arithmetic):
        lines.append(_define(DEFINES[gain.name], _literal(gain.number), _meaning(scenario, gain)))
    if not isinstance(drive, SpeedLoop):
        lines.append(_define("DS_FF", "0", "this loop has no feed-forward"))
    return [*lines, *_limits(scenario, arithmetic), ""]


def _limits(scenario: Scenario, arithmetic: Arithmetic) -> list[str]:
    drive = scenario.drive.all_wheels
    if isinstance(drive, SpeedLoop):
        volts = full_amplitude(scenario.rover)
        counts = int(to_fixed(volts, arithmetic.fraction_bits, arithmetic.word_bits))
        text = (
            f"phase amplitude of the full pack, {volts:.6g} V peak; the limit is what the present bus gives"
        )
        lines = [_define("DS_OUTPUT_MOST", _literal(counts), text)]
        if not drive.braking:
            text = "no braking: low is 0 for a set-point >= 0, high is 0 for one below 0"
            lines.append(_define("DS_BRAKING", "0", text))
        return lines
    assert isinstance(drive, TrimmedFrequency)
    text = "of the set-point: the most that the trim may add or take; low = -limit, high = limit"
    return [_define("DS_TRIM_LIMIT", _number(drive.trim_limit), text), *_amplitude(scenario)]


def _meaning(scenario: Scenario, gain: WholeNumber) -> str:
    unit = _unit(scenario, gain.name)
    step = " of one sample" if gain.per_sample != 1.0 else ""
    return (
        f"{MEANS[gain.name]}: {gain.number} / 2^{gain.fraction_bits}{step}, which is {gain.held:.6g} {unit} "
        f"(tuned {gain.wanted:.6g} {unit}, rounding {gain.error:.2%})"
    )


def _unit(scenario: Scenario, name: str) -> str:
    if isinstance(scenario.drive.all_wheels, TrimmedFrequency):
        return {"proportional": "rad/s per rad/s", "integral": "1/s"}[name]
    return {"proportional": "V*s/rad", "integral": "V/rad", "feed_forward": "V*s/rad"}[name]


def _output(scenario: Scenario) -> tuple[str, str]:
    """Return what the PI sets, in words, and its unit."""
    if isinstance(scenario.drive.all_wheels, SpeedLoop):
        return "phase amplitude", "V"
    return "trim of the speed", "rad/s"


def _real(scenario: Scenario) -> list[str]:
    """Return the gains of a drive that drivesim has in real numbers only."""
    drive = scenario.drive.all_wheels
    lines = [
        "/* drivesim runs this drive in real numbers only, so there is no whole-number form to prove. */"
    ]
    if isinstance(drive, FixedVoltage):
        meaning = "V peak for each rad/s of the set-point"
        return [*lines, _define("DS_VOLTAGE_PER_SPEED", _number(drive.voltage_per_speed), meaning), ""]
    if isinstance(drive, SpeedLoop):
        values: Iterable[tuple[str, str]] = (
            ("proportional", "DS_KP"),
            ("integral", "DS_KI"),
            ("feed_forward", "DS_FF"),
        )
        return [*lines, *(_define(d, _number(getattr(drive, n)), _unit(scenario, n)) for n, d in values), ""]
    return [*lines, *_amplitude(scenario), ""]


def _amplitude(scenario: Scenario) -> list[str]:
    drive = scenario.drive.all_wheels
    return [
        _define("DS_BASE_AMPLITUDE_V", _number(getattr(drive, "base_amplitude", 0.0)), "V peak at standstill"),
        _define(
            "DS_AMPLITUDE_PER_HERTZ", _number(getattr(drive, "amplitude_per_hertz", 0.0)),
            "V peak for each Hz of the electrical frequency",
        ),
    ]  # fmt: skip


def _host(scenario: Scenario) -> list[str]:
    """Return what the host that sees all wheels needs, in SI."""
    host = scenario.drive.coordination
    match host:
        case CrossCoupled():
            rows = [("DS_HOST_GAIN", host.gain, "rad/s of correction per rad/s of lead or lag")]
        case Droop():
            rows = [
                ("DS_HOST_DROOP", host.per_current, "rad/s of set-point per A of the wheel's own current")
            ]
        case SlipLimited():
            rows = [
                ("DS_HOST_MARGIN", host.margin, "of the command: how far ahead of the others a wheel may run")
            ]
        case EqualCurrent():
            rows = [
                ("DS_HOST_KP", host.proportional, "A per rad/s"), ("DS_HOST_KI", host.integral, "A per rad"),
                ("DS_HOST_MOST_A", host.most, "A, the largest current command"),
            ]  # fmt: skip
        case _:
            return []
    every = getattr(host, "every", scenario.drive.all_wheels.sample_time)
    rows.append(("DS_HOST_EVERY_S", every, "s, from sample to sample of the host"))
    return [
        "/* the host that sees all wheels, in SI */",
        *(_define(n, _number(v), m) for n, v, m in rows),
        "",
    ]


def _step(scenario: Scenario, arithmetic: Arithmetic) -> str:
    words, unit = _output(scenario)
    product = "(int64_t)DS_KI_TS * error"
    gathered = f"ds_add64(*integral, {product})"
    if arithmetic.word_bits < 32:
        gathered = f"ds_hold(*integral + {product}, -DS_LONG_MOST - 1, DS_LONG_MOST)"
    return STEP.format(gathered=gathered, in_unit="speeds", out_unit=unit, out_words=words)


def _literal(value: int) -> str:
    """Return a whole number as a C constant of a type that holds it."""
    return f"{value}" if value < 2**15 else f"INT64_C({value})" if value >= 2**31 else f"INT32_C({value})"
