"""What can be seen in a raw frame without developing it: the preview that a camera put into it, or FITS pixels.

A camera raw holds one or more JPEGs whole; they are found by their first bytes, whatever the format around them.
Nothing of a frame but its pixels goes into what is made here, so no position and no serial number does.
"""

from __future__ import annotations

import mmap
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noctuary.images.decode import open_picture
from noctuary.quiet import quiet

Luminance = NDArray[np.float32]

_JPEG = b"\xff\xd8\xff"
_MOST_EMBEDDED = 12
_MOST_PIXELS = 120_000_000
_SMALL_PX = 640
_SMALLEST_PX = 32
_ENOUGH_PX = (2400, 1600)
_GRID = 24
_STARS_PX = 1024
_FEWEST_STARS = 12
_CAMERA_PICTURES = (".jpg", ".jpeg", ".heic", ".heif", ".hif", ".png")
_PIXELS_THEMSELVES = (".fits", ".fit", ".fts", ".tif", ".tiff")


@dataclass(frozen=True, slots=True)
class FramePreview:
    """The luminance of a frame, from 0 to 1: in sRGB's steps, or ``linear`` as the sensor counted."""

    luminance: Luminance
    linear: bool

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self.luminance.shape[1], self.luminance.shape[0]

    @property
    def median(self) -> float:
        return float(np.median(self.luminance))

    @property
    def unevenness(self) -> float:
        """By how much parts of the picture differ, as a fraction of its median; 0 for what is black."""
        parts = _reduced(self.luminance, max(1, min(self.size) // _GRID))
        low, high = np.percentile(parts, (10, 90))
        return float((high - low) / self.median) if self.median > 0 else 0.0

    @property
    def has_stars(self) -> bool:
        """Whether there are a dozen bright spots wider than one pixel, which no dark, flat or bias has."""
        small = _reduced(self.luminance, max(1, max(self.size) // _STARS_PX))
        middle = float(np.median(small))
        scatter = 1.4826 * float(np.median(np.abs(small - middle)))
        bright = small > middle + max(8 * scatter, 0.02 if self.linear else 0.08)
        inner = bright[1:-1, 1:-1]
        beside = sum(
            bright[1 + dy : bright.shape[0] - 1 + dy, 1 + dx : bright.shape[1] - 1 + dx].astype(np.int8)
            for dy, dx in ((0, 1), (1, 0), (0, -1), (-1, 0))
        )
        values = small[1:-1, 1:-1]
        highest = np.ones_like(inner)
        for dy, dx in ((0, 1), (1, 0), (1, 1), (1, -1)):
            for sign in (1, -1):
                other = small[
                    1 + sign * dy : small.shape[0] - 1 + sign * dy, 1 + sign * dx : small.shape[1] - 1 + sign * dx
                ]
                highest &= values >= other
        spots = int((inner & highest & (np.asarray(beside) >= 1)).sum())
        return _FEWEST_STARS <= spots <= inner.size // 50

    def jpeg(self) -> bytes:
        """A small JPEG, at most 640 pixels a side, without metadata; what is linear is stretched to be seen."""
        from PIL import Image

        light = _reduced(self.luminance, max(1, max(self.size) // _SMALL_PX))
        if self.linear:
            low, high = np.percentile(light, (5, 99.7))
            light = np.sqrt(np.clip((light - low) / max(float(high - low), 1e-6), 0, 1))
        picture = Image.fromarray(np.rint(np.clip(light, 0, 1) * 255).astype(np.uint8))
        picture.thumbnail((_SMALL_PX, _SMALL_PX))
        out = BytesIO()
        picture.save(out, "JPEG", quality=80)
        return out.getvalue()


def frame_preview(path: Path) -> FramePreview | None:
    """The largest picture that a frame holds, or ``None`` where there is none that can be preview quickly."""
    ending = path.suffix.lower()
    try:
        if ending in _PIXELS_THEMSELVES:
            preview = _of_pixels(path)
        else:
            preview = _of_jpeg(path.read_bytes()) if ending in _CAMERA_PICTURES else _embedded(path)
    except Exception:  # whatever damage makes of the readers, there is nothing to see
        return None
    return preview if preview is not None and min(preview.size) >= _SMALLEST_PX else None


def _of_pixels(path: Path) -> FramePreview | None:
    fits = path.suffix.lower().startswith(".f")
    if fits:
        from astropy.io import fits as astropy_fits

        with quiet(), astropy_fits.open(path, memmap=False) as units:
            data = next((u.data for u in units if getattr(u, "data", None) is not None and u.data.ndim >= 2), None)
        if data is None or data.size > _MOST_PIXELS:
            return None
        full = float(np.iinfo(data.dtype).max) if data.dtype.kind in "iu" else max(1.0, float(np.nanmax(data)))
        full = 65535.0 if data.dtype.kind in "iu" and full > 65535 else full
        plane = data if data.ndim == 2 else data.reshape(-1, *data.shape[-2:]).mean(axis=0)
        return FramePreview(np.nan_to_num(plane.astype(np.float32) / np.float32(full)), linear=True)
    pixels: Any = open_picture(path).pixels
    array = np.asarray(pixels)
    full = float(np.iinfo(array.dtype).max) if array.dtype.kind in "iu" else 1.0
    return FramePreview(_luminance(array.astype(np.float32) / np.float32(full)), linear=False)


def _of_jpeg(content: bytes) -> FramePreview | None:
    from PIL import Image

    try:
        with quiet(), Image.open(BytesIO(content)) as picture:
            if picture.width * picture.height > _MOST_PIXELS:
                return None
            # A JPEG decodes at half or a quarter of its size in a fraction of the time, and loses no star by it.
            picture.draft("L", _ENOUGH_PX)
            array = np.asarray(picture.convert("L"), dtype=np.float32)
    except Exception:  # whatever a damaged JPEG makes of the decoder, there is no preview
        return None
    return FramePreview(array / np.float32(255.0), linear=False)


def _embedded(path: Path) -> FramePreview | None:
    from PIL import Image

    largest, begins = 0, -1
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
        at = content.find(_JPEG)
        for _ in range(_MOST_EMBEDDED):
            if at < 0:
                break
            # The raw pixels of some formats are a JPEG, too, of a lossless kind that is no picture to look at.
            try:
                with quiet(), Image.open(BytesIO(content[at : at + (1 << 16)])) as picture:
                    size = picture.width * picture.height
            except Exception:  # no JPEG after all, or a damaged one
                size = 0
            if _MOST_PIXELS >= size > largest and not _is_lossless(content, at):
                largest, begins = size, at
            at = content.find(_JPEG, at + 3)
        return _of_jpeg(content[begins:]) if begins >= 0 else None


def _is_lossless(content: mmap.mmap, at: int) -> bool:
    """Whether a JPEG is of the lossless process, marker SOF3 (ITU-T T.81, table B.1)."""
    here = at + 2
    for _ in range(64):
        if content[here : here + 1] != b"\xff":
            return True
        marker = content[here + 1]
        if marker in (0xC0, 0xC1, 0xC2):
            return False
        if marker == 0xC3 or marker == 0xDA:
            return True
        here += 2 + int.from_bytes(content[here + 2 : here + 4], "big")
    return True


def _luminance(pixels: NDArray[np.float32]) -> Luminance:
    return pixels if pixels.ndim == 2 else pixels[..., :3].mean(axis=2, dtype=np.float32)


def _reduced(luminance: Luminance, by: int) -> Luminance:
    if by == 1:
        return luminance
    high, wide = (side // by * by for side in luminance.shape)
    blocks = luminance[:high, :wide].reshape(high // by, by, wide // by, by)
    return np.asarray(blocks.mean(axis=(1, 3), dtype=np.float32))
