"""The values of a picture's file as they are stored, for measuring: no colour conversion, no scaling to a range.

What is shown is converted to sRGB and cut to 16 bits; a width measured in a frame as the camera wrote it must not go
through either.
"""

from __future__ import annotations

import io
import logging
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noctuary.images.decode import open_picture, picture_size
from noctuary.images.decoded import PictureFault
from noctuary.images.file_type import kind_of
from noctuary.images.fits_picture import fits_image

_LEAST_PREVIEW_PX = 600


@dataclass(frozen=True, slots=True)
class FrameValues:
    """One channel, shape (height, width), upright.

    ``eight_bits``: the file has no more; ``preview``: these are the small picture inside a camera raw.
    """

    values: NDArray[np.float32]
    eight_bits: bool
    preview: bool = False


def frame_values(path: Path) -> FrameValues:
    """The mean of the colours of a JPEG, PNG, TIFF or FITS, or of the largest preview in a camera raw.

    Raises PictureFault.
    """
    try:
        picture_size(path)
        kind, _ = kind_of(path)
        if kind == "fits":
            return _fits(path)
        if kind == "tiff" and (deep := _deep_tiff(path)) is not None:
            return FrameValues(deep, eight_bits=False)
        opened = open_picture(path)
        return FrameValues(_grey(np.asarray(opened.pixels)), eight_bits=not opened.deep)
    except PictureFault:
        preview = _preview(path)
        if preview is None:
            raise
        return FrameValues(preview, eight_bits=True, preview=True)


def _grey(pixels: NDArray[Any]) -> NDArray[np.float32]:
    grey: NDArray[np.float32] = (
        pixels.mean(axis=2, dtype=np.float32) if pixels.ndim == 3 else pixels.astype(np.float32)
    )
    return grey


def _fits(path: Path) -> FrameValues:
    try:
        with fits_image(path) as (hdu, planes, _, _):
            parts = [np.asarray(hdu.section[(*plane, slice(None), slice(None))], np.float32) for plane in planes]
            values: NDArray[np.float32] = np.stack(parts).mean(axis=0, dtype=np.float32)[::-1]
            return FrameValues(values, eight_bits=int(hdu.header.get("BITPIX", 16)) == 8)
    except (OSError, ValueError, TypeError):
        return FrameValues(_grey(np.asarray(open_picture(path).pixels)), eight_bits=False)


def _deep_tiff(path: Path) -> NDArray[np.float32] | None:
    """A TIFF of more than 8 bits, in the compressions that tifffile reads by itself; ``None`` for any other."""
    import tifffile

    log = logging.getLogger("tifffile")
    before = log.level
    log.setLevel(logging.CRITICAL + 1)
    try:
        with tifffile.TiffFile(path) as file:
            page: Any = file.pages[0]
            orientation = int(page.tags[274].value) if 274 in page.tags else 1
            if (
                page.dtype is None
                or page.dtype.itemsize < 2
                or orientation != 1
                or int(page.photometric) not in (1, 2)
            ):
                return None
            colours = 1 if int(page.photometric) == 1 else 3
            array = np.asarray(page.asarray(maxworkers=1))
            if int(page.samplesperpixel) > 1:
                array = np.moveaxis(array, 0, -1) if int(page.planarconfig) == 2 else array
                array = array[..., :colours]
            return _grey(array) if array.ndim in (2, 3) else None
    except Exception:  # damage of any kind: what decodes it for the pages says what is wrong
        return None
    finally:
        log.setLevel(before)


def _preview(path: Path) -> NDArray[np.float32] | None:
    """The largest JPEG inside a camera raw; ``None`` where there is none of a useful size."""
    from PIL import Image, UnidentifiedImageError

    try:
        data = path.read_bytes()
    except OSError:
        return None
    best = None
    at = data.find(b"\xff\xd8\xff")
    while at >= 0:
        try:
            with Image.open(io.BytesIO(data[at:])) as image:
                if image.format == "JPEG" and (best is None or image.size > best[0]):
                    image.load()
                    best = image.size, np.asarray(image.convert("RGB"), dtype=np.float32)
        except (UnidentifiedImageError, OSError, SyntaxError, ValueError, Image.DecompressionBombError):
            pass
        at = data.find(b"\xff\xd8\xff", at + 3)
    return _grey(best[1]) if best and min(best[0]) >= _LEAST_PREVIEW_PX else None
