"""Quantities: what is read, what is refused, and that the short table says what pint says."""

import math
import os
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivesim import units
from drivesim.errors import UnitError
from drivesim.scenario import quantities

UNITS = sorted(units.EXAMPLES)
SPELLINGS = [(unit, spelling) for unit, names in units.COMMON.items() for spelling in names]


@pytest.mark.parametrize("unit", UNITS)
def test_every_unit_has_an_example_that_is_read(unit):
    for text in units.example(unit).split(" or "):
        assert units.parse(text, unit) > 0
    assert units.parse(f"1 {unit}" if unit != "1" else 1, unit) == 1.0


def test_every_quantity_has_an_example_and_every_example_a_quantity():
    kinds = [value for value in vars(quantities).values() if hasattr(value, "__metadata__")]
    used = {mark.name for kind in kinds for mark in kind.__metadata__ if isinstance(mark, quantities.Unit)}
    assert used | {"m^3"} == set(UNITS)


@pytest.mark.parametrize(("unit", "spelling"), SPELLINGS)
def test_short_table_agrees_with_pint(unit, spelling):
    factor, offset = units.scale_by_pint(spelling, unit)
    assert offset == 0.0
    assert units.COMMON[unit][spelling] == pytest.approx(factor, rel=1e-15)
    for value in (1.0, 3.7, 123.456, 9.99e-5, 1 / 3):
        assert units.parse(f"{value!r} {spelling}", unit) == float(f"{value * factor:.13g}")


@given(
    x=st.floats(units.SMALLEST, units.LARGEST), sign=st.sampled_from([1, -1, 0]), unit=st.sampled_from(UNITS)
)
@settings(max_examples=300, deadline=None)
def test_what_is_shown_is_read_back(x, sign, unit):
    value = sign * float(f"{x:.{units.SIGNIFICANT_DIGITS}g}")
    if sign and not units.SMALLEST <= abs(value) <= units.LARGEST:
        return  # rounded out of the range
    assert units.parse(units.show(value, unit), unit) == value


@given(count=st.integers(-(10**6), 10**6), places=st.integers(0, 4))
@settings(max_examples=500, deadline=None)
def test_whole_counts_of_a_step_stay_when_rounded_down(count, places):
    """Whatever float stands for it: 4.35 is 435 hundredths, though 4.35·100 is 434.99999999999994."""
    value, step = float(f"{count}e-{places}"), 10.0**-places
    assert f"{units.rounded_down(value, step):.{places}f}" == f"{value:.{places}f}"
    between = units.rounded_down(
        float(f"{count}.9999e-{places}" if count >= 0 else f"{count}.0001e-{places}"), step
    )
    assert between == pytest.approx((count if count >= 0 else count - 1) * step, rel=1e-12, abs=0)


UNIT_LIKE = st.text("mkgNVAWbHzradsohmFCKeg0123456789.+-*/^²³°%µΩ() ", max_size=45)


@given(text=st.text(max_size=90) | UNIT_LIKE | UNIT_LIKE.map("1 ".__add__), unit=st.sampled_from(UNITS))
@settings(max_examples=600, deadline=None)
def test_any_text_is_read_or_refused(text, unit):
    try:
        value = units.parse(text, unit)
    except UnitError as error:
        refused = str(error)
    else:
        assert math.isfinite(value)
        return
    assert refused.startswith("found ")
    assert units.example(unit) in refused


NASTY = [
    "1 m**9**9**9", "9" * 80, "9" * 80 + " m", "1 " + "m*" * 20 + "m", "1 " + "(" * 30 + "m", "1 m" + ")" * 9,
    "1 " + "a " * 19 + "!", "1 m^99", "1 m**-9", "1 (m*m)**4", "1 __import__('os')", "1 m; m", "1 lambda: m",
    "1\u2028km\u2028km", "1e999 m", "0x10 m", "1 000 m", "1,000 m", "--1 m", "\u0661 m", "nan m", "inf m",
    "m", "", "1 \ud800", "1 1/m", "1 m if", "1 def", "1 yottam yottam", "1e30 km", "1e-300 m", "5 dB",
    "1 dBm", "1 None",
]  # fmt: skip


