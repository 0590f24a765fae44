"""The chain of sizes: each smaller picture from the next larger one, faint stars keeping their light.

Measured on a simulated field (see :mod:`noctuary.images.recipe` for the numbers): the first step is Lanczos in
gamma space, or binning where a whole number of pixels make one, sharp where people look closely; the steps below it
are Hamming in linear light, in which a star's light is a sum and stays the same however small the picture, and which
cuts no black rings round bright stars.
The light is carried through the chain in integers of 0…65535 and becomes 8 bits once for each size.
Tiles halve, and there each pixel is the mean of four: a simulated star keeps in the median 0.93 of its light at
half the size (0.94 with Lanczos, which cuts rings) and 0.92 at a quarter, every pixel lies exactly where it belongs,
and it costs a tenth of Lanczos.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import TYPE_CHECKING, Protocol

from PIL import Image

from noctuary.images.dither import as_8_bit

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


#: Rows that are made at once; an even number.
_ROWS = 256


def chain(pixels: Image.Image | NDArray[np.uint16], sizes: Sequence[tuple[int, int]]) -> Iterator[Image.Image]:
    """8-bit pictures (L or RGB) of the sizes (width, height), largest first, none larger than ``pixels``.

    ``pixels`` is an sRGB picture of mode L or RGB, or uint16 of shape (h, w) or (h, w, 3). Pictures of more than
    8 bits are dithered at every size. The chain lets go of ``pixels`` as soon as it can: who does not hold on to
    them either has their memory back before the smaller sizes are made.
    """
    todo = list(sizes)
    if todo and todo[0] == _size(pixels):
        yield as_8_bit(pixels)
        del todo[0]
    if not todo:
        return
    light: list[Image.Image] = []
    levels_of = _levels_of
    if isinstance(pixels, Image.Image):
        number = _binning(pixels.size, todo[0])
        first = pixels.reduce(number) if number else _lanczos(pixels, todo[0])
        del pixels
        if len(todo) > 1:
            light = _of_each(list(first.split()), lambda band: band.point(_to_light(), "I"))
    else:
        from noctuary.images import deep_resize

        number = _binning(_size(pixels), todo[0])
        small = deep_resize.binned(pixels, number) if number else deep_resize.lanczos(pixels, todo[0], _bands_of_rows)
        del pixels
        if len(todo) > 1:
            light = deep_resize.light_of(small)
            levels_of = _dithered_levels_of
        first = as_8_bit(small)
        del small
    yield first
    del first
    for size in todo[1:]:
        light = _of_each(light, partial(Image.Image.resize, size=size, resample=Image.Resampling.HAMMING))
        yield levels_of(light)


class Level(Protocol):
    """A picture of which parts can be cut out."""

    def crop(self, box: tuple[int, int, int, int], /) -> Image.Image:
        """The part between left, top, right and lower edge, in pixels."""


@dataclass(frozen=True, slots=True)
class _Banded:
    """A picture held as its bands: three bytes a pixel, where a picture of Pillow's takes four."""

    mode: str
    bands: list[Image.Image]

    def crop(self, box: tuple[int, int, int, int], /) -> Image.Image:
        return Image.merge(self.mode, [band.crop(box) for band in self.bands])


