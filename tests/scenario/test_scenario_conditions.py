"""The words after ``when``: what they mean, and that anything else is refused in one line."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivesim.scenario.conditions import LIKE, LONGEST, OF_A_WHEEL, OF_THE_ROVER, Condition, parse

MEANT = [
    ("front_left temperature > 110 degC for 0.5 s", ("front_left", "temperature", True, 110.0, 0.5)),
    ("rear_right housing_temperature>333.15 K", ("rear_right", "housing_temperature", True, 60.0, 0.0)),
    ("w3 speed < 30 rpm", ("w3", "speed", False, 3.14159265359, 0.0)),
    ("w3 current > 900 mA for 20 ms", ("w3", "current", True, 0.9, 0.02)),
    ("for load < 0.2 N for 1 s", ("for", "load", False, 0.2, 1.0)),  # a wheel may be called so
    ("x > 120 cm", (None, "x", True, 1.2, 0.0)),
    ("y < -0.1 m", (None, "y", False, -0.1, 0.0)),
    ("speed < 1 cm/s for 2 s", (None, "speed", False, 0.01, 2.0)),
    ("bus_voltage < 6.4 V", (None, "bus_voltage", False, 6.4, 0.0)),
    ("battery_current > 3 A", (None, "battery_current", True, 3.0, 0.0)),
    ("state_of_charge < 20 %", (None, "state_of_charge", False, 0.2, 0.0)),
    ("state_of_charge < 0.2", (None, "state_of_charge", False, 0.2, 0.0)),
    ("state_of_charge < 1", (None, "state_of_charge", False, 1.0, 0.0)),
    ("  stuck  >  1.5 s ", (None, "stuck", True, 1.5, 0.0)),
]


@pytest.mark.parametrize(("text", "meaning"), MEANT)
def test_what_a_condition_means(text, meaning):
    found = parse(text)
    assert (found.wheel, found.quantity, found.above, found.threshold, found.hold) == pytest.approx(meaning)
    assert found.text == text


REFUSED = [
    ("", "needed: a quantity, > or < and a value"),
    ("x", "needed: a quantity, > or < and a value"),
    ("x = 3 m", "needed: a quantity, > or < and a value"),
    ("x >= 3 m", "found 'x >= 3 m', needed: a quantity, > or < and a value"),
    ("1 m < x < 2 m", "needed: a quantity, > or < and a value"),
    ("> 3 m", "needed: a quantity, > or < and a value"),
    ("x > 3", "x: found the bare number '3', a unit is needed"),
    ("x > 3 s", "x: found '3 s', but 's' is not a unit of this kind"),
    ("x > three metres", "which is not a number and a unit"),
    ("x > 3 m for", "unit 'm for' is not known"),
    ("x > 3 m for 2", "for: found the bare number '2', a unit is needed"),
    ("x > 3 m for -1 s", "for: found '-1 s', allowed: at least 0 s"),
    (
        "state_of_charge < 20",
        "state_of_charge: found '20', allowed: 0 to 1, or 0 to 100 %; write it like '20 %'",
    ),
    ("state_of_charge > 120 %", "found '120 %', allowed: 0 to 1, or 0 to 100 %; write it like '20 %'"),
    ("state_of_charge < -0.2", "found '-0.2', allowed: 0 to 1"),
    (
        "speeed > 3 m/s",
        "found 'speeed'; did you mean 'speed'? allowed: of a wheel (its name first) temperature",
    ),
    ("temperature > 9 degC", "temperature needs the name of a wheel before it"),
    ("w1 stuck > 2 s", "stuck is the rover's, found 'w1' before it; write 'stuck' alone"),
    ("front left load > 2 N", "found 'front left load' before the sign, allowed:"),
    ("front-left load > 2 N", "found 'front-left', needed: the name of a wheel"),
    ("__import__('os') load > 2 N", "needed: the name of a wheel"),
    ("x > 3 m " + " " * LONGEST, "needed: a condition such as"),
    (5, "found 5, needed: a condition such as"),
    (None, "found nothing, needed: a condition such as"),
]


@pytest.mark.parametrize(("text", "words"), REFUSED, ids=lambda value: str(value)[:30])
def test_what_is_no_condition(text, words):
    with pytest.raises(ValueError, match=re.escape(words)):
        parse(text)


PIECES = st.sampled_from(
    ["front_left", *OF_A_WHEEL, *OF_THE_ROVER, *"><=%é \n", "for", "1", "-2.5e3", "m", "s", "degC"]
)
LIKE_ONE = st.lists(PIECES, max_size=12).map(" ".join) | st.text(max_size=40).map(
    lambda text: LIKE[:21] + text
)


@given(text=st.text(max_size=200) | LIKE_ONE | st.integers() | st.floats() | st.none() | st.lists(st.text()))
@settings(max_examples=500, deadline=None)
def test_anything_is_a_condition_or_a_short_mistake(text):
    try:
        found = parse(text)
    except ValueError as error:
        found = str(error)
    if isinstance(found, str):
        assert 0 < len(found) < 600
    else:
        assert isinstance(found, Condition)
        assert parse(found.text) == found
