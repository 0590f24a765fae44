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
_PAIR_OF = np.array([[0, 0, 1, 2], [0, 0, 3, 4], [1, 3, 0, 5], [2, 4, 5, 0]])  # in PAIRS, of two stars


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
    once = _each_once(fours, len(near))
    return fours[once], first[once] * len(choices) + three[once]


def _each_once(fours: Whole, stars: int) -> Whole:
    """Where each pattern is the first time, in the order of their numbers: quicker than ``np.unique`` of rows."""
    high, low = fours[:, 0] * stars + fours[:, 1], fours[:, 2] * stars + fours[:, 3]
    order = np.lexsort((low, high))
    high, low = high[order], low[order]
    new = np.ones(len(order), dtype=bool)
    new[1:] = (high[1:] != high[:-1]) | (low[1:] != low[:-1])
    return np.asarray(order[new])


def distances(points: Floats, fours: Whole) -> list[Floats]:
    """The six distances in each pattern, in the order of ``PAIRS``: arrays (n,).

    Coordinates one after the other: numpy takes far longer for many short rows than for few long ones.
    """
    corners = [[np.take(axis, fours[:, star]) for axis in np.ascontiguousarray(points.T)] for star in range(4)]
    apart = []
    for one, other in PAIRS:
        x, y, z = (a - b for a, b in zip(corners[one], corners[other], strict=True))
        apart.append(np.sqrt(x * x + y * y + z * z))
    return apart


def fours_of(numbers: Whole, near: NDArray[np.int32]) -> Whole:
    """The stars (n, 4) of the patterns of such numbers."""
    choices = threes(near.shape[1])
    first, three = np.divmod(numbers, len(choices))
    fours = np.empty((len(first), 4), dtype=np.intp)
    fours[:, 0] = first
    fours[:, 1:] = np.take(near, choices[three] + (first * near.shape[1])[:, None])
    return fours


def shapes(points: Floats, fours: Whole, shortest: float) -> tuple[Whole, Whole, Floats, Floats]:
    """Which patterns are kept, their stars in an order of their own, their shapes, and ln of the sum of distances.

    The star that lies furthest from the other three comes first. Patterns with two stars nearer than ``shortest``, or
    nearer than a fiftieth of the longest distance, are left out.
    """
    if not len(fours):
        return np.empty(0, dtype=np.intp), fours, np.empty((0, 6)), np.empty(0)
    apart = dict(zip(PAIRS, distances(points, fours), strict=True))
    reach = [sum(apart[min(star, k), max(star, k)] for k in range(4) if k != star) for star in range(4)]
    # Each star's place among the four, by how far the others lie: the furthest first, of equals the first.
    place = np.zeros((4, len(fours)), dtype=np.intp)
    for one, other in PAIRS:
        behind = reach[other] > reach[one]
        place[one] += behind
        place[other] += ~behind
    order = np.empty((len(fours), 4), dtype=np.intp)
    rows = np.arange(len(fours))
    for star in range(4):
        order[rows, place[star]] = star
    fours = np.take_along_axis(fours, order, axis=1)
    sides = np.empty((len(fours), 6))
    between = np.stack(list(apart.values()))
    for column, (a, b) in enumerate(PAIRS):
        sides[:, column] = between[_PAIR_OF[order[:, a], order[:, b]], rows]
    longest, least = sides.max(axis=1), sides.min(axis=1)
    good = np.flatnonzero((least > shortest) & (least > 0.02 * longest))
    return good, fours[good], sides[good] / longest[good, None], np.log(sides[good].sum(axis=1))
