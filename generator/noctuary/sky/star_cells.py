"""The shipped table of stars, tycho2.bin, read by region: cells of the sky of about 1° × 1°, stars packed in each.

Bands of 1° in declination from the south pole, each cut into as many cells of right ascension as it is degrees long.
A position in its cell has 16 bits each way (0.06″, beside the poles up to 0.12″), a magnitude 8 bits in steps of 1/16
from −2. Its script ``tables/make_tycho2.py`` has the sources and the layout of the file.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noctuary.errors import NoctuaryError

Floats = NDArray[np.float64]

MAGIC = b"NOCTSKY1"
HEAD = struct.Struct("<8sIIII8x")
STILL = np.dtype([("ra", "<u2"), ("dec", "<u2"), ("mag", "u1")])
MOVING = np.dtype([*STILL.descr, ("east", "<i2"), ("north", "<i2")])
_BANDS = 180
_IN_BAND = np.maximum(np.rint(360.0 * np.cos(np.radians(np.arange(_BANDS) - 89.5))).astype(np.intp), 1)
_FIRST = np.concatenate([[0], np.cumsum(_IN_BAND)])
CELLS = int(_FIRST[-1])
_STEPS = 65536.0
_BRIGHTEST, _MAG_STEP = -2.0, 1.0 / 16.0


class DamagedTable(NoctuaryError, RuntimeError):
    """The shipped table is missing or cut off; the message says what to type."""


@dataclass(frozen=True, slots=True)
class CellStars:
    """Stars of some cells at the table's epoch: degrees (ICRS), magnitudes, motions in mas a year."""

    ra: Floats
    dec: Floats
    mag: Floats
    east: Floats
    north: Floats


def cell_of(ra_deg: ArrayLike, dec_deg: ArrayLike) -> NDArray[np.intp]:
    """The number of each position's cell."""
    band = np.clip(np.floor(np.asarray(dec_deg) + 90.0).astype(np.intp), 0, _BANDS - 1)
    wide = _IN_BAND[band]
    along = np.floor(np.asarray(ra_deg) % 360.0 / 360.0 * wide).astype(np.intp)
    return np.asarray(_FIRST[band] + np.minimum(along, wide - 1), dtype=np.intp)


def packed(ra_deg: Floats, dec_deg: Floats, mag: Floats, kind: np.dtype[Any]) -> NDArray[Any]:
    """Records of stars, position and magnitude filled in; each decodes to within half a step."""
    cell = cell_of(ra_deg, dec_deg)
    band = np.searchsorted(_FIRST, cell, side="right") - 1
    records = np.zeros(len(cell), dtype=kind)
    along = ra_deg % 360.0 / 360.0 * _IN_BAND[band] - (cell - _FIRST[band])
    up = dec_deg + 90.0 - band
    records["ra"] = np.clip(np.floor(along * _STEPS), 0, _STEPS - 1)
    records["dec"] = np.clip(np.floor(up * _STEPS), 0, _STEPS - 1)
    records["mag"] = np.clip(np.rint((mag - _BRIGHTEST) / _MAG_STEP), 0, 255)
    return records


