"""FITS pictures: one plane or three, as the person stretched them, shown with their first row at the bottom."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from noctuary.images.decoded import EXPORT, Doubt, Opened, PictureFault, cut_short, within_limit

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

#: Pixels of a plane that are read at once: few enough to stay in the processor's cache.
_STRIP = 1 << 18


@contextmanager
def fits_image(path: Path) -> Iterator[tuple[Any, tuple[Any, ...], int, int]]:
    """The first picture of a FITS file: (HDU, the index of each plane, height, width)."""
    from astropy.io import fits

    with fits.open(path, memmap=False, lazy_load_hdus=True, ignore_missing_simple=False) as file:
        size = path.stat().st_size
        at = 0
        while True:
            try:
                hdu = file[at]
            except IndexError:
                break
            where = hdu.fileinfo() or {}
            shape = tuple(int(n) for n in getattr(hdu, "shape", ()) or ())
            if len(shape) >= 2 and hdu.is_image:
                if "datLoc" in where and where["datLoc"] + _data_bytes(hdu) > size:
                    raise cut_short()
                while len(shape) > 3 and shape[0] == 1:
                    shape = shape[1:]
                lead = (0,) * (len(hdu.shape) - len(shape))
                if len(shape) == 2:
                    yield hdu, (lead,), shape[0], shape[1]
                    return
                if len(shape) == 3 and shape[0] in (1, 3):
                    yield hdu, tuple((*lead, p) for p in range(shape[0])), shape[1], shape[2]
                    return
                raise PictureFault(
                    f"the FITS picture is {' × '.join(map(str, reversed(shape)))}; only 1 or 3 planes are shown",
                    "write it with one plane, or three for red, green and blue",
                    "picture-format",
                )
            at += 1
    raise PictureFault("the FITS file holds no picture", EXPORT, "picture-empty")


def _data_bytes(hdu: Any) -> int:
    header = getattr(hdu, "_bintable", hdu) if hasattr(hdu, "compression_type") else hdu
    return int(getattr(header, "size", 0) or 0) if not hasattr(hdu, "compression_type") else 0


def open_fits(path: Path, doubts: list[Doubt]) -> Opened:
    import numpy as np

    with fits_image(path) as (hdu, planes, height, width), path.open("rb") as file:
        within_limit(width, height)
        step = max(1, _STRIP // width)
        strips = [(top, min(height, top + step)) for top in range(0, height, step)]
        read = _reader(hdu, file)
        low, high = _range(read(plane, top, bottom) for plane in planes for top, bottom in strips)
        if low > high:
            doubts.append(("picture-range", "no pixel of the FITS picture has a value; it is black", EXPORT))
            low, high = 0.0, 1.0
        if low < 0.0 or high > 1.0:
            doubts.append(
                (
                    "picture-range",
                    f"the FITS values lie outside 0…1 and are shown from their minimum {low:g} to maximum {high:g}",
                    "write it stretched as it should look, with values from 0 to 1",
                )
            )
        else:
            low, high = 0.0, 1.0
        pixels = np.empty((height, width) if len(planes) == 1 else (height, width, 3), np.uint16)
        for index, plane in enumerate(planes):
            target = pixels if len(planes) == 1 else pixels[..., index]
            for top, bottom in strips:
                # FITS counts rows from the bottom.
                target[height - bottom : height - top] = _scaled(read(plane, top, bottom), low, high)[::-1]
    return Opened(pixels, width, height, tuple(doubts))


def _reader(hdu: Any, file: BinaryIO) -> Callable[[tuple[int, ...], int, int], NDArray[np.floating[Any]]]:
    """Rows of a plane as floating point of this machine's byte order, by the plane's index and the rows.

    What is stored as it is is read from ``file``: astropy would map it into memory, where a file that is cut short
    meanwhile ends the process. Compressed values and those with an integer for "no value" are left to astropy.
    """
    import numpy as np

    place, header = hdu.fileinfo() or {}, hdu.header
    stored = {8: "u1", 16: ">i2", 32: ">i4", 64: ">i8", -32: ">f4", -64: ">f8"}.get(header["BITPIX"])
    if hasattr(hdu, "compression_type") or stored is None or "datLoc" not in place or "BLANK" in header:

        def section(plane: tuple[int, ...], top: int, bottom: int) -> NDArray[np.floating[Any]]:
            return np.asarray(hdu.section[(*plane, slice(top, bottom), slice(None))]).astype(np.float32, copy=False)

        return section
    dtype, zero, scale = np.dtype(stored), float(header.get("BZERO", 0)), float(header.get("BSCALE", 1))
    # 24 bits hold every integer of 16.
    wide = np.float32 if stored in ("u1", ">i2", ">f4") else np.float64
    height, width = hdu.shape[-2:]

    def rows(plane: tuple[int, ...], top: int, bottom: int) -> NDArray[np.floating[Any]]:
        before = (plane[-1] if plane else 0) * height + top
        file.seek(place["datLoc"] + before * width * dtype.itemsize)
        raw = np.fromfile(file, dtype, (bottom - top) * width)
        values: NDArray[np.floating[Any]] = raw.reshape(bottom - top, width).astype(wide)
        if (zero, scale) != (0.0, 1.0):
            values *= scale
            values += zero
        return values

    return rows


def _range(parts: Iterator[NDArray[np.floating[Any]]]) -> tuple[float, float]:
    """The smallest and the largest finite value; infinity and minus infinity where there is none."""
    import numpy as np

    low, high = np.inf, -np.inf
    for part in parts:
        least, most = float(part.min()), float(part.max())
        if not (np.isfinite(least) and np.isfinite(most)):  # NaN spreads to both
            finite = part[np.isfinite(part)]
            if not finite.size:
                continue
            least, most = float(finite.min()), float(finite.max())
        low, high = min(low, least), max(high, most)
    return low, high


def _scaled(part: NDArray[np.floating[Any]], low: float, high: float) -> NDArray[np.uint16]:
    """Values from ``low`` to ``high`` → 0…65535, the nearest beyond them; NaN is black. Uses up ``part``."""
    import numpy as np

    if low:
        part -= part.dtype.type(low)
    part *= part.dtype.type(65535.0 / ((high - low) or 1.0))
    np.fmax(part, 0.0, out=part)  # NaN too
    np.fmin(part, 65535.0, out=part)
    scaled: NDArray[np.uint16] = np.rint(part, out=part).astype(np.uint16)
    return scaled