@pytest.mark.parametrize("text", NASTY)
def test_nasty_texts_are_refused(text):
    with pytest.raises(UnitError, match=r"^found "):
        units.parse(text, "m")


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("5 Hz", "rad/s"),
        ("3 Hz/V", "rad/s/V"),
        ("15 deg", "1"),
        ("1 rpm", "1/s"),
        ("2 V/rpm", "V/Hz"),
        ("25 C", "degC"),
    ],
)
def test_units_that_look_alike_are_told_apart(text, unit):
    with pytest.raises(UnitError, match="not a unit of this kind; write it like"):
        units.parse(text, unit)


@pytest.mark.parametrize(("text", "unit"), [("860 gr", "kg"), ("2 gr*cm^2", "kg*m^2")])
def test_grains_are_not_taken_for_grams(text, unit):
    with pytest.raises(UnitError, match=r"is not known; write it like '(180 g|20 g\*m\^2)'"):
        units.parse(text, unit)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("25 °C", "degC", 25.0),
        ("3 mNm", "N*m", 0.003),
        ("14.5 mNm/A", "N*m/A", 0.0145),
        ("298.15 K", "degC", 25.0),
        ("77 degF", "degC", 25.0),
        ("30 °C/W", "K/W", 30.0),
        ("0.39 %/K", "1/K", 0.0039),
        ("60 rpm", "rad/s", 6.283185307180),
        ("1 turn/s", "rad/s", 6.283185307180),
        ("9.5492965855137 V/krpm", "V*s/rad", 0.09118906527810),
        ("3.6 km/h", "m/s", 1.0),
        ("1 oz", "kg", 0.028349523125),  # exact: the international avoirdupois ounce
        ("1 kgf*cm", "N*m", 0.0980665),  # exact: standard gravity
        (" 1.5e1mm ", "m", 0.015),
        ("-.5 m", "m", -0.5),
        ("80%", "1", 0.8),
        (0, "1", 0.0),
    ],
)
def test_spellings(text, unit, value):
    assert units.parse(text, unit) == value


@pytest.mark.parametrize(
    "value", [None, True, [1], {}, 5, 5.0, math.nan, math.inf, 10**5000, b"1 m"], ids=units.found
)
def test_values_that_are_no_text_are_refused(value):
    with pytest.raises(UnitError, match=r"^found .* write it like '35 mm'"):
        units.parse(value, "m")


@pytest.mark.parametrize("value", [math.nan, -math.inf, 10**400, 10**5000, True, None], ids=units.found)
def test_ratios_must_be_finite_numbers(value):
    with pytest.raises(UnitError, match=r"^found "):
        units.parse(value, "1")


def test_units_are_known_where_no_cache_can_be_written(monkeypatch, tmp_path):
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    units.registry.cache_clear()
    try:
        assert units.scale_by_pint("inch", "m") == (pytest.approx(0.0254, rel=1e-15), 0.0)
    finally:
        units.registry.cache_clear()


def test_readable():
    assert units.readable(0.032, "m") == "32 mm"
    assert units.readable(0.62, "kg") == "620 g"
    assert units.readable(0.0, "m") == "0 m"
    assert units.readable(12.0, "V") == "12 V"
    assert units.readable(0.8, "1") == "0.8"


def test_angles_stay_angles_on_a_machine_that_never_parsed_a_unit(tmp_path):
    """The unit library keeps parsed definitions on disk; the first run ever must read units like all later ones."""
    code = "from drivesim.units import parse; print(parse('2 mrad', 'rad')); parse('2 grad', '1')"
    for _ in range(2):
        result = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False,
            env=os.environ | {"XDG_CACHE_HOME": str(tmp_path)},
        )  # fmt: skip
        assert result.stdout == "0.002\n"
        assert "UnitError" in result.stderr
