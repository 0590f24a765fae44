"""The shipped index of patterns of four stars over the whole sky, patterns.bin, by which a picture is found anywhere.

Fields of 3° and more are covered in steps: each step has patterns of the stars that a field of its size would show
as its brightest, evenly spread. Patterns lie sorted into buckets by their shape, so that of the file only those
pages are read whose patterns are like the picture's. ``tables/make_patterns.py`` has the layout and makes the file
from the shipped table of stars.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache
from importlib import resources
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noctuary.geometry import unit_vectors
from noctuary.sky.four_stars import distances, fours_of, nearest, shapes
from noctuary.sky.solve_frame import Floats, Whole
from noctuary.sky.star_cells import DamagedTable

MAGIC = b"NOCTPAT1"
HEAD = struct.Struct("<8s32sII")
STEP = struct.Struct("<III")
NARROWEST_DEG = 3.0
"""Diagonal of the smallest field that is looked for on the whole sky."""
WIDER = 1.35
"""Each step is for fields so much wider than the one before."""
STEPS = 10
NEIGHBOURS = 5
BRIGHTER = 4
"""A star belongs to a step where fewer than so many brighter ones lie within the step's reach."""
TOLERANCE = 0.012
"""Shapes are alike where none of their six numbers differs by more."""
_CELL = 2.0 * TOLERANCE  # then a shape's likes lie in two cells each way at most
_KEYED = [1, 2, 3, 5]  # of the six numbers these tell shapes apart best
_TURN = 2.0**24
_STAR_BYTES, _PATTERN_BYTES = 6, 3
_AT_A_TIME = 20_000  # candidates, for the sake of memory


def field_deg(step: int) -> float:
    """Diagonal of the fields that a step is for, degrees."""
    return NARROWEST_DEG * WIDER**step


def reach_of_field(diagonal: float) -> float:
    """How near brighter stars count, in the unit of a field's diagonal: a field of 3 : 2 then has some 14 stars."""
    # So many brighter ones within a circle leave BRIGHTER stars to each of its areas, wherever stars lie at random.
    return math.sqrt(BRIGHTER * (6.0 / 13.0) / (14.0 * math.pi)) * diagonal


def step_for(diagonal_deg: float) -> int:
    """The step whose fields are nearest in size."""
    step = round(math.log(diagonal_deg / NARROWEST_DEG) / math.log(WIDER))
    return min(max(step, 0), STEPS - 1)


def bits_for(patterns: int) -> int:
    """How many bits number the buckets of so many patterns: some four to a bucket."""
    return max(round(math.log2(max(patterns, 1) / 4.0)), 4)


def buckets(cells: NDArray[np.int64], bits: int) -> NDArray[np.int64]:
    """Buckets of shapes in cells (n, 4)."""
    key = ((cells[:, 0] * 64 + cells[:, 1]) * 64 + cells[:, 2]) * 64 + cells[:, 3]
    # Multiplicative hashing (Knuth, The Art of Computer Programming 3, 6.4).
    return np.asarray((key * 2_654_435_761 & 0xFFFF_FFFF) >> (32 - bits))


def cells_of(shape: Floats) -> NDArray[np.int64]:
    """The cell of each shape (n, 6)."""
    return np.floor(shape[:, _KEYED] / _CELL).astype(np.int64)


def packed(numbers: NDArray[Any]) -> NDArray[np.uint8]:
    """Whole numbers below 2²⁴ as three bytes each, (…, 3), the lowest first."""
    return np.ascontiguousarray(numbers, dtype="<u4").view("u1").reshape(*numbers.shape, 4)[..., :3]


def unpacked(three_bytes: NDArray[np.uint8]) -> Whole:
    """The numbers again."""
    wide = three_bytes.astype(np.uint32)
    return np.asarray(wide[..., 0] | wide[..., 1] << 8 | wide[..., 2] << 16, dtype=np.intp)


def packed_directions(ra_deg: Floats, dec_deg: Floats) -> NDArray[np.uint8]:
    """Positions as two numbers of three bytes, (n, 2, 3): 0.08″ a step in right ascension, 0.04″ in declination."""
    share = np.column_stack([ra_deg % 360.0 / 360.0, (dec_deg + 90.0) / 180.0])
    return packed(np.clip(np.floor(share * _TURN), 0, _TURN - 1))


def directions(three_bytes: NDArray[np.uint8]) -> Floats:
    """Unit vectors of packed positions."""
    share = (unpacked(three_bytes) + 0.5) / _TURN
    return unit_vectors(share[:, 0] * 360.0, share[:, 1] * 180.0 - 90.0)


@dataclass(frozen=True)
class Likenesses:
    """Patterns of a picture and patterns of the sky like them, in pairs.

    ``own`` are rows of the picture's patterns, ``fours`` the sky's stars (n, 4) in the order of a shape, ``growth``
    is ln of the sky's size over the picture's, ``apart`` the greatest difference of their shapes.
    """

    own: Whole
    fours: Whole
    growth: Floats
    apart: Floats

    def closest(self, number: int) -> Likenesses:
        """The ``number`` pairs that are most alike."""
        order = np.argsort(self.apart, kind="stable")[:number]
        return Likenesses(self.own[order], self.fours[order], self.growth[order], self.apart[order])


