"""FITS pictures: one plane or three, as the person stretched them, shown with their first row at the bottom."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from noctuary.images.decoded import EXPORT, MIB, Doubt, Opened, PictureFault, cut_short, within_limit

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


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

    with fits_image(path) as (hdu, planes, height, width):
        within_limit(width, height)
        step = max(1, MIB // width)
        strips = [(top, min(height, top + step)) for top in range(0, height, step)]

        def values(plane: tuple[int, ...], top: int, bottom: int) -> NDArray[np.float32]:
            part: NDArray[np.float32] = np.asarray(hdu.section[(*plane, slice(top, bottom), slice(None))])
            return part.astype(np.float32, copy=False)

        low, high = np.inf, -np.inf
        for plane in planes:
            for top, bottom in strips:
                finite = values(plane, top, bottom)
                finite = finite[np.isfinite(finite)]
                if finite.size:
                    low, high = min(low, float(finite.min())), max(high, float(finite.max()))
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
        span = (high - low) or 1.0
        pixels = np.empty((height, width) if len(planes) == 1 else (height, width, 3), np.uint16)
        for index, plane in enumerate(planes):
            for top, bottom in strips:
                scaled = (values(plane, top, bottom).astype(np.float64) - low) / span
                scaled = np.nan_to_num(scaled, nan=0.0, posinf=1.0, neginf=0.0)
                # FITS counts rows from the bottom.
                rows = np.rint(np.clip(scaled, 0.0, 1.0) * 65535.0).astype(np.uint16)[::-1]
                target = pixels if len(planes) == 1 else pixels[..., index]
                target[height - bottom : height - top] = rows
    return Opened(pixels, width, height, tuple(doubts))
