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

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


#: Rows that are made at once; an even number.
_ROWS = 256
#: Pixels of a picture whose bands are turned from light into levels together.
_SMALL = 700_000


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
    deep = not isinstance(pixels, Image.Image)
    if isinstance(pixels, Image.Image):
        first = _binned(pixels, todo[0]) or _lanczos(pixels, todo[0])
        del pixels
        if len(todo) > 1:
            light = _of_each(list(first.split()), lambda band: band.point(_to_light(), "I"))
    else:
        small = _lanczos_deep(pixels, todo[0])
        del pixels
        if len(todo) > 1:
            light = _light_of(small)
        first = as_8_bit(small)
        del small
    yield first
    del first
    for size in todo[1:]:
        light = _of_each(light, partial(Image.Image.resize, size=size, resample=Image.Resampling.HAMMING))
        if deep:
            yield as_8_bit(_deep_of(light))
        else:
            yield _levels_of(light)


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


def as_8_bit(pixels: Image.Image | NDArray[np.uint16]) -> Image.Image:
    """A picture as 8-bit L or RGB; 16-bit values are dithered, the same way every time.

    Each value v becomes v/257 rounded down or up by chance, so that the mean of an area is what it was.
    """
    if isinstance(pixels, Image.Image):
        return pixels
    import numpy as np

    height, width = pixels.shape[:2]
    out = Image.new("L" if pixels.ndim == 2 else "RGB", (width, height))
    noise = _noise()
    side = noise.shape[0]
    step = side
    for top in range(0, height, step):
        strip = pixels[top : top + step]
        tile = np.tile(noise[: strip.shape[0]], (1, -(-width // side)))[:, :width]
        if pixels.ndim == 3:
            # Each colour is rounded by another part of the noise: grey would look coarser.
            tile = np.stack([np.roll(tile, shift, axis=1) for shift in (0, 83, 171)], axis=-1)
        levels = ((strip.astype(np.uint32) + tile) // 257).astype(np.uint8)
        out.paste(Image.fromarray(levels), (0, top))
    return out


@lru_cache(maxsize=1)
def _noise() -> NDArray[np.uint16]:
    import numpy as np

    return np.random.Generator(np.random.PCG64(1609)).integers(0, 257, (256, 256)).astype(np.uint16)


def _bands_of_rows(height: int, tall: int) -> Iterator[tuple[int, int, float, float, int, int]]:
    """A picture of ``height`` rows made ``tall`` in parts, so that what lies between the two passes stays small:
    rows from and to of the result, where they lie in the source, and the source rows that the filter reaches."""
    reach = int(3 * height / tall) + 3  # Lanczos spans three result pixels either way
    for top in range(0, tall, _ROWS):
        bottom = min(tall, top + _ROWS)
        above, below = top * height / tall, bottom * height / tall
        yield top, bottom, above, below, max(0, int(above) - reach), min(height, int(below) + 1 + reach)


def _binned(image: Image.Image, size: tuple[int, int]) -> Image.Image | None:
    """The picture at a size at which each pixel is the mean of so many whole ones; nothing at another size."""
    number = round(image.width / size[0])
    if number < 2 or size != (-(-image.width // number), -(-image.height // number)):
        return None
    return image.reduce(number)


def _lanczos(image: Image.Image, size: tuple[int, int]) -> Image.Image:
    out = Image.new(image.mode, size)
    for top, bottom, above, below, _, _ in _bands_of_rows(image.height, size[1]):
        box = (0.0, above, float(image.width), below)
        out.paste(image.resize((size[0], bottom - top), Image.Resampling.LANCZOS, box=box), (0, top))
    return out


def _lanczos_deep(pixels: NDArray[np.uint16], size: tuple[int, int]) -> NDArray[np.uint16]:
    """Lanczos in gamma space in floating point: Pillow's own for 16-bit integers wraps round beside bright stars."""
    import numpy as np

    height, width = pixels.shape[:2]
    planes = [pixels] if pixels.ndim == 2 else [pixels[..., i] for i in range(3)]
    out = np.empty((size[1], size[0], len(planes)), np.uint16)
    for top, bottom, above, below, first, last in _bands_of_rows(height, size[1]):
        box = (0.0, above - first, float(width), below - first)
        for index, plane in enumerate(planes):
            part = Image.fromarray(plane[first:last].astype(np.float32))
            small = part.resize((size[0], bottom - top), Image.Resampling.LANCZOS, box=box)
            out[top:bottom, :, index] = np.rint(np.clip(np.asarray(small), 0, 65535))
    return out[..., 0] if pixels.ndim == 2 else out


def _light_of(pixels: NDArray[np.uint16]) -> list[Image.Image]:
    import numpy as np

    codes = np.arange(65536, dtype=np.float64) / 65535.0
    table = np.rint(65535.0 * 256 * _linear(codes)).astype(np.int32)
    planes = [pixels] if pixels.ndim == 2 else [pixels[..., i] for i in range(3)]
    return [Image.fromarray(table[plane]) for plane in planes]


def _deep_of(light: list[Image.Image]) -> NDArray[np.uint16]:
    import numpy as np

    from noctuary.images.colour import encoded

    planes = [
        np.rint(65535.0 * encoded(np.clip(np.asarray(b, dtype=np.float32) / (65535.0 * 256), 0.0, 1.0))).astype(
            np.uint16
        )
        for b in light
    ]
    return planes[0] if len(planes) == 1 else np.stack(planes, axis=-1)


def _levels_of(light: list[Image.Image]) -> Image.Image:
    """Light as an 8-bit picture. Pillow reads its table of 65,536 anew each time, which for a small picture is most
    of the work: the bands of one are looked up together. Those of a large one would take too much room for that."""
    width, height = light[0].size
    if len(light) > 1 and width * height <= _SMALL:
        stacked = Image.new("I", (width, height * len(light)))
        for index, band in enumerate(light):
            stacked.paste(band, (0, index * height))
        whole = stacked.point(_from_light(), "L")
        levels = [whole.crop((0, i * height, width, (i + 1) * height)) for i in range(len(light))]
    else:
        levels = [band.point(_from_light(), "L") for band in light]
    return levels[0] if len(levels) == 1 else Image.merge("RGB", levels)


def _linear(codes: NDArray[np.float64]) -> NDArray[np.float64]:
    """sRGB 0…1 → linear light 0…1 (IEC 61966-2-1)."""
    import numpy as np

    return np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)


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
