"""A place of the sky cut out of two placed pictures, north up and of one scale, beside each other."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from noctuary.images.warp import encoded, warped
from noctuary.sky.placement import Placement, from_centre

if TYPE_CHECKING:
    from PIL.Image import Image

SIDE_PX = 160
GAP_PX = 4
_ACROSS_PX = 64.0  # pixels of the coarser picture
_DARK, _LIGHT = 5.0, 99.7  # percentiles that become black and white
_LEAST_RANGE = 60.0  # levels: an empty place stays dark
_TICK_PX, _FREE_PX = 14, 13
_TICK = (235, 190, 120, 255)


def arcsec_across(older: Placement, newer: Placement) -> float:
    """Side of a cut-out on the sky, arcseconds."""
    return _ACROSS_PX * max(older.image_scale_arcsec_px, newer.image_scale_arcsec_px)


def cut_out(picture: Image, of: Placement, ra_deg: float, dec_deg: float, across_arcsec: float) -> Image:
    """A place in the middle of a square, with ticks beside it, north up; drawn brighter where the picture is dark."""
    from PIL import Image

    onto = from_centre(ra_deg, dec_deg, across_arcsec / SIDE_PX, 0.0, False, SIDE_PX, SIDE_PX)
    drawn = warped(picture, of, onto, SIDE_PX, SIDE_PX)
    pixels = np.asarray(drawn).astype(np.float32)
    reached = pixels[..., 3] > 0
    if reached.any():
        low, high = np.percentile(pixels[..., :3].mean(axis=2)[reached], (_DARK, _LIGHT))
        pixels[..., :3] = np.clip((pixels[..., :3] - low) / max(float(high - low), _LEAST_RANGE), 0.0, 1.0) * 255.0
    square = Image.fromarray(pixels.astype(np.uint8), "RGBA")
    middle = SIDE_PX // 2
    for step in range(_FREE_PX, _FREE_PX + _TICK_PX):
        square.putpixel((middle + step, middle), _TICK)
        square.putpixel((middle, middle - step), _TICK)
    return square


def side_by_side(left: Image, right: Image) -> Image:
    """Two cut-outs with a gap between them."""
    from PIL import Image

    both = Image.new("RGBA", (2 * SIDE_PX + GAP_PX, SIDE_PX))
    both.paste(left, (0, 0))
    both.paste(right, (SIDE_PX + GAP_PX, 0))
    return both


def strip(
    pictures: tuple[bytes, bytes], placements: tuple[Placement, Placement], places: Sequence[tuple[float, float]]
) -> bytes:
    """The cut-outs of two encoded pictures at each place (degrees), one pair below the other, as WebP."""
    from PIL import Image

    across = arcsec_across(*placements)
    whole = Image.new("RGBA", (2 * SIDE_PX + GAP_PX, SIDE_PX * len(places)))
    opened = []
    for data in pictures:
        with Image.open(io.BytesIO(data)) as file:
            opened.append(file.convert("RGBA"))
    for row, place in enumerate(places):
        pair = [cut_out(p, of, *place, across) for p, of in zip(opened, placements, strict=True)]
        whole.paste(side_by_side(*pair), (0, row * SIDE_PX))
    return encoded(whole)
