"""The picture as the solver sees it, and how many catalogue stars chance would lay over it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.intp]
_AT_A_TIME = 60  # stars that the others are compared with
_LOOKED_AT = 3000  # brightest stars of a picture that evenly spread ones are taken from


@dataclass(frozen=True)
class SolveFrame:
    """The picture: star positions from its centre in pixels (x right, y down), brightest first, and its size."""

    x: Floats
    y: Floats
    width: int
    height: int
    scale: float  # radians per pixel, as expected
    tolerance: float

    @property
    def diagonal(self) -> float:
        return math.hypot(self.width, self.height)

    def directions(self, number: int, scale: ArrayLike, mirrored: bool) -> Floats:
        """Unit vectors (east, north, towards the centre) of the first stars were up north; (…, number, 3)."""
        side = np.asarray(scale, dtype=np.float64)[..., None]
        east = (1.0 if mirrored else -1.0) * side * self.x[:number]
        north = -side * self.y[:number]
        length = np.sqrt(1.0 + east**2 + north**2)
        return np.stack([east / length, north / length, 1.0 / length], axis=-1)

    def only(self, which: Whole) -> SolveFrame:
        """The picture with some of its stars alone."""
        return replace(self, x=self.x[which], y=self.y[which])


def evenly_bright(frame: SolveFrame, reach_px: float, brighter: int) -> Whole:
    """The stars that have fewer than so many brighter ones within a reach: as many in each part of the picture."""
    number = min(len(frame.x), _LOOKED_AT)
    found, left = np.zeros(number, dtype=np.intp), np.arange(number)
    # The brightest tell most of the others: those that have enough of them are asked no further.
    for start in range(0, number, _AT_A_TIME):
        those = np.arange(start, min(start + _AT_A_TIME, number))
        left = left[(left > start) & (found[left] < brighter)]
        far = np.hypot(frame.x[those] - frame.x[left, None], frame.y[those] - frame.y[left, None])
        found[left] += ((far < reach_px) & (those < left[:, None])).sum(axis=1)
    return np.flatnonzero(found < brighter)


def _solid_angle(frame: SolveFrame) -> float:
    """Steradians of the frame: of a pyramid with flat faces."""
    a, b = frame.width / 2 * frame.scale, frame.height / 2 * frame.scale
    return 4.0 * math.atan(a * b / math.sqrt(1.0 + a * a + b * b))


def expected_stars(frame: SolveFrame, sky: Floats) -> float:
    """Catalogue stars to be expected in the frame: the median over the stars of how many lie as near as that.

    Not their number by the area searched: a table that a person exported may reach no further than the picture.
    """
    from scipy.spatial import cKDTree

    if not len(sky):
        return 0.0
    radius = 2.0 * math.sin(0.5 * math.acos(max(1.0 - _solid_angle(frame) / (2.0 * math.pi), -1.0)))
    some = sky[np.linspace(0, len(sky) - 1, min(len(sky), 300)).astype(int)]
    return float(np.median(cKDTree(sky).query_ball_point(some, radius, return_length=True)))
