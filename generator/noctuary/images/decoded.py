"""What opening a picture gives: its working form, or one fault that says what to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from noctuary.errors import NoctuaryError
from noctuary.images.recipe import LIMIT_VARIABLE, max_pixels

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from PIL import Image

Doubt = tuple[str, str, str]

EXPORT = "export it as a JPEG, a PNG or a 16-bit TIFF and put that file here"
MIB = 1 << 20


class PictureFault(NoctuaryError):
    """A picture that cannot be used: which rule, what is wrong and what to do."""

    def __eq__(self, other: object) -> bool:
        return isinstance(other, PictureFault) and self.args == other.args

    def __hash__(self) -> int:
        return hash(self.args)


@dataclass(slots=True)
class Opened:
    """A picture in its working form: sRGB, upright, no alpha.

    ``pixels`` is a Pillow picture of mode L or RGB, or a uint16 array of shape (height, width) or
    (height, width, 3) with the full range of 16 bits. ``doubts`` are (rule, message, hint).
    """

    pixels: Image.Image | NDArray[np.uint16]
    width: int
    height: int
    doubts: tuple[Doubt, ...] = ()

    def take(self) -> Image.Image | NDArray[np.uint16]:
        """The pixels, for good: nothing here holds their memory afterwards."""
        pixels = self.pixels
        del self.pixels
        return pixels

    @property
    def deep(self) -> bool:
        """Whether the picture has more than 8 bits."""
        return not hasattr(self.pixels, "getbands")

    @property
    def image(self) -> Image.Image:
        """The picture as 8-bit RGB, dithered where it has more bits."""
        from noctuary.images.dither import as_8_bit

        return as_8_bit(self.pixels).convert("RGB")


def cut_short() -> PictureFault:
    return PictureFault(
        "the picture ends too early: part of the file is missing",
        "copy or export the file again",
        "picture-truncated",
    )


def within_limit(width: int, height: int) -> None:
    limit = max_pixels()
    if width < 1 or height < 1:
        raise PictureFault("the picture has no pixels", EXPORT, "picture-empty")
    if width * height > limit:
        raise PictureFault(
            f"the picture says it has {width} × {height} pixels, more than {limit / 1e6:g} megapixels",
            f"export it smaller, or set {LIMIT_VARIABLE}={-(-width * height // 1_000_000)} if it is meant",
            "picture-too-large",
        )