def stars_near(ra_deg: float, dec_deg: float, radius_deg: float) -> CellStars:
    """Stars of all cells that come within ``radius_deg`` of a position; 90° at most are read sensibly.

    Raises :class:`DamagedTable` where the file is not whole.
    """
    table = _table()
    parts = []
    for first, last in _runs(ra_deg, dec_deg, radius_deg):
        for kind in (0, 1):
            start, end = table.starts[kind][first], table.starts[kind][last]
            if end == start:
                continue
            records = table.blocks[kind][start:end]
            cell = np.repeat(np.arange(first, last), np.diff(table.starts[kind][first : last + 1]))
            parts.append(unpacked(np.asarray(records), cell))
    if not parts:
        return CellStars(*(np.empty(0) for _ in range(5)))
    return CellStars(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def brightest_everywhere(number: int) -> CellStars:
    """The ``number`` brightest stars of every cell of the sky, at the table's epoch."""
    table = _table()
    parts = []
    for kind in (0, 1):
        counts = np.diff(table.starts[kind])
        cell = np.repeat(np.arange(CELLS), counts)
        first_ones = np.arange(len(cell)) - np.repeat(table.starts[kind][:-1], counts) < number
        parts.append(unpacked(np.asarray(table.blocks[kind][first_ones]), cell[first_ones]))
    ra, dec, mag, east, north = (np.concatenate(column) for column in zip(*parts, strict=True))
    cell = cell_of(ra, dec)
    order = np.lexsort((mag, cell))
    first = np.searchsorted(cell[order], np.arange(CELLS))
    rank = np.arange(len(cell)) - first[cell[order]]
    keep = order[rank < number]
    return CellStars(ra[keep], dec[keep], mag[keep], east[keep], north[keep])


def epoch() -> float:
    """The year for which positions are given before their motion."""
    return _table().epoch


@dataclass(frozen=True)
class _Table:
    starts: tuple[NDArray[np.intp], NDArray[np.intp]]
    blocks: tuple[NDArray[Any], NDArray[Any]]
    epoch: float


@lru_cache(maxsize=1)
def _table() -> _Table:
    path = Path(str(resources.files("noctuary.sky.tables").joinpath("tycho2.bin")))
    try:
        with path.open("rb") as file:
            magic, cells, still, moving, year = HEAD.unpack(file.read(HEAD.size))
            counts = np.fromfile(file, "<u2", 2 * CELLS).astype(np.intp).reshape(2, CELLS)
        if magic != MAGIC or cells != CELLS or tuple(counts.sum(axis=1)) != (still, moving):
            raise ValueError("its head does not fit")
        begin = HEAD.size + 4 * CELLS
        whole = begin + still * STILL.itemsize + moving * MOVING.itemsize
        if path.stat().st_size != whole:
            raise ValueError(f"it has {path.stat().st_size:,} bytes in place of {whole:,}")
        blocks = (
            np.memmap(path, STILL, "r", begin, (still,)),
            np.memmap(path, MOVING, "r", begin + still * STILL.itemsize, (moving,)),
        )
    except (OSError, ValueError, struct.error) as error:
        raise DamagedTable(
            f"the table of stars cannot be read ({error}); type: pip install --force-reinstall noctuary"
        ) from None
    starts = tuple(np.concatenate([[0], np.cumsum(row)]) for row in counts)
    return _Table((starts[0], starts[1]), blocks, float(year))


def unpacked(records: NDArray[Any], cell: NDArray[np.intp]) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Positions (degrees), magnitudes and motions (mas a year) of records in the given cells."""
    band = np.searchsorted(_FIRST, cell, side="right") - 1
    ra = (cell - _FIRST[band] + (records["ra"] + 0.5) / _STEPS) / _IN_BAND[band] * 360.0
    dec = band - 90.0 + (records["dec"] + 0.5) / _STEPS
    mag = records["mag"] * _MAG_STEP + _BRIGHTEST
    if "east" in (records.dtype.names or ()):
        return ra, dec, mag, records["east"].astype(np.float64), records["north"].astype(np.float64)
    return ra, dec, mag, np.zeros(len(ra)), np.zeros(len(ra))


def _runs(ra_deg: float, dec_deg: float, radius_deg: float) -> list[tuple[int, int]]:
    """Ranges (first, one past the last) of cells that may come within the radius of a position."""
    lowest = max(int(np.floor(dec_deg - radius_deg + 90.0)), 0)
    highest = min(int(np.floor(dec_deg + radius_deg + 90.0)), _BANDS - 1)
    runs = []
    # The half width in right ascension of a circle (its tangents from the pole).
    reach = 180.0
    if abs(dec_deg) + radius_deg < 89.5:
        reach = float(np.degrees(np.arcsin(np.sin(np.radians(radius_deg)) / np.cos(np.radians(dec_deg)))))
    for band in range(lowest, highest + 1):
        wide, first = int(_IN_BAND[band]), int(_FIRST[band])
        west, east = (int(np.floor((ra_deg + side * reach) / 360.0 * wide)) for side in (-1, 1))
        if east - west >= wide - 1:
            runs.append((first, first + wide))
        elif west // wide == east // wide:
            runs.append((first + west % wide, first + east % wide + 1))
        else:
            runs += [(first + west % wide, first + wide), (first, first + east % wide + 1)]
    return runs
