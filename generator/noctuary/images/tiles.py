"""A picture too large for a browser to decode, cut into tiles, for looking closely without loading all of it.

Smaller ones are looked at in their renditions, which have the same pixels: tiles would be 37 % more of a site.

The tiles are named as the IIIF Image API 3.0 names them at its compliance level 0, where every request is a file that
is already there: https://iiif.io/api/image/3.0/ and https://iiif.io/api/image/3.0/compliance/. They are cut from the
decoded picture at the same time as its renditions, and kept together in one file, since a hundred small files a
picture would be slow to look after.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import chain, groupby
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from PIL import Image

    from noctuary.images.resize import Level

#: Tiles are squares of so many pixels, but at the right and the lower edge. With half the side a picture would be
#: four times as many files to write, to look after and to send to a server.
SIDE = 1024
QUALITY = 88
#: Pictures of fewer pixels are looked at in their renditions. A browser decodes so many into little more than
#: 100 MB, which every telephone of the last years has; the common sensors of up to 26 megapixels are below it.
LEAST_PIXELS = 27_000_000

_LENGTH_BYTES = 8
_CONTEXT = "http://iiif.io/api/image/3/context.json"


@dataclass(frozen=True, slots=True)
class Tile:
    """One file: its request (``REGION/SIZE/0/default.jpg``), the step of reduction it is cut from, and where.

    ``box`` is left, top, right and lower edge in pixels of the picture reduced by ``factor``.
    """

    request: str
    factor: int
    box: tuple[int, int, int, int]


def is_tiled(width: int, height: int) -> bool:
    """Whether a picture of so many pixels is cut into tiles."""
    return width * height >= LEAST_PIXELS


def reduced(width: int, height: int, factor: int) -> tuple[int, int]:
    """The size of a picture reduced ``factor`` times, rounded up as the specification's tiles need it."""
    return -(-width // factor), -(-height // factor)


def scale_factors(width: int, height: int) -> tuple[int, ...]:
    """1, 2, 4 … down to where one tile holds the whole picture."""
    factors = [1]
    while max(reduced(width, height, factors[-1])) > SIDE:
        factors.append(factors[-1] * 2)
    return tuple(factors)


def _largest_whole(width: int, height: int) -> int:
    """The reduction that ``max`` gives: the smallest picture with no less area than a tile, so that ``maxArea``
    allows tiles."""
    return max(f for f in scale_factors(width, height) if f == 1 or _area(width, height, f) >= SIDE * SIDE)


def _area(width: int, height: int, factor: int) -> int:
    across, down = reduced(width, height, factor)
    return across * down


def tiles(width: int, height: int) -> Iterator[Tile]:
    """Every file of a picture of ``width`` × ``height`` pixels, the finest first."""
    requested = set[str]()
    for tile in _tiles(width, height):  # a corner of one pixel is the same file at every reduction
        if tile.request not in requested:
            requested.add(tile.request)
            yield tile


def _tiles(width: int, height: int) -> Iterator[Tile]:
    for factor in scale_factors(width, height):
        across, down = reduced(width, height, factor)
        whole = (0, 0, across, down)
        if max(across, down) <= SIDE:
            yield Tile(f"full/{across},{down}/0/default.jpg", factor, whole)
        else:
            for top in range(0, down, SIDE):
                for left in range(0, across, SIDE):
                    right, low = min(across, left + SIDE), min(down, top + SIDE)
                    x, y = left * factor, top * factor
                    region = f"{x},{y},{min(width, right * factor) - x},{min(height, low * factor) - y}"
                    size = f"{right - left},{low - top}"
                    yield Tile(f"{region}/{size}/0/default.jpg", factor, (left, top, right, low))
        if factor == _largest_whole(width, height):
            if max(across, down) > SIDE:
                yield Tile(f"full/{across},{down}/0/default.jpg", factor, whole)
            yield Tile("full/max/0/default.jpg", factor, whole)


def info(width: int, height: int, address: str) -> dict[str, Any]:
    """The image information (``info.json``) of a tiled picture whose base URI is ``address``."""
    whole = {f for f in scale_factors(width, height) if max(reduced(width, height, f)) <= SIDE}
    whole.add(_largest_whole(width, height))
    sizes = [reduced(width, height, f) for f in sorted(whole, reverse=True)]
    return {
        "@context": _CONTEXT,
        "id": address,
        "type": "ImageService3",
        "protocol": "http://iiif.io/api/image",
        "profile": "level0",
        "width": width,
        "height": height,
        "maxArea": _area(width, height, _largest_whole(width, height)),
        "sizes": [{"width": w, "height": h} for w, h in sizes],
        "tiles": [{"width": SIDE, "height": SIDE, "scaleFactors": list(scale_factors(width, height))}],
    }


def pack(image: Image.Image) -> Iterator[bytes]:
    """The tiles of a picture (L or RGB) in the parts of one file: the encoded tiles, a table of contents, its length.

    The table comes last, so that no tile has to be held until all are encoded.
    """
    from noctuary.images.resize import halves

    contents: list[tuple[str, int, int]] = []
    at = 0
    factors = scale_factors(*image.size)
    levels: Iterator[Level] = chain((image,), halves(image, len(factors) - 1))
    for _, wanted in groupby(tiles(*image.size), attrgetter("factor")):
        level = next(levels)
        for tile in wanted:
            out = io.BytesIO()
            level.crop(tile.box).save(out, "JPEG", quality=QUALITY, subsampling=0)
            contents.append((tile.request, at, out.tell()))
            at += out.tell()
            yield out.getvalue()
        del level  # or the larger would be held while the smaller is made
    table = json.dumps(contents).encode()
    yield table
    yield len(table).to_bytes(_LENGTH_BYTES, "big")


class TilePack:
    """The kept tiles of one picture. Raises OSError where the file is gone, ValueError where it is damaged."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._contents: Mapping[str, tuple[int, int]] | None = None

    def read(self, request: str) -> bytes:
        """The encoded tile of a request."""
        with self._path.open("rb") as file:
            if self._contents is None:
                end = file.seek(max(0, file.seek(0, io.SEEK_END) - _LENGTH_BYTES))
                length = int.from_bytes(file.read(), "big")
                file.seek(max(0, end - length))
                self._contents = {name: (at, size) for name, at, size in json.loads(file.read(length))}
            at, size = self._contents[request]
            file.seek(at)
            data = file.read(size)
        if len(data) != size or not data.startswith(b"\xff\xd8"):
            raise ValueError(f"the kept tiles in {self._path.name} are damaged")
        return data
