"""Bars such as "distance > 2 m": how they are read, refused and compared."""

from math import pi

import pytest

from drivesim import DrivesimError
from drivesim.analysis.headlines import HEADLINES, Requirement, changes

FIGURES = {
    "distance": 2.0, "progress": 2.1, "turned": -0.5, "stuck": 0.0, "energy": 30.0, "energy_per_metre": None,
    "circulating_force": 0.2, "circulating_power": 0.01, "peak_temperature": 55.0, "lowest_bus_voltage": 6.5,
}  # fmt: skip


@pytest.mark.parametrize(
    ("text", "name", "sign", "value"),
    [
        ("distance > 2 m", "distance", ">", 2.0),
        ("  distance>=250cm ", "distance", ">=", 2.5),
        ("turned <= 90 deg", "turned", "<=", pi / 2),
        ("energy_per_metre < 0.02 kJ/m", "energy_per_metre", "<", 20.0),
        ("peak_temperature < 60 °C", "peak_temperature", "<", 60.0),
        ("lowest_bus_voltage > 6500 mV", "lowest_bus_voltage", ">", 6.5),
        ("circulating_force < 300 mN", "circulating_force", "<", 0.3),
    ],
)
def test_bars_are_read_with_their_units(text, name, sign, value):
    bar = Requirement.parse(text)
    assert (bar.text, bar.name, bar.sign) == (text.strip(), name, sign)
    assert bar.value == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("distance", "found 'distance', needed: NAME > VALUE, such as 'distance > 2 m'"),
        ("distance == 2 m", "needed: NAME > VALUE"),
        ("distance >", "needed: NAME > VALUE"),
        ("", "needed: NAME > VALUE"),
        ("distanse > 2 m", "'distanse' is not one of finished, moving, .*; did you mean 'distance'?"),
        ("energy_per_meter < 2 J/m", "did you mean 'energy_per_metre'?"),
        ("zzz > 2 m", "'zzz' is not one of finished, moving, duration, distance, [^;]*$"),
        (
            "distance > 2",
            "'distance > 2': found the bare number '2', a unit is needed; write it like '35 mm'",
        ),
        ("distance > 2 kg", "'distance > 2 kg': found '2 kg', but 'kg' is not a unit of this kind"),
        ("distance > two m", "'distance > two m': found 'two m', which is not a number and a unit"),
    ],
)
def test_a_bar_that_cannot_be_read_says_what_is_allowed(text, words):
    pattern = "^--require: .*" + words.replace("?", r"\?").replace(".*;", ".*;")
    with pytest.raises(DrivesimError, match=pattern) as error:
        Requirement.parse(text)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    ("text", "met"),
    [
        ("distance >= 2 m", True), ("distance > 2 m", False), ("distance <= 2 m", True),
        ("distance < 2 m", False),
        ("turned < 0 rad", True), ("peak_temperature < 55.1 degC", True),
        ("peak_temperature < 54.9 degC", False),
        ("circulating_power < 20 mW", True),
        # a run that came nowhere has no energy per metre, and meets no bar on it either way
        ("energy_per_metre < 1e9 J/m", False), ("energy_per_metre > 0 J/m", False),
    ],
)  # fmt: skip
def test_bars_are_met_or_not(text, met):
    assert Requirement.parse(text).met(FIGURES) is met


def test_changes_leave_out_what_one_of_the_two_runs_does_not_have():
    other = {"figures": FIGURES | {"distance": 2.2, "energy_per_metre": 15.0}}
    moved = changes({"figures": FIGURES}, other)
    assert moved["distance"] == (2.0, 2.2, "m")
    assert set(moved) == set(HEADLINES) - {"energy_per_metre"}
