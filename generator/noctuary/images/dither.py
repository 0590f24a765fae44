"""16-bit values → 8 bits by chance, so that the mean of an area is what it was and dark gradients do not band."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from PIL import Image

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_SIDE = 256
#: Rows that are worked through at once: they stay in the processor's cache.
_ROWS = 32


def as_8_bit(pixels: Image.Image | NDArray[np.uint16]) -> Image.Image:
    """A picture as 8-bit L or RGB; 16-bit values are dithered, the same way every time.

    Each value v becomes v/257 rounded down or up by chance: (v + n) // 257 with n from 0 to 256.
    """
    if isinstance(pixels, Image.Image):
        return pixels
    import numpy as np

    height, width = pixels.shape[:2]
    out = Image.new("L" if pixels.ndim == 2 else "RGB", (width, height))
    noise = _noise_for(width, colours=pixels.ndim == 3)
    room = np.uint16(65535) - noise  # a sum beyond 65,535 would wrap round; it is white in any case
    for top in range(0, height, _ROWS):
        strip = pixels[top : top + _ROWS]
        rows = slice(top % _SIDE, top % _SIDE + strip.shape[0])
        sums = np.minimum(strip, room[rows])
        sums += noise[rows]
        sums -= sums >> np.uint16(8)  # with the shift below: sums // 257, exact up to 65,535
        out.paste(Image.fromarray((sums >> np.uint16(8)).astype(np.uint8)), (0, top))
    return out


def _noise_for(width: int, *, colours: bool) -> NDArray[np.uint16]:
    """256 rows of noise, as wide as a picture. Each colour has another part of it: grey noise would look coarser."""
    import numpy as np

    noise = np.tile(_noise(), (1, -(-width // _SIDE)))[:, :width]
    return np.stack([np.roll(noise, shift, axis=1) for shift in (0, 83, 171)], axis=-1) if colours else noise


@lru_cache(maxsize=1)
def _noise() -> NDArray[np.uint16]:
    import numpy as np

    return np.random.Generator(np.random.PCG64(1609)).integers(0, 257, (_SIDE, _SIDE)).astype(np.uint16)
