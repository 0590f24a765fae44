"""A picture drawn again on another picture's piece of sky, pixel for pixel.

One matrix cannot say what a distorted or a very wide picture does. Here the picture is cut into small cells, each
so small that within it the sky is as good as flat, and each is drawn where it belongs.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np

from noctuary.images import recipe
from noctuary.sky.placement import Placement, scaled

if TYPE_CHECKING:
    from PIL import Image

#: Side of a cell in pixels of the result: a curvature that makes a matrix miss by 50 pixels over a whole picture of
#: 1,920 is below a hundredth of a pixel within it.
CELL_PX = 24


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
    seen = np.isfinite(px) & np.isfinite(py)
    mesh = []
    for j in range(len(ys) - 1):
        for i in range(len(xs) - 1):
            corners = ((j, i), (j + 1, i), (j + 1, i + 1), (j, i + 1))
            if not all(seen[c] for c in corners):
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


def encoded(picture: Image.Image) -> bytes:
    """A picture with transparent parts as WebP, without any metadata."""
    out = io.BytesIO()
    picture.save(out, "WEBP", quality=recipe.WEBP_QUALITY, method=recipe.WEBP_METHOD)
    return out.getvalue()


def _edges(length: int) -> list[int]:
    return [*range(0, length, CELL_PX), length]
