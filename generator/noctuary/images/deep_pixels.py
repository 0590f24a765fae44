"""Pictures of more than 8 bits: 16-bit PNG and TIFF, floating-point TIFF, as 16-bit arrays.

Pillow opens 16-bit colour by cutting the low byte, and floating-point colour not at all; a smooth dark gradient needs
both bytes until it is dithered.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from noctuary.images.decoded import EXPORT, MIB, Doubt, Opened, PictureFault
from noctuary.images.raster_colour import bad_profile, to_srgb
from noctuary.images.raster_header import pillow_image, tiff_file, tiff_header

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from PIL import Image

#: Values that are worked through at once: few enough to stay in the processor's cache.
_STRIP = 1 << 18


def opened_deep(pixels: NDArray[Any], mode: str, profile: bytes | None, doubts: list[Doubt]) -> Opened:
    """uint16 pixels with 1 to 4 channels (``mode`` L, LA, RGB, RGBA or CMYK) → the working form."""
    import numpy as np

    from noctuary.images.colour import UnusableProfile, deep_to_srgb
    from noctuary.images.dither import as_8_bit

    height, width = pixels.shape[:2]
    if mode == "CMYK":
        from PIL import Image

        eight = Image.fromarray(np.ascontiguousarray(pixels >> 8).astype(np.uint8), "CMYK")
        return Opened(to_srgb(eight, profile, doubts), width, height, tuple(doubts))
    alpha = pixels[..., -1].copy() if mode in ("LA", "RGBA") else None
    if mode in ("LA", "L") and pixels.ndim == 3:
        pixels = pixels[..., 0]
    elif mode == "RGBA":
        pixels = pixels[..., :3]
    pixels = np.ascontiguousarray(pixels)
    try:
        converted = deep_to_srgb(pixels, profile)
    except UnusableProfile:
        doubts.append(bad_profile())
        converted = pixels
    if converted is None:
        # A profile of tables is computed in 8 bits by Pillow; the dither before it keeps most of the gradients.
        eight = to_srgb(as_8_bit(pixels), profile, doubts)
        if alpha is not None:
            from PIL import Image

            black = Image.new(eight.mode, eight.size)
            black.paste(eight, mask=Image.fromarray((alpha >> 8).astype(np.uint8)))
            eight = black
        return Opened(eight, width, height, tuple(doubts))
    if alpha is not None:
        for row in range(0, height, 64):
            part = converted[row : row + 64].astype(np.uint32)
            cover = alpha[row : row + 64].astype(np.uint32)
            cover = cover if part.ndim == 2 else cover[..., None]
            converted[row : row + 64] = (part * cover + 32767) // 65535
    return Opened(converted, width, height, tuple(doubts))


def turned_array(pixels: NDArray[Any], orientation: int) -> NDArray[Any]:
    """An array (h, w, …) upright, as EXIF 2.32 table 6 names the orientations."""
    import numpy as np

    turns: dict[int, Callable[[NDArray[Any]], NDArray[Any]]] = {
        2: lambda a: a[:, ::-1],
        3: lambda a: a[::-1, ::-1],
        4: lambda a: a[::-1],
        5: lambda a: a.swapaxes(0, 1),
        6: lambda a: a.swapaxes(0, 1)[:, ::-1],
        7: lambda a: a[::-1, ::-1].swapaxes(0, 1),
        8: lambda a: a.swapaxes(0, 1)[::-1],
    }
    return np.ascontiguousarray(turns[orientation](pixels)) if orientation in turns else pixels


def deep_png(path: Path) -> tuple[NDArray[Any], str]:
    """A 16-bit PNG. Pillow keeps only the high byte of each sample, so it is decoded once for the high bytes and,
    asked for bytes in the other order, once more for the low ones: at the speed of its C decoder."""
    import numpy as np

    with path.open("rb") as file:
        colour_type = file.read(26)[25]
    if colour_type == 0:
        with pillow_image(path) as image:
            image.load()
            return np.asarray(image).astype(np.uint16), "L"
    if colour_type == 4:  # four bytes a pixel, the two of the grey first
        with _raw_png(path, "RGBA") as image:
            both = np.asarray(image)
            grey = (both[..., 0].astype(np.uint16) << 8) | both[..., 1]
            cover = (both[..., 2].astype(np.uint16) << 8) | both[..., 3]
            return np.stack([grey, cover], axis=-1), "LA"
    mode = {2: "RGB", 6: "RGBA"}[colour_type]
    with _raw_png(path, f"{mode};16B") as image:
        clear = image.info.get("transparency")
        pixels = np.empty((image.height, image.width, len(mode)), np.uint16)
        for rows, part in _strips(image):
            pixels[rows] = part
    pixels <<= 8
    with _raw_png(path, f"{mode};16L") as image:
        for rows, part in _strips(image):
            pixels[rows] |= part
    if mode == "RGB" and isinstance(clear, tuple) and len(clear) == 3:
        pixels[(pixels == np.array(clear, np.uint16)).all(axis=-1)] = 0
    return pixels, mode


@contextmanager
def _raw_png(path: Path, rawmode: str) -> Iterator[Image.Image]:
    with pillow_image(path) as image:
        image.tile = [tile._replace(args=rawmode) for tile in getattr(image, "tile", [])]  # type: ignore[attr-defined]
        image.load()
        yield image


def _strips(image: Image.Image) -> Iterator[tuple[slice, NDArray[Any]]]:
    import numpy as np

    step = max(1, MIB // image.width)
    for top in range(0, image.height, step):
        bottom = min(image.height, top + step)
        yield slice(top, bottom), np.asarray(image.crop((0, top, image.width, bottom)))


def deep_tiff(path: Path, doubts: list[Doubt]) -> tuple[NDArray[Any], str]:
    """A TIFF of 16, 32 or 64 bits, integers or floating point, upright, as uint16."""
    import numpy as np

    with tiff_file(path) as file:
        page: Any = file.pages[0]
        photometric = int(page.photometric)
        samples = int(page.samplesperpixel)
        planar = int(page.planarconfig) == 2 and samples > 1
        orientation = int(page.tags[274].value) if 274 in page.tags else 1
        within = [int(e) for e in (page.extrasamples or ())]
        try:
            array = _floats_as_stored(path, page, doubts)
            if array is None:
                array = page.asarray(maxworkers=1)
        except ValueError as error:
            if "imagecodecs" not in str(error) and "COMPRESSION" not in str(error).upper():
                raise
            array = _deep_tiff_by_halves(path, samples)
            planar, orientation = False, 1
    if planar:
        array = np.moveaxis(array, 0, -1)
    array = array.reshape(array.shape[:2] if samples == 1 else (*array.shape[:2], -1)) if array.ndim > 1 else array
    pixels = as_uint16(np.asarray(array), doubts)
    if photometric == 0:
        pixels = np.uint16(65535) - pixels
    colours = {0: 1, 1: 1, 2: 3, 5: 4}.get(photometric)
    if colours is None or samples < colours:
        raise PictureFault("this TIFF holds its colours in a way that is not read", EXPORT, "picture-format")
    covered = samples > colours and bool(within) and within[0] in (1, 2)
    if samples > 1:
        pixels = pixels[..., : colours + covered]
    mode = {1: "L", 3: "RGB", 4: "CMYK"}[colours] + ("A" if covered and colours < 4 else "")
    if colours == 4:
        pixels = pixels[..., :4]
    return turned_array(pixels, orientation), mode


def _deep_tiff_by_halves(path: Path, samples: int) -> NDArray[Any]:
    """A 16-bit TIFF in a compression that tifffile leaves to others (LZW): libtiff's decoder through Pillow, once for
    the high and once for the low bytes, upright."""
    import sys

    import numpy as np

    high, low = ("L", "B") if sys.byteorder == "little" else ("B", "L")
    with pillow_image(path) as image:
        if image.mode.startswith("I;16"):
            image.load()
            return np.asarray(image).astype(np.uint16)
        if image.mode not in ("RGB", "RGBA") or len(image.mode) != samples or tiff_header(path).bits != 16:
            raise PictureFault(
                "this TIFF is compressed in a way that is not read",
                "save it uncompressed or with ZIP compression",
                "picture-format",
            )
    halves = []
    for order in (high, low):
        with pillow_image(path) as image:
            tiles: Any = getattr(image, "tile", [])
            image.tile = [  # type: ignore[attr-defined]
                t._replace(args=(t.args[0].split(";")[0] + ";16" + order, *t.args[1:])) for t in tiles
            ]
            image.load()
            halves.append(np.asarray(image))
    whole: NDArray[Any] = (halves[0].astype(np.uint16) << 8) | halves[1]
    return whole


def as_uint16(array: NDArray[Any], doubts: list[Doubt]) -> NDArray[np.uint16]:
    """Integers by their full range, floating point from 0 to 1; NaN is black."""
    import numpy as np

    if array.dtype == np.uint16:
        return array.astype(np.uint16, copy=False)
    if array.dtype.kind == "u":
        bits = array.dtype.itemsize * 8
        widened: NDArray[np.uint16] = (
            array.astype(np.uint16) * np.uint16(257) if bits == 8 else (array >> (bits - 16)).astype(np.uint16)
        )
        return widened
    if array.dtype.kind == "i":
        top = float(np.iinfo(array.dtype).max)
        scaled: NDArray[np.uint16] = np.rint(np.clip(array, 0, None) * (65535.0 / top)).astype(np.uint16)
        return scaled
    if array.dtype.kind != "f":
        raise PictureFault(f"pixels of type {array.dtype} are not read", EXPORT, "picture-format")
    step = max(1, _STRIP // max(1, array[0].size))
    return _from_floats((array[top : top + step] for top in range(0, len(array), step)), array.shape, doubts)


def _floats_as_stored(path: Path, page: Any, doubts: list[Doubt]) -> NDArray[np.uint16] | None:
    """Floating-point values that lie in the file as they are, read strip by strip: the whole of them would take twice
    the room of the result. ``None`` where they are anything else."""
    import numpy as np

    dtype = np.dtype(page.dtype or "V")
    if dtype.kind != "f" or not page.is_contiguous or len(page.shape) not in (2, 3):
        return None
    stored = dtype.newbyteorder(page.parent.byteorder)
    each = int(np.prod(page.shape[1:]))
    step = max(1, _STRIP // each)

    def strips() -> Iterator[NDArray[Any]]:
        with path.open("rb") as file:
            file.seek(page.dataoffsets[0])
            for top in range(0, page.shape[0], step):
                rows = min(step, page.shape[0] - top)
                yield np.fromfile(file, stored, rows * each).reshape(rows, *page.shape[1:])

    return _from_floats(strips(), page.shape, doubts)


def _from_floats(strips: Iterator[NDArray[Any]], shape: tuple[int, ...], doubts: list[Doubt]) -> NDArray[np.uint16]:
    import numpy as np

    out = np.empty(shape, np.uint16)
    outside, top = False, 0
    for strip in strips:
        part = strip.astype(np.float32)
        least, most = np.fmin.reduce(part, axis=None), np.fmax.reduce(part, axis=None)  # NaN left out
        outside = outside or bool(least < -1e-4 or most > 1.0001)
        np.fmax(part, 0.0, out=part)  # NaN too
        np.fmin(part, 1.0, out=part)
        part *= np.float32(65535.0)
        out[top : top + len(part)] = np.rint(part, out=part)
        top += len(part)
    if outside:
        doubts.append(
            (
                "picture-range",
                "some values of this floating-point picture lie outside 0…1 and are cut off there",
                "export it scaled to 0…1",
            )
        )
    return out
