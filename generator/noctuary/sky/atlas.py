"""What a map of the sky shows besides pictures: stars, constellations and their boundaries.

All from the shipped tables; places are ICRS in degrees.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from itertools import accumulate, compress
from typing import TYPE_CHECKING

from noctuary.geometry import unit_vector, unit_vectors

if TYPE_CHECKING:
    from noctuary.geometry import Floats


@dataclass(frozen=True, slots=True)
class AtlasStar:
    """A star to V = 5.0 with its Hipparcos number and its colour index B−V."""

    hip: int
    ra_deg: float
    dec_deg: float
    magnitude: float
    b_minus_v: float


@dataclass(frozen=True, slots=True)
class Constellation:
    """A constellation and the place in it furthest from its boundary, for its label."""

    abbr: str
    name: str
    genitive: str
    label_ra_deg: float
    label_dec_deg: float


def _rows(name: str) -> list[list[str]]:
    text = resources.files("noctuary.sky.tables").joinpath(name).read_text(encoding="utf-8")
    return list(csv.reader(line for line in text.splitlines() if not line.startswith("#")))[1:]


@lru_cache(maxsize=1)
def _stars() -> tuple[AtlasStar, ...]:
    return tuple(AtlasStar(int(h), float(r), float(d), float(m), float(c)) for h, r, d, m, c in _rows("stars.csv"))


@lru_cache(maxsize=1)
def _constellations() -> tuple[Constellation, ...]:
    return tuple(Constellation(a, n, g, float(r), float(d)) for a, n, g, r, d in _rows("constellations.csv"))


def stars() -> list[AtlasStar]:
    """Stars to V = 5.0, brightest first (ESA 1997; van Leeuwen 2007)."""
    return list(_stars())


@lru_cache(maxsize=1)
def boundaries() -> tuple[tuple[tuple[float, float], ...], ...]:
    """Boundaries of the constellations as arcs of (right ascension, declination), each once.

    Points are a degree apart or closer. An arc may cross 0 h: its right ascensions then jump by 360°.
    Roman 1987, PASP 99, 695.
    """
    arcs = []
    for (points,) in _rows("boundaries.csv"):
        numbers = [float(n) for n in points.split()]
        arcs.append(tuple(zip(numbers[::2], numbers[1::2], strict=True)))
    return tuple(arcs)


@lru_cache(maxsize=1)
def _points_of_boundaries() -> tuple[Floats, list[int]]:
    """Unit vectors of all points of the boundaries, (n, 3), and where each arc begins among them."""
    arcs = boundaries()
    lons, lats = zip(*(point for arc in arcs for point in arc), strict=True)
    return unit_vectors(lons, lats), [0, *accumulate(len(arc) for arc in arcs[:-1])]


def boundaries_near(ra_deg: float, dec_deg: float, reach_deg: float) -> Iterator[tuple[tuple[float, float], ...]]:
    """Those arcs of :func:`boundaries` that have a point within so many degrees (less than 180) of a place."""
    import numpy as np

    points, begin = _points_of_boundaries()
    within = points @ unit_vector(ra_deg, dec_deg) > math.cos(math.radians(reach_deg))
    return compress(boundaries(), np.logical_or.reduceat(within, begin))


def constellations() -> list[Constellation]:
    """The 88 constellations by abbreviation."""
    return list(_constellations())
