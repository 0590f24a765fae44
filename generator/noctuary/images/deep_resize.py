"""What the chain of sizes does to a picture of 16 bits, in whole numbers and tables where it can."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from noctuary.images.colour import LIGHT_STEPS, srgb_of_light

if TYPE_CHECKING:
    from numpy.typing import NDArray

Rows = Iterator[tuple[int, int, float, float, int, int]]

#: The light of the deep chain, so fine that 16-bit values of a dark sky stay apart: 16 steps to one of the table that
#: it is looked up in.
_MOST_LIGHT = 16 * LIGHT_STEPS
#: Rows of a result that are binned at once.
_ROWS = 64


def binned(pixels: NDArray[np.uint16], number: int) -> NDArray[np.uint16]:
    """Each pixel the mean of ``number`` × ``number``, of fewer at the right and the lower edge."""
    height, width = pixels.shape[:2]
    out = np.empty((-(-height // number), -(-width // number), *pixels.shape[2:]), np.uint16)
    across = width // number
    for top in range(0, out.shape[0], _ROWS):
        strip = pixels[top * number : (top + _ROWS) * number]
        whole = strip.shape[0] // number
        for first, last, down in ((0, whole, number), (whole, -(-strip.shape[0] // number), strip.shape[0] % number)):
            if first < last:
                rows, to = strip[first * number : last * number], out[top + first : top + last]
                _mean(rows[:, : across * number], to[:, :across], down, number)
                if across * number < width:
                    _mean(rows[:, across * number :], to[:, across:], down, width - across * number)
    return out


def _mean(pixels: NDArray[np.uint16], out: NDArray[np.uint16], down: int, across: int) -> None:
    sums = pixels[::down].astype(np.uint32)
    for row in range(1, down):
        sums += pixels[row::down]
    planes = [(sums, out)] if sums.ndim == 2 else [(sums[..., i], out[..., i]) for i in range(sums.shape[2])]
    for plane, to in planes:  # plane by plane, or every loop of numpy's would be three values long
        total = plane[:, ::across].copy()
        for column in range(1, across):
            total += plane[:, column::across]
        to[...] = (total + np.uint32(down * across // 2)) // np.uint32(down * across)


def lanczos(
    pixels: NDArray[np.uint16], size: tuple[int, int], bands_of_rows: Callable[[int, int], Rows]
) -> NDArray[np.uint16]:
    """Lanczos in gamma space in floating point: Pillow's own for 16-bit integers wraps round beside bright stars."""
    height, width = pixels.shape[:2]
    planes = [pixels] if pixels.ndim == 2 else [pixels[..., i] for i in range(3)]
    out = np.empty((size[1], size[0], len(planes)), np.uint16)
    for top, bottom, above, below, first, last in bands_of_rows(height, size[1]):
        box = (0.0, above - first, float(width), below - first)
        for index, plane in enumerate(planes):
            part = Image.fromarray(plane[first:last].astype(np.float32))
            small = part.resize((size[0], bottom - top), Image.Resampling.LANCZOS, box=box)
            out[top:bottom, :, index] = np.rint(np.clip(np.asarray(small), 0, 65535))
    return out[..., 0] if pixels.ndim == 2 else out


def light_of(pixels: NDArray[np.uint16]) -> list[Image.Image]:
    """The linear light of each plane, in whole numbers."""
    planes = [pixels] if pixels.ndim == 2 else [pixels[..., i] for i in range(3)]
    return [Image.fromarray(_to_light()[plane]) for plane in planes]


def values_of(light: list[Image.Image]) -> NDArray[np.uint16]:
    """The 16-bit sRGB values of planes of light; the opposite of :func:`light_of`."""
    out = np.empty((light[0].height, light[0].width, len(light)), np.uint16)
    for index, plane in enumerate(light):
        # The filter is nowhere negative, so that light never leaves its range.
        out[..., index] = srgb_of_light()[np.asarray(plane) + 8 >> 4]
    return out[..., 0] if len(light) == 1 else out


@lru_cache(maxsize=1)
def _to_light() -> NDArray[np.int32]:
    """sRGB 0…65535 → light (IEC 61966-2-1)."""
    codes = np.arange(65536, dtype=np.float64) / 65535.0
    light = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    table: NDArray[np.int32] = np.rint(_MOST_LIGHT * light).astype(np.int32)
    return table
