"""Patterns of four stars and their shapes, which neither rotation, mirroring nor scale changes.

A pattern is a star and three of its nearest neighbours. Its shape are the six distances between its stars over the
longest of them, the stars taken in an order of the pattern's own.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from noctuary.sky.solve_frame import Floats, Whole

_AT_A_TIME = 10_000
PAIRS = tuple(combinations(range(4), 2))
"""The stars between which the six distances are, in the order of a shape."""


@lru_cache(maxsize=16)
def threes(neighbours: int) -> Whole:
    """Every choice of three among so many neighbours, (n, 3), numbered from 0."""
    return np.array(list(combinations(range(neighbours), 3)), dtype=np.intp).reshape(-1, 3)


def nearest(points: Floats, neighbours: int, farthest: float) -> NDArray[np.int32]:
    """Each point's nearest others, the nearest first, (n, neighbours); −1 where none is so near as ``farthest``."""
    from scipy.spatial import cKDTree

    near = min(neighbours, len(points) - 1)
    index = np.full((len(points), neighbours), -1, dtype=np.int32)
    if near < 1:
        return index
    tree = cKDTree(points)
    for start in range(0, len(points), _AT_A_TIME):
        part = slice(start, start + _AT_A_TIME)
        distance, found = tree.query(points[part], near + 1, distance_upper_bound=farthest)
        index[part, :near] = np.where(np.isfinite(distance), found, -1)[:, 1:]
    return index


def all_fours(near: NDArray[np.int32]) -> tuple[Whole, Whole]:
    """Patterns of each star with every three of its ``near`` ones, none twice: stars (n, 4), and numbers (n,).

    The number is the star's times that of the threes, and the number of the three: ``fours_of`` has the way back.
    """
    choices = threes(near.shape[1])
    first, three = np.nonzero((near[:, choices] >= 0).all(axis=2))
    fours = np.column_stack([first, near[first[:, None], choices[three]]]).astype(np.intp)
    fours.sort(axis=1)
    _, once = np.unique(fours.astype(np.int32), axis=0, return_index=True) if len(fours) else (None, first)
    return fours[once], first[once] * len(choices) + three[once]


def fours_of(numbers: Whole, near: NDArray[np.int32]) -> Whole:
    """The stars (n, 4) of the patterns of such numbers."""
    choices = threes(near.shape[1])
    first, three = np.divmod(numbers, len(choices))
    return np.column_stack([first, near[first[:, None], choices[three]]]).astype(np.intp)


def shapes(points: Floats, fours: Whole, shortest: float) -> tuple[Whole, Whole, Floats, Floats]:
    """Which patterns are kept, their stars in an order of their own, their shapes, and ln of the sum of distances.

    The star that lies furthest from the other three comes first. Patterns with two stars nearer than ``shortest``, or
    nearer than a fiftieth of the longest distance, are left out.
    """
    if not len(fours):
        return np.empty(0, dtype=np.intp), fours, np.empty((0, 6)), np.empty(0)
    between = np.zeros((len(fours), 4, 4))
    for one, other in PAIRS:
        apart = np.linalg.norm(points[fours[:, one]] - points[fours[:, other]], axis=1)
        between[:, one, other] = between[:, other, one] = apart
    order = np.argsort(-between.sum(axis=2), axis=1, kind="stable")
    fours = np.take_along_axis(fours, order, axis=1)
    rows = np.arange(len(fours))
    sides = np.stack([between[rows, order[:, a], order[:, b]] for a, b in PAIRS], axis=1)
    longest = sides.max(axis=1)
    good = np.flatnonzero((sides.min(axis=1) > shortest) & (sides.min(axis=1) > 0.02 * longest))
    return good, fours[good], sides[good] / longest[good, None], np.log(sides[good].sum(axis=1))
