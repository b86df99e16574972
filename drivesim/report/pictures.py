"""Pictures as they stand in a page: few colours, packed, as an address that holds them."""

from __future__ import annotations

import io

from PIL import Image

from drivesim.report.page import picture

COLOURS = 128  # of a picture


def embedded(image: Image.Image, name: str, words: str) -> dict[str, str]:
    """Return a picture for a page; ``words``: what it shows."""
    few = image.quantize(COLOURS, dither=Image.Dither.NONE)
    buffer = io.BytesIO()
    few.save(buffer, "png", optimize=True)
    size = {"width": str(few.width), "height": str(few.height)}
    return {"name": name, "words": words, "address": picture(buffer.getvalue()), **size}