def halves(image: Image.Image, times: int) -> Iterator[Level]:
    """A picture (L or RGB) at 1/2, 1/4 … 1/2**``times`` of its size, rounded up: each pixel the mean of four.

    The first in gamma space, the others in linear light. Each is good until the next is asked for; who has let go of
    it by then has its memory back.
    """
    if times < 1:
        return
    bands = [Image.new("L", (-(-image.width // 2), -(-image.height // 2))) for _ in image.getbands()]
    for top in range(0, image.height, _ROWS):
        strip = image.crop((0, top, image.width, min(image.height, top + _ROWS))).reduce(2)
        for band, part in zip(bands, strip.split(), strict=True):
            band.paste(part, (0, top // 2))
    yield _Banded(image.mode, bands)
    light = _of_each(bands, _light_halved)
    for turn in range(times - 1):
        if turn:
            light = [band.reduce(2) for band in light]
        yield _levels_of(light)


def _of_each(bands: list[Image.Image], work: Callable[[Image.Image], Image.Image]) -> list[Image.Image]:
    """What becomes of each band; the bands are used up, so that hardly more than one is in memory twice."""
    made = []
    while bands:
        made.append(work(bands.pop(0)))
    return made


def _light_halved(band: Image.Image) -> Image.Image:
    out = Image.new("I", (-(-band.width // 2), -(-band.height // 2)))
    for top in range(0, band.height, _ROWS):
        strip = band.crop((0, top, band.width, min(band.height, top + _ROWS)))
        out.paste(strip.point(_to_light(), "I").reduce(2), (0, top // 2))
    return out


def _size(pixels: Image.Image | NDArray[np.uint16]) -> tuple[int, int]:
    if isinstance(pixels, Image.Image):
        return pixels.size
    return int(pixels.shape[1]), int(pixels.shape[0])


def mean_colour(image: Image.Image) -> str:
    """The mean colour of a small picture in linear light, as ``#rrggbb``."""
    bands = [band.point(_to_light(), "I").resize((1, 1), Image.Resampling.BOX) for band in image.split()]
    levels = [_from_light()[int(band.getpixel((0, 0)))] for band in bands]  # type: ignore[arg-type]
    red, green, blue = levels if len(levels) == 3 else levels * 3
    return f"#{red:02x}{green:02x}{blue:02x}"


def _bands_of_rows(height: int, tall: int) -> Iterator[tuple[int, int, float, float, int, int]]:
    """A picture of ``height`` rows made ``tall`` in parts, so that what is between the two passes stays small:
    rows from and to of the result, where they lie in the source, and the source rows that the filter reaches."""
    reach = int(3 * height / tall) + 3  # Lanczos spans three result pixels either way
    for top in range(0, tall, _ROWS):
        bottom = min(tall, top + _ROWS)
        above, below = top * height / tall, bottom * height / tall
        yield top, bottom, above, below, max(0, int(above) - reach), min(height, int(below) + 1 + reach)


def _binning(source: tuple[int, int], size: tuple[int, int]) -> int:
    """How many pixels each way make one of ``size``, where they are a whole number of at least two; else 0."""
    number = round(source[0] / size[0])
    return number if number > 1 and size == (-(-source[0] // number), -(-source[1] // number)) else 0


def _lanczos(image: Image.Image, size: tuple[int, int]) -> Image.Image:
    out = Image.new(image.mode, size)
    for top, bottom, above, below, _, _ in _bands_of_rows(image.height, size[1]):
        box = (0.0, above, float(image.width), below)
        out.paste(image.resize((size[0], bottom - top), Image.Resampling.LANCZOS, box=box), (0, top))
    return out


def _levels_of(light: list[Image.Image]) -> Image.Image:
    """Light as an 8-bit picture."""
    levels = [band.point(_LevelTable()) for band in light]
    return levels[0] if len(levels) == 1 else Image.merge("RGB", levels)


class _LevelTable(Image.ImagePointHandler):
    """The table from light to levels. Handed to Pillow as a list, all its 65,536 entries would be rounded anew for
    every band, which takes longer than to look up a band of four megapixels."""

    def point(self, im: Image.Image) -> Image.Image:
        out = Image.new("L", im.size)
        out.im = im.im.point(_from_light(), "L")
        return out


def _dithered_levels_of(light: list[Image.Image]) -> Image.Image:
    from noctuary.images.deep_resize import values_of

    return as_8_bit(values_of(light))


@lru_cache(maxsize=1)
def _to_light() -> list[int]:
    """sRGB level 0…255 → light 0…65535."""
    return [
        round(65535 * (c / 255 / 12.92 if c / 255 <= 0.04045 else ((c / 255 + 0.055) / 1.055) ** 2.4))
        for c in range(256)
    ]


@lru_cache(maxsize=1)
def _from_light() -> list[int]:
    """Light 0…65535 → sRGB level 0…255."""
    return [
        round(255 * (12.92 * v / 65535 if v / 65535 <= 0.0031308 else 1.055 * (v / 65535) ** (1 / 2.4) - 0.055))
        for v in range(65536)
    ]
