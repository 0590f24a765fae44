"""The picture that appears where a page's address is pasted: 1200 × 630, the picture over a few lines of type."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageFont import FreeTypeFont

    from noctuary.sky.placement import Placement

WIDTH, HEIGHT = 1200, 630
#: The strip below the picture that the type is set on, and its margins.
STRIP, EDGE = 164, 44
QUALITY = 86
_SIZES = 46, 29
_BASELINES = 60, 99, 137
#: No character of any script: what a face draws for it, it draws for everything that it lacks.
_UNDRAWN = "\U0010fffd"


@dataclass(frozen=True, slots=True)
class Look:
    """The theme's part: a face (TrueType, OpenType or WOFF2) and colours as ``#rrggbb``."""

    face: Path | None
    ground: str = "#0d0d0d"
    ink: str = "#d2cbbf"
    faint: str = "#bcb5a9"


def share_picture(data: bytes, lines: Sequence[str], look: Look) -> bytes:
    """A JPEG of 1200 × 630 from an encoded picture in sRGB and up to three lines, the title first.

    The picture fills the part above the strip, cut evenly where its proportions differ. A line too long for the
    width ends in an ellipsis; one with characters that the face lacks is left out.
    """
    from PIL import Image as pillow
    from PIL import ImageDraw, ImageOps

    with pillow.open(io.BytesIO(data)) as opened:
        # A decoder may halve as long as enough is left to fill the frame with.
        opened.draft("RGB", (WIDTH * 2, HEIGHT * 2))
        picture = ImageOps.fit(_in_colour(opened), (WIDTH, HEIGHT - STRIP), pillow.Resampling.LANCZOS)
    card = pillow.new("RGB", (WIDTH, HEIGHT), look.ground)
    card.paste(picture, (0, 0))
    draw = ImageDraw.Draw(card)
    title, plain = (_font(look.face, size) for size in _SIZES)
    drawn = [(line, title if at == 0 else plain, at == 0) for at, line in enumerate(lines[:3])]
    drawn = [(line, font, first) for line, font, first in drawn if line and _drawable(line, font)]
    for (line, font, first), baseline in zip(drawn, _BASELINES, strict=False):
        colour = look.ink if first else look.faint
        draw.text((EDGE, HEIGHT - STRIP + baseline), _fitting(line, font), colour, font, anchor="ls")
    return _encoded(card)


def halves(older: bytes, of: Placement, newer: bytes, onto: Placement) -> bytes:
    """Two encoded pictures as one JPEG in the newer one's frame: left of the middle the older, right of it the newer.

    Black where the older does not reach.
    """
    from PIL import Image as pillow
    from PIL import ImageDraw

    from noctuary.images.warp import drawn_in_frame

    height = max(1, round(WIDTH * onto.height_px / onto.width_px))
    card = pillow.new("RGB", (WIDTH, height))
    for data, placement, left, right in ((older, of, 0, WIDTH // 2), (newer, onto, WIDTH // 2, WIDTH)):
        drawn = drawn_in_frame(data, placement, onto, WIDTH, height).crop((left, 0, right, height))
        card.paste(drawn, (left, 0), drawn)
    ImageDraw.Draw(card).line([(WIDTH // 2, 0), (WIDTH // 2, height)], fill="#d2cbbf", width=2)
    out = io.BytesIO()
    card.save(out, "JPEG", quality=95, subsampling=0)
    return out.getvalue()


@lru_cache(maxsize=8)
def _font(face: Path | None, size: int) -> FreeTypeFont:
    from PIL import ImageFont

    if face is not None:
        try:
            return ImageFont.truetype(face, size)
        except OSError:
            pass  # a FreeType without WOFF2: Pillow's own face has to do
    found = ImageFont.load_default(size)
    assert isinstance(found, ImageFont.FreeTypeFont)
    return found


def _in_colour(picture: Image) -> Image:
    """The picture itself where it is in colours: a conversion would copy it."""
    return picture if picture.mode == "RGB" else picture.convert("RGB")


def _drawable(line: str, font: FreeTypeFont) -> bool:
    return all(c.isspace() or _drawn(c, font) != _drawn(_UNDRAWN, font) for c in dict.fromkeys(line))


@lru_cache(maxsize=4096)
def _drawn(character: str, font: FreeTypeFont) -> tuple[bytes, float]:
    """What a face draws, small enough to remember for the next picture."""
    return bytes(font.getmask(character)), font.getlength(character)


def _fitting(line: str, font: FreeTypeFont) -> str:
    room = WIDTH - 2 * EDGE
    if font.getlength(line) <= room:
        return line
    kept = line
    while kept and font.getlength(f"{kept}…") > room:
        kept = kept[:-1]
    return f"{kept.rstrip(' ,;:–-')}…"


def _encoded(card: Image) -> bytes:
    data = io.BytesIO()
    card.save(data, "JPEG", quality=QUALITY, subsampling=0, optimize=True)
    return data.getvalue()
