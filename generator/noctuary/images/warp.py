"""A picture drawn again on another picture's piece of sky, pixel for pixel.

One matrix cannot say what a distorted or a very wide picture does. Here the picture is cut into small cells, each
so small that within it the sky is as good as flat, and each is drawn where it belongs.
"""

from __future__ import annotations

import io
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from noctuary.images import recipe
from noctuary.images.resize import chain
from noctuary.sky.placement import Placement, scaled

if TYPE_CHECKING:
    from PIL import Image

    from noctuary.images.embed_metadata import Description

#: Side of a cell in pixels of the result: a curvature that makes a matrix miss by 50 pixels over a whole picture of
#: 1,920 is below a hundredth of a pixel within it.
CELL_PX = 24
#: Up to so much finer than the result, bicubic interpolation reads every pixel of the picture.
_FINE_ENOUGH = 1.2


def warped(picture: Image.Image, of: Placement, onto: Placement, width: int, height: int) -> Image.Image:
    """``picture``, which lies as ``of`` says, on ``width`` × ``height`` pixels of the sky that ``onto`` shows.

    Transparent where the picture does not reach. Both placements are of any size; only proportions count.
    """
    from PIL import Image

    source = scaled(of, picture.width, picture.height)
    target = scaled(onto, width, height)
    xs = _edges(width)
    ys = _edges(height)
    gx, gy = np.meshgrid(np.array(xs) - 0.5, np.array(ys) - 0.5)
    px, py = source.pixel(*target.sky(gx, gy))
    # Pillow counts from the corner of the first pixel, placements from its middle.
    px, py = px + 0.5, py + 0.5
    visible = np.isfinite(px) & np.isfinite(py)
    mesh = []
    for j in range(len(ys) - 1):
        for i in range(len(xs) - 1):
            corners = ((j, i), (j + 1, i), (j + 1, i + 1), (j, i + 1))
            if not all(visible[c] for c in corners):
                continue
            quad = tuple(float(value) for c in corners for value in (px[c], py[c]))
            if max(quad[::2]) < 0 or min(quad[::2]) > picture.width:
                continue
            if max(quad[1::2]) < 0 or min(quad[1::2]) > picture.height:
                continue
            mesh.append(((xs[i], ys[j], xs[i + 1], ys[j + 1]), quad))
    whole = picture.convert("RGBA")
    if not mesh:
        return Image.new("RGBA", (width, height))
    return whole.transform((width, height), Image.Transform.MESH, mesh, Image.Resampling.BICUBIC)


def drawn_in_frame(data: bytes, of: Placement, onto: Placement, width: int, height: int) -> Image.Image:
    """An encoded picture, first made as coarse as the result where it is finer, as :func:`warped` draws it."""
    from PIL import Image

    with Image.open(io.BytesIO(data)) as opened:
        picture = opened.convert("RGB")
    return warped(_as_fine_as(picture, fitting_width(of, onto, width)), of, onto, width, height)


def redrawn(data: bytes, of: Placement, onto: Placement, width: int, height: int, words: Description) -> bytes:
    """An encoded picture on ``width`` × ``height`` pixels of another's sky, as a WebP that carries ``words``.

    ``of`` and ``onto`` as for :func:`warped`. ``words`` gets the place of the result on the sky.
    """
    from noctuary.images.embed_metadata import described
    from noctuary.sky.avm import avm_fields

    drawn = drawn_in_frame(data, of, onto, width, height)
    return described(encoded(drawn), "webp", replace(words, avm=avm_fields(onto, width, height)))


def fitting_width(of: Placement, onto: Placement, width: int) -> int:
    """How wide a picture of ``of`` has to be for pixels as fine as those of ``onto`` shown ``width`` pixels wide."""
    finer = of.image_scale_arcsec_px / onto.image_scale_arcsec_px
    return max(1, round(of.width_px * finer * width / onto.width_px))


def _as_fine_as(picture: Image.Image, width: int) -> Image.Image:
    """The picture made smaller where its pixels are finer than the result's: bicubic skips what lies between."""
    if picture.width <= width * _FINE_ENOUGH:
        return picture
    height = max(1, round(picture.height * width / picture.width))
    return next(chain(picture, [(width, height)]))


def encoded(picture: Image.Image) -> bytes:
    """A picture with transparent parts as WebP, without any metadata."""
    out = io.BytesIO()
    picture.save(out, "WEBP", quality=recipe.WEBP_QUALITY, method=recipe.WEBP_METHOD)
    return out.getvalue()


def _edges(length: int) -> list[int]:
    return [*range(0, length, CELL_PX), length]
