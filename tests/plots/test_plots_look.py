"""Colours, hatches and lines can be told apart, also by the colour-blind and in grey print."""

import itertools

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from drivesim.plots.style import CONDITION_LOOKS, wheel_look

#: full loss of one kind of cone, on linear RGB; Machado, Oliveira & Fernandes 2009 (from memory)
COLOUR_BLIND = {
    "none": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
#: linear sRGB to CIE XYZ, IEC 61966-2-1
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def lab(colour: str, kind: str = "none") -> np.ndarray:
    """Return CIE 1976 L*a*b* of an sRGB colour as seen with a kind of colour blindness."""
    rgb = np.array(to_rgb(colour))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    seen = np.clip(COLOUR_BLIND[kind] @ linear, 0, 1)
    t = TO_XYZ @ seen / TO_XYZ.sum(axis=1)
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_white_and_black_are_where_they_belong():
    assert lab("#FFFFFF") == pytest.approx([100, 0, 0], abs=0.1)
    assert lab("#000000") == pytest.approx([0, 0, 0], abs=1e-9)
    for matrix in COLOUR_BLIND.values():
        assert matrix.sum(axis=1) == pytest.approx(1, abs=1e-5)


@pytest.mark.parametrize("kind", COLOUR_BLIND)
def test_conditions_differ_in_colour(kind):
    looks = [lab(look.colour, kind) for look in CONDITION_LOOKS.values()]
    assert min(np.linalg.norm(a - b) for a, b in itertools.combinations(looks, 2)) > 18


@pytest.mark.parametrize("kind", COLOUR_BLIND)
def test_the_four_wheels_differ_in_colour(kind):
    looks = [lab(wheel_look(i).colour, kind) for i in range(4)]
    assert min(np.linalg.norm(a - b) for a, b in itertools.combinations(looks, 2)) > 10


def test_conditions_differ_in_grey_print():
    for a, b in itertools.combinations(CONDITION_LOOKS.values(), 2):
        if not a.hatch and not b.hatch:
            assert abs(lab(a.colour)[0] - lab(b.colour)[0]) > 30
        else:
            assert set(a.hatch) != set(b.hatch)
    for look in CONDITION_LOOKS.values():
        if look.hatch:
            assert abs(lab(look.colour)[0] - lab(look.hatch_colour)[0]) > 30
    assert len({look.marker for look in CONDITION_LOOKS.values()}) == len(CONDITION_LOOKS)


def test_wheels_differ_in_grey_print():
    looks = [wheel_look(i) for i in range(4)]
    assert len({look.line for look in looks}) == len({look.marker for look in looks}) == 4
    assert len({(look.colour, look.line) for look in map(wheel_look, range(16))}) == 16
