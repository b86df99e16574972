"""Pictures as they stand in a page: few colours, packed, as an address that holds them."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image
from scipy.spatial import cKDTree

from drivesim.plots.style import CONDITION_LOOKS, wheel_look
from drivesim.report.page import picture

COMMON, BETWEEN = (
    96,
    128,
)  # colours of a picture that stay as they are as the commonest; and those for all else
WHEELS = 7  # whose colours differ
#: colours that stay as they are because they mean something, however thin their lines
MEANT = [
    [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
    for colour in (
        *(wheel_look(i).colour for i in range(WHEELS)),
        *(k.colour for k in CONDITION_LOOKS.values()),
    )
]


def embedded(image: Image.Image, name: str, words: str) -> dict[str, str]:
    """Return a picture for a page; ``words``: what it shows."""
    few = _with_few_colours(image.convert("RGB"))
    buffer = io.BytesIO()
    few.save(buffer, "png", optimize=True)
    size = {"width": str(few.width), "height": str(few.height)}
    return {"name": name, "words": words, "address": picture(buffer.getvalue()), **size}


def _with_few_colours(image: Image.Image) -> Image.Image:
    """Return a picture with a palette: a thin line's colour must not drift towards that of another wheel."""
    pixels = np.asarray(image).astype(np.int32) @ (1 << 16, 1 << 8, 1)
    found, places, counts = np.unique(pixels, return_inverse=True, return_counts=True)
    colours = np.stack([found >> 16, found >> 8 & 255, found & 255], axis=-1)
    common = colours[np.argsort(-counts, kind="stable")[:COMMON]]
    between = np.reshape(image.quantize(BETWEEN, dither=Image.Dither.NONE).getpalette() or [], (-1, 3))
    palette = np.concatenate([MEANT, common, between])[:256]
    nearest = cKDTree(palette).query(colours)[1].astype(np.uint8)
    few = Image.fromarray(nearest[places].reshape(pixels.shape), "P")
    few.putpalette(palette.astype(np.uint8).tobytes())
    return few
