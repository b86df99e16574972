"""Pictures in a page keep the colours that tell wheels and conditions apart."""

from __future__ import annotations

import base64
import io

import numpy as np
import pytest
from PIL import Image, ImageDraw

from drivesim.plots.style import CONDITION_LOOKS, wheel_look
from drivesim.report.pictures import embedded

COLOURS = [*(wheel_look(i).colour for i in range(7)), *(look.colour for look in CONDITION_LOOKS.values())]


def shown(image: Image.Image) -> np.ndarray:
    address = embedded(image, "made", "a made picture")["address"]
    data = base64.b64decode(address.partition("base64,")[2])
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))


@pytest.fixture(scope="module")
def crowded() -> Image.Image:
    """A picture with thousands of greys and, thinly, each colour that means something."""
    x, y = np.meshgrid(np.arange(900), np.arange(600))
    rng = np.random.default_rng(1)
    grey = 200 + 40 * np.sin(x / 90) * np.cos(y / 70) + rng.normal(0, 2, x.shape)
    tinted = np.stack([grey, grey - 3, grey - 9 + 5 * np.sin(x / 40)], axis=-1).clip(0, 255).astype(np.uint8)
    image = Image.fromarray(tinted)
    pen = ImageDraw.Draw(image)
    for i, colour in enumerate(COLOURS):
        pen.line([(20, 20 + 40 * i), (880, 25 + 40 * i)], fill=colour, width=1)
    return image


def test_each_colour_that_means_something_stays_as_it_is(crowded):
    before, after = np.asarray(crowded).astype(int), shown(crowded).astype(int)
    for colour in COLOURS:
        exact = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)])
        places = (before == exact).all(axis=-1)
        assert places.sum() > 500
        assert np.abs(after[places] - exact).max() <= 3, colour


def test_all_else_stays_close(crowded):
    before, after = np.asarray(crowded).astype(int), shown(crowded).astype(int)
    assert np.abs(after - before).mean() < 3