@dataclass(frozen=True)
class IndexStep:
    """The patterns for fields of one size: directions of its stars (n, 3), and the file's part."""

    stars: Floats
    farthest: float
    counts: NDArray[np.uint8]
    entries: NDArray[np.uint8]

    @cached_property
    def _near(self) -> NDArray[np.int32]:
        return nearest(self.stars, NEIGHBOURS, self.farthest)

    @cached_property
    def _starts(self) -> NDArray[np.int64]:
        return np.concatenate([[0], np.cumsum(self.counts, dtype=np.int64)])

    @cached_property
    def tree(self) -> Any:
        """The stars as a ``cKDTree``."""
        from scipy.spatial import cKDTree

        return cKDTree(self.stars)

    def likenesses(self, shape: Floats, size: Floats, spread: float) -> Likenesses:
        """Patterns like such shapes (n, 6), sizes (ln of the sum of distances) within ``spread``."""
        parts = [part for part in self._by_corner(shape, size, spread) if len(part.own)]
        if not parts:
            none = np.empty(0, dtype=np.intp)
            return Likenesses(none, none.reshape(0, 4), np.empty(0), np.empty(0))
        return Likenesses(
            np.concatenate([part.own for part in parts]),
            np.concatenate([part.fours for part in parts]),
            np.concatenate([part.growth for part in parts]),
            np.concatenate([part.apart for part in parts]),
        )

    def _by_corner(self, shape: Floats, size: Floats, spread: float) -> Iterator[Likenesses]:
        lowest = np.floor(shape[:, _KEYED] / _CELL - 0.5).astype(np.int64)
        bits = len(self.counts).bit_length() - 1
        ordered, light = np.sort(shape, axis=1).astype(np.float32), self.stars.astype(np.float32)
        for corner in product((0, 1), repeat=len(_KEYED)):
            bucket = buckets(np.maximum(lowest + np.array(corner), 0), bits)
            first, number = self._starts[bucket], self.counts[bucket].astype(np.int64)
            own = np.repeat(np.arange(len(shape)), number)
            at = np.arange(len(own)) + np.repeat(first - np.cumsum(number) + number, number)
            for start in range(0, len(own), _AT_A_TIME):
                part = slice(start, start + _AT_A_TIME)
                yield self._alike(own[part], at[part], shape, size, ordered, light, spread)

    def _alike(
        self, own: Whole, at: Whole, shape: Floats, size: Floats, ordered: Any, light: Any, spread: float
    ) -> Likenesses:
        """Of candidates in the file those that are truly alike. Most are not: what is quickly told comes first."""
        fours = fours_of(unpacked(self.entries[at]), self._near)
        apart = distances(light, fours)
        like = np.flatnonzero(np.abs(np.log(sum(apart[1:], apart[0])) - size[own]) <= spread)
        own, fours = own[like], fours[like]
        sides = np.sort(np.stack([side[like] for side in apart], axis=1), axis=1)
        like = (np.abs(sides / sides[:, -1:] - ordered[own]) <= 1.01 * TOLERANCE).all(axis=1)
        kept, fours, theirs, their_size = shapes(self.stars, fours[like], 0.0)
        own = own[like][kept]
        apart = np.abs(theirs - shape[own]).max(axis=1, initial=0.0)
        like = apart <= TOLERANCE
        return Likenesses(own[like], fours[like], (their_size - size[own])[like], apart[like])


@lru_cache(maxsize=1)
def index_step(step: int) -> IndexStep:
    """One step of the shipped index. Raises :class:`DamagedTable` where the file is not whole."""
    path = Path(str(resources.files("noctuary.sky.tables").joinpath("patterns.bin")))
    try:
        with path.open("rb") as file:
            magic, _, steps, stars = HEAD.unpack(file.read(HEAD.size))
            if magic != MAGIC or steps != STEPS:
                raise ValueError("its head does not fit")
            sizes = [STEP.unpack(file.read(STEP.size)) for _ in range(steps)]
        begins = [HEAD.size + STEP.size * steps + _STAR_BYTES * stars]
        for _, patterns, bits in sizes:
            begins.append(begins[-1] + (1 << bits) + _PATTERN_BYTES * patterns)
        if path.stat().st_size != begins[-1]:
            raise ValueError(f"it has {path.stat().st_size:,} bytes in place of {begins[-1]:,}")
        number, patterns, bits = sizes[step]
        places = np.fromfile(path, "u1", _STAR_BYTES * number, offset=HEAD.size + STEP.size * steps)
        counts = np.fromfile(path, "u1", 1 << bits, offset=begins[step])
        entries = np.memmap(path, "u1", "r", begins[step] + (1 << bits), (patterns, _PATTERN_BYTES))
    except (OSError, ValueError, struct.error) as error:
        raise DamagedTable(
            f"the index of star patterns cannot be read ({error}); type: pip install --force-reinstall noctuary"
        ) from None
    return IndexStep(directions(places.reshape(-1, 2, 3)), math.radians(field_deg(step)), counts, entries)
