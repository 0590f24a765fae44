"""What a view of the sky that can be moved draws besides pictures, packed as small as the eye allows.

Directions are pairs of 16-bit numbers: right ascension as a fraction of its cell or of the whole circle, declination
likewise, so that a browser reads them without parsing text. ``tables/make_sky_view.py`` has the layout of the file.
"""

from __future__ import annotations

import csv
import struct
from base64 import b64encode
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from noctuary.sky.atlas import boundaries

MAGIC = b"NOCTVIEW"
WHOLE_MAG = 6.5
"""Magnitude to which the whole sky is drawn."""
DEEP_MAG = 9.0
"""Magnitude to which a cell is drawn."""
#: One star: right ascension, declination, magnitude, as a NumPy type.
RECORD = [("ra", "<u2"), ("dec", "<u2"), ("mag", "u1")]
RECORD_BYTES = 5
#: A boundary keeps every third of its points, which are a degree apart: it is off by less than 0.05°.
_BOUNDARY_STEP = 3


@dataclass(frozen=True, slots=True)
class Cell:
    """A piece of the sky: its lowest right ascension and declination and its sizes, degrees."""

    ra_deg: float
    dec_deg: float
    ra_wide_deg: float
    dec_high_deg: float


WHOLE_SKY = Cell(0.0, -90.0, 360.0, 180.0)
CELLS = tuple(
    Cell(360.0 / parts * part, dec, 360.0 / parts, 30.0)
    for dec, parts in zip(range(-90, 90, 30), (4, 8, 8, 8, 8, 4), strict=True)
    for part in range(parts)
)
"""Bands of 30° in declination from the south pole, each cut into parts of right ascension."""
HEAD = struct.Struct(f"<8s{len(CELLS) + 1}I")


@lru_cache(maxsize=1)
def _blocks() -> tuple[bytes, ...]:
    data = resources.files("noctuary.sky.tables").joinpath("sky_view_stars.bin").read_bytes()
    magic, *counts = HEAD.unpack_from(data)
    if magic != MAGIC or len(data) != HEAD.size + RECORD_BYTES * sum(counts):
        raise ValueError("sky_view_stars.bin is damaged; type: pip install --force-reinstall noctuary")
    blocks, at = [], HEAD.size
    for count in counts:
        blocks.append(data[at : at + RECORD_BYTES * count])
        at += RECORD_BYTES * count
    return tuple(blocks)


def whole_sky_stars() -> str:
    """Stars to magnitude 6.5, brightest first, in base 64. Høg et al. 2000, A&A 355, L27; van Leeuwen 2007."""
    return b64encode(_blocks()[0]).decode()


def cell_stars(number: int) -> str:
    """Stars of a cell to magnitude 9, brightest first, in base 64."""
    return b64encode(_blocks()[1 + number]).decode()


def figure_lines() -> str:
    """The figures of the constellations: pairs of directions, in base 64."""
    text = resources.files("noctuary.sky.tables").joinpath("figures.csv").read_text(encoding="utf-8")
    rows = list(csv.reader(line for line in text.splitlines() if not line.startswith("#")))[1:]
    return _directions((float(ra), float(dec)) for row in rows for ra, dec in (row[1:3], row[3:5]))


def boundary_lines() -> tuple[list[int], str]:
    """The boundaries of the constellations: how many directions each arc has, and all of them in base 64."""
    arcs = [[*arc[:-1:_BOUNDARY_STEP], arc[-1]] for arc in boundaries()]
    return [len(arc) for arc in arcs], _directions(point for arc in arcs for point in arc)


def _directions(points: Iterable[tuple[float, float]]) -> str:
    packed = (
        struct.pack("<HH", int(ra % 360.0 / 360.0 * 65536) & 65535, min(65535, int((dec + 90.0) / 180.0 * 65536)))
        for ra, dec in points
    )
    return b64encode(b"".join(packed)).decode()
