"""How a finished picture becomes the files of the site: sizes, formats, qualities and limits, with reasons.

Nothing here imports a picture library, so that a build with nothing to do can ask which files a picture
has without paying for one.

Measured on simulated star fields of 15 and 20 megapixels (Pillow 13, two cores):

* Each size from the next larger one costs half the time of each from the original and looks the same.
* Of 1,457 simulated stars (Moffat profiles over a sky of 22 levels, 4,800 px wide) the median keeps, at 1,920, 960
  and 480 px, 85, 54 and 52 % of its light when every step is Lanczos in gamma space, and the sky beside bright ones
  falls to 9 levels: black rings. Hamming in gamma space has no rings and keeps 94, 80 and 103 % but scatters
  widely. With Lanczos in gamma space down to 2,880 px (95 %, sharp, hardly smaller than the original) and Hamming in
  linear light below it, 108, 108 and 105 %, and no pixel darker than the sky. So that is what is done; it costs 1.09
  × the time of the plain chain.
* Where two (or three …) pixels each way make one of about 2,880 px, the first step is binning instead. At half the
  size the stars of 2,352 (Moffat profiles 2.5 px wide) keep 95 % of their light with 67 % of the peak, spread 1.33
  times as wide; with Lanczos 97 %, 68 %, 1.34 and dark rings, in fourteen times the time.
* JPEG decoded at reduced size softens stars (0.95 → 0.89 of their sharpness), and the full size is published
  anyway: never used.
* JPEG at 88 without chroma subsampling keeps 0.86 of the colour at the peak of a star, subsampled 0.28, WebP
  (always subsampled) 0.61. At 480 and 960 px nobody looks at single stars and WebP is a third of the bytes;
  at 2880 px it costs ten times the time and keeps 37 % of the finest detail against 67 %. So: JPEG
  everywhere, WebP beside it for the small sizes. AVIF at equal bytes takes 20–70 times as long as JPEG.
* A browser is given no tiles where it can decode the whole picture (:mod:`noctuary.images.tiles`): at 20 megapixels
  they were 37 % of a site, and each of their pixels is in a rendition too.
* Noise that hides the steps of a dark gradient is mostly eaten by JPEG at 88 and hardly by 92–95, so the
  size meant for looking closely is written at 92.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Format = Literal["jpeg", "webp"]

#: Changes whenever the same source would give other pixels, so that cached renditions are made again.
RECIPE_VERSION = 2

#: Widths in pixels that every picture is offered at, where it is wide enough.
WIDTHS = (480, 960, 1920, 2880)
#: Widths that it is offered at as WebP: two of those, one for pictures beside a name, a quarter of the bytes
#: of the next, one that fills a phone's window and one that fills a plain screen with half the bytes of a JPEG.
WEBP_WIDTHS = (240, 480, 640, 960, 1440)
#: A standard width closer to the full width than this factor would be a second copy of the same picture.
NEAR_FULL = 1.1
#: Where so near to the largest standard width a whole number of pixels make one, the picture is binned to that.
BINNED_WITHIN = 0.15
#: The full size is published up to so many pixels; a larger picture is made smaller to fit.
FULL_MAX_PIXELS = 100_000_000
#: No side of a published file is longer than JPEG (65,535) and WebP (16,383) can say.
JPEG_MAX_SIDE = 65_000
WEBP_MAX_SIDE = 16_383

JPEG_QUALITY = 88
FULL_JPEG_QUALITY = 92
WEBP_QUALITY = 80
#: Method 2 is 2.6 × as fast as the customary 4 for 5 % more bytes.
WEBP_METHOD = 2

_WIDTHS_OF: dict[Format, tuple[int, ...]] = {"jpeg": WIDTHS, "webp": WEBP_WIDTHS}
#: The ending each kind of content goes by.
ENDINGS = {"jpeg": ".jpg", "webp": ".webp"}

#: Environment variable that raises (or lowers) the limit on the size of a picture.
LIMIT_VARIABLE = "NOCTUARY_MAX_MEGAPIXELS"
DEFAULT_MAX_MEGAPIXELS = 400.0

#: Peak memory of a worker, measured on 20 megapixels: 25–40 MB for the interpreter and its libraries, and for each
#: megapixel 6 MB of an 8-bit JPEG (twice its 3 MB of colours) and 13 MB of a 16-bit TIFF (its 6 MB twice). Alpha,
#: CMYK and a picture that is turned on its side need up to 13 MB. The limits here have something in hand.
WORKER_FLOOR_BYTES = 80_000_000
PEAK_BYTES_PER_PIXEL = 9
PEAK_BYTES_PER_PIXEL_DEEP = 16


@dataclass(frozen=True, slots=True)
class Rendition:
    """One file made from a picture: its size in pixels, its format, where it lies, its bytes and their hash."""

    width: int
    height: int
    format: Format
    file: Path
    bytes: int
    sha256: str


@dataclass(frozen=True, slots=True)
class PictureFile:
    """What is known of a finished picture once its renditions are there.

    ``width`` and ``height`` are those of the finished picture's own pixels after its EXIF orientation;
    ``colour`` is its mean colour as ``#rrggbb``, shown until the picture has arrived; ``renditions`` are
    ordered by width, JPEG before WebP; ``doubts`` are (rule, message, hint); ``tiles`` is the file of the tiles of
    a large picture.
    """

    width: int
    height: int
    colour: str
    renditions: tuple[Rendition, ...]
    doubts: tuple[tuple[str, str, str], ...] = ()
    tiles: Path | None = None

    def of(self, format: Format) -> tuple[Rendition, ...]:
        """The renditions of one format, smallest first."""
        return tuple(r for r in self.renditions if r.format == format)

    @property
    def full(self) -> Rendition:
        """The largest JPEG: the picture for looking closely."""
        return self.of("jpeg")[-1]


@dataclass(frozen=True, slots=True)
class Planned:
    """A size that will be made, and how: the formats it is written in and its JPEG quality."""

    width: int
    height: int
    formats: tuple[Format, ...]
    quality: int


def max_pixels() -> int:
    """The most pixels a picture may have before it is refused unread (a decompression bomb, or a slip)."""
    try:
        megapixels = float(os.environ.get(LIMIT_VARIABLE, ""))
    except ValueError:
        megapixels = DEFAULT_MAX_MEGAPIXELS
    if not 0 < megapixels < 1e6:
        megapixels = DEFAULT_MAX_MEGAPIXELS
    return int(megapixels * 1_000_000)


def sizes(width: int, height: int, largest: int | None = None) -> tuple[Planned, ...]:
    """The sizes made of a picture of ``width`` × ``height`` pixels, largest first, none larger than itself.

    ``largest``: no side of a published file is to be longer, in pixels.
    """
    wished = largest / max(width, height) if largest else 1.0
    fitting = wished, JPEG_MAX_SIDE / width, JPEG_MAX_SIDE / height
    shrink = min(1.0, *fitting, (FULL_MAX_PIXELS / (width * height)) ** 0.5)
    full_width, full_height = max(1, int(width * shrink)), max(1, int(height * shrink))
    small_enough: tuple[Format, ...] = ("webp",) if full_width <= max(WEBP_WIDTHS) else ()
    planned = [_planned(full_width, full_height, ("jpeg", *small_enough), FULL_JPEG_QUALITY)]
    for standard in sorted({*WIDTHS, *WEBP_WIDTHS}, reverse=True):
        small, tall = standard, max(1, round(height * standard / width))
        if standard == max(WIDTHS):
            small, tall = _binned(full_width, full_height) or (small, tall)
        if small * NEAR_FULL <= full_width and tall <= full_height:
            formats = tuple(form for form, widths in _WIDTHS_OF.items() if standard in widths)
            planned.append(_planned(small, tall, formats, JPEG_QUALITY))
    return tuple(plan for plan in planned if plan.formats)


def _binned(width: int, height: int) -> tuple[int, int] | None:
    """The size at which a whole number of pixels, each way, make one of about the largest standard width."""
    number = round(width / max(WIDTHS))
    if number < 2 or abs(width / number / max(WIDTHS) - 1) > BINNED_WITHIN:
        return None
    return -(-width // number), -(-height // number)


def _planned(width: int, height: int, formats: tuple[Format, ...], quality: int) -> Planned:
    possible = tuple(form for form in formats if form == "jpeg" or height <= WEBP_MAX_SIDE)
    return Planned(width, height, possible, quality)


def peak_bytes(width: int, height: int, *, deep: bool) -> int:
    """The memory one worker needs at most for a picture of this size, bytes."""
    each = PEAK_BYTES_PER_PIXEL_DEEP if deep else PEAK_BYTES_PER_PIXEL
    return WORKER_FLOOR_BYTES + width * height * each
