"""The C header: compiled by the machine's own C compiler, its PI step gives the simulation's numbers bit for bit."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from drivesim import load_scenario, scenario_from_text
from drivesim.drive.fixed_point import pi_step_fixed, to_fixed
from drivesim.scenario.variation import Template
from drivesim.tuning.header import header
from drivesim.tuning.whole_numbers import chosen_arithmetic, whole_numbers

SCENARIOS = Path(__file__).parents[2] / "scenarios"
CC = shutil.which("cc") or shutil.which("gcc")
needs_cc = pytest.mark.skipif(CC is None, reason="no C compiler here")

MAIN = """
#include "gains.h"
#include <stdio.h>
#include <inttypes.h>
int main(void)
{
    int64_t setpoint, measured, low, high, start;
    ds_long integral = 0;
    while (scanf("%" SCNd64 "%" SCNd64 "%" SCNd64 "%" SCNd64 "%" SCNd64, &setpoint, &measured, &low, &high,
                 &start) == 5) {
        if (start)
            integral = (ds_long)(start > 0 ? DS_LONG_MOST - start : -DS_LONG_MOST - 1 - start);
        ds_word output = ds_pi_step((ds_word)setpoint, (ds_word)measured, &integral, (ds_word)low, (ds_word)high);
        printf("%" PRId64 " %" PRId64 "\\n", (int64_t)output, (int64_t)integral);
    }
    return 0;
}
"""


def scenario(more: str = "", base: str = "rubble_speed_loop.yaml"):
    return scenario_from_text(f"base: {base}\nchange: {{{more}}}\n", SCENARIOS)


def compiled(text: str, folder: Path, std: str = "c99") -> Path:
    """Compile the header into a program that runs samples given to it; warnings are errors."""
    (folder / "gains.h").write_text(text, encoding="ascii")
    (folder / "main.c").write_text(MAIN, encoding="ascii")
    flags = [f"-std={std}", "-O2", "-Wall", "-Wextra", "-Wconversion", "-pedantic", "-Werror", "-ftrapv"]
    subprocess.run(
        [str(CC), *flags, "main.c", "-o", "run"], cwd=folder, check=True, capture_output=True, text=True
    )
    return folder / "run"


def samples(word: int, count: int, seed: int) -> np.ndarray:
    """Return set-points, speeds, limits and fresh starts: any number of the word, its ends, and small ones."""
    draw = np.random.default_rng(seed)
    most = 2 ** (word - 1) - 1
    whole = draw.integers(-most - 1, most, size=(count, 4), endpoint=True)
    whole = np.where(
        draw.random((count, 4)) < 0.15, draw.choice([-most - 1, most, 0, 1, -1], (count, 4)), whole
    )
    near = draw.random(count) < 0.5  # near each other, so that the output is not always at its limits
    whole[near, 1] = np.clip(whole[near, 0] + draw.integers(-9, 10, near.sum()), -most - 1, most)
    whole[:, 2:] = np.sort(whole[:, 2:], axis=1)
    wide = draw.random(count) < 0.4
    whole[wide, 2], whole[wide, 3] = -most - 1, most
    start = np.where(draw.random(count) < 0.02, draw.choice([1, 7, -1, -9], count), 0)
    return np.column_stack([whole, start])


@needs_cc
@pytest.mark.parametrize(
    ("word", "more"),
    [
        (8, "drive.proportional: 0.9 V*s/rad, drive.integral: 40 V/rad"),
        (16, ""),
        (16, "drive.feed_forward: 20 mV*s/rad, drive.proportional: 1.5 V*s/rad, drive.integral: 80 V/rad"),
        (32, "drive.feed_forward: 13 mV*s/rad"),
        (32, "drive.feed_forward: 1.9 V*s/rad, drive.proportional: 1.9 V*s/rad, drive.integral: 800 V/rad"),
    ],
)  # fmt: skip
def test_the_compiled_step_is_the_simulated_step_bit_for_bit(word, more, tmp_path):
    chosen = scenario(more)
    arithmetic = chosen_arithmetic(chosen, word)
    program = compiled(header(chosen, arithmetic, "test"), tmp_path)
    given = samples(word, 6_000, seed=word)
    text = "\n".join(" ".join(map(str, row)) for row in given)
    ran = subprocess.run([str(program)], input=text, check=True, capture_output=True, text=True)
    found = np.array([line.split() for line in ran.stdout.splitlines()], dtype=np.int64)
    gains = {n.name: n.number for n in whole_numbers(chosen, arithmetic)}
    top = 2 ** (2 * word - 1) - 1
    integral, expected, held = 0, [], 0
    for setpoint, measured, low, high, start in given.tolist():
        if start:
            integral = top - start if start > 0 else -top - 1 - start
        output, after = pi_step_fixed(
            setpoint, measured, integral, gains["feed_forward"], gains["proportional"], gains["integral"],
            low, high, word, arithmetic.gain_fraction_bits,
        )  # fmt: skip
        held += after == integral
        integral = after
        expected.append((output, integral))
    assert (found == np.array(expected)).all()
    assert 0.05 < held / len(given) < 0.95  # both ways through the anti-windup were taken


@needs_cc
@pytest.mark.parametrize("std", ["c99", "c11", "gnu17"])
def test_a_header_of_each_loop_compiles(std, tmp_path):
    name = "a comment */ /* or /*/ with · odd − letters…, ??/ “quotes”, café ＊／"
    for base in ("rubble_speed_loop.yaml", "rubble_trimmed.yaml", "rubble_droop.yaml", "fixed_point.yaml"):
        chosen = load_scenario(SCENARIOS / base)
        compiled(header(chosen, chosen_arithmetic(chosen), name), tmp_path, std)


def test_a_name_stays_readable_in_the_header():
    chosen = scenario()
    text = header(chosen, chosen_arithmetic(chosen), "café… 3·λ – “slow”, really?")
    assert ' * cafe... 3*_ - "slow", really?\n' in text


@needs_cc
def test_the_build_stops_where_a_right_shift_is_not_arithmetic(tmp_path):
    """As on a compiler that shifts zeros in: the guard must be a real one."""
    chosen = scenario()
    text = header(chosen, chosen_arithmetic(chosen), "test").replace(
        "((int64_t)-3 >> 1)", "((int64_t)((uint64_t)-3 >> 1))"
    )
    with pytest.raises(subprocess.CalledProcessError) as error:
        compiled(text, tmp_path)
    assert "ds_needs_arithmetic_shift" in error.value.stderr


def number(text: str, name: str) -> float:
    return float(re.search(rf"#define {name} (?:INT\d\d_C\()?([-0-9.e]+)", text)[1])


def test_the_numbers_mean_what_the_comments_say():
    chosen = scenario("drive.feed_forward: 13.4 mV*s/rad")
    arithmetic = chosen_arithmetic(chosen)
    text = header(chosen, arithmetic, "test")
    one = number(text, "DS_GAIN_ONE")
    assert number(text, "DS_KP") / one == pytest.approx(0.12, rel=1e-4)
    assert number(text, "DS_KI_TS") / one / number(text, "DS_SAMPLE_TIME_S") == pytest.approx(0.9, rel=2e-3)
    assert number(text, "DS_FF") / one == pytest.approx(0.0134, rel=1e-3)
    # two polymer cells at 4.1 V, half of it in a sine
    assert number(text, "DS_OUTPUT_MOST") / number(text, "DS_VALUE_ONE") == pytest.approx(4.1, abs=1 / 1024)
    assert number(text, "DS_EDGE_ANGLE_RAD") == pytest.approx(np.pi / 8)
    assert number(text, "DS_SENSOR_TIMEOUT_S") == 0.3
    assert number(text, "DS_SAMPLE_TIME_S") == 0.002
    assert number(text, "DS_SLEW_RAD_S2") == 30
    assert text.isascii()
    assert max(map(len, text.splitlines())) < 200


@pytest.mark.parametrize("gain", [0.3, 0.004])
@pytest.mark.parametrize("word", [8, 16, 32])
def test_the_chosen_format_holds_everything_and_one_bit_more_would_not(word, gain):
    chosen = scenario(f"drive.proportional: {gain} V*s/rad, drive.integral: {gain / 10} V/rad")
    found = chosen_arithmetic(chosen, word)
    assert Template(chosen).scenario_with(
        {"drive.arithmetic": found.model_dump()}
    )  # which refuses what does not fit
    assert found.largest_gain >= gain
    fastest = 4 * 0.15 / 0.034  # four times the command
    assert found.largest_value >= fastest
    assert found.fraction_bits == word - 1 or found.largest_value / 2 < fastest
    integral = 2 ** (2 * word - 1) / 2 ** (found.fraction_bits + found.gain_fraction_bits)
    assert integral >= 2 * 4.1  # room for twice the largest output
    if found.gain_fraction_bits < 30:
        assert found.largest_gain / 2 < gain or integral / 2 < 2 * 4.1


def test_a_scenarios_own_format_is_kept():
    assert chosen_arithmetic(load_scenario(SCENARIOS / "fixed_point.yaml"), 32).gain_fraction_bits == 14
    assert chosen_arithmetic(load_scenario(SCENARIOS / "rubble_locked.yaml")) is None


def test_rounding_is_that_of_the_simulation():
    chosen = load_scenario(SCENARIOS / "fixed_point_coarse.yaml")
    found = {n.name: n for n in whole_numbers(chosen, chosen.drive.all_wheels.arithmetic)}
    assert found["integral"].number == to_fixed(0.9 * 2e-3, 8, 16) == 0
    assert found["integral"].error == 1.0  # the whole gain is lost, as that scenario is there to show
