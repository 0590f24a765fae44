"""Patterns of four stars that are alike in a picture and in the catalogue, and the placements they suggest."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noctuary.geometry import unit_vectors
from noctuary.sky.solve_frame import Floats, SolveFrame, Whole
from noctuary.sky.star_table import StarTable

_LIKENESSES = 6  # patterns of the sky that one of the picture is compared with
_MOST_GUESSES = 6_000
_COUNTED = 40  # brightest stars on which a guess is counted out
_REFINED = 6  # guesses that are worth a fit
UNTURNED = np.eye(3)


@dataclass(frozen=True)
class Level:
    """How deep to look: stars of the sky in a frame, of the picture, neighbours of each, and how alike shapes are."""

    of_sky: int
    of_picture: int
    sky_neighbours: int
    own_neighbours: int
    tolerance: float


@dataclass(frozen=True)
class SkyPatterns:
    """Directions (n, 3), indices of the four stars of each pattern, its shape and ln of its size."""

    stars: Floats
    fours: Whole
    shape: Floats
    size: Floats

    def tree(self, stretch: float) -> Any:
        """Patterns by shape, and by size made as wide as ``stretch``."""
        from scipy.spatial import cKDTree

        return cKDTree(np.column_stack([self.shape, self.size * stretch]), balanced_tree=False)

    @cached_property
    def all_stars(self) -> Any:
        from scipy.spatial import cKDTree

        return cKDTree(self.stars)


@dataclass(frozen=True)
class PatternMatch:
    turn: Floats  # 3 × 3, from the picture's axes (east, north, centre) to the sky's
    scale: float
    mirrored: bool
    votes: int


def single_stars(catalogue: StarTable, apart: float) -> tuple[Floats, Floats]:
    """Directions and magnitudes, stars closer than ``apart`` radians put together as the picture shows them."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    whole = np.isfinite(catalogue.ra) & np.isfinite(catalogue.dec) & np.isfinite(catalogue.mag)
    vectors = unit_vectors(catalogue.ra[whole], catalogue.dec[whole])
    magnitude = np.asarray(catalogue.mag, dtype=np.float64)[whole]
    if not len(vectors):
        return vectors.reshape(0, 3), magnitude
    pairs = cKDTree(vectors).query_pairs(apart, output_type="ndarray")
    if not len(pairs):
        return vectors, magnitude
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(vectors),) * 2)
    number, group = connected_components(links, directed=False)
    light = 10.0 ** (-0.4 * magnitude)
    total: Floats = np.bincount(group, light, number).astype(np.float64)
    moments = [np.bincount(group, light * vectors[:, axis], number) for axis in range(3)]
    joined: Floats = np.stack(moments, axis=1).astype(np.float64)
    joined /= np.linalg.norm(joined, axis=1, keepdims=True)
    return joined, -2.5 * np.log10(total)


def pattern_matches(
    frame: SolveFrame,
    sky: Floats,
    in_frame: float,
    level: Level,
    centre: Floats,
    radius: float,
    patterns: SkyPatterns | None = None,
) -> tuple[list[PatternMatch], int]:
    """Likely placements from patterns of the brightest stars, the likeliest first; and how many were tried.

    ``sky`` are directions brightest first, of which ``in_frame`` are expected in the frame; ``patterns`` are theirs
    where they were made before, for a sky that many pictures are searched in.
    """
    number = min(level.of_picture, len(frame.x))
    if patterns is None:
        some = sky[: max(int(level.of_sky / max(in_frame, 1e-9) * len(sky)), 12)]
        longest = 1.1 * (1.0 + frame.tolerance) * 2.0 * math.sin(math.atan(frame.diagonal / 2 * frame.scale))
        patterns = sky_patterns(some, longest, level.sky_neighbours)
    ours = frame.directions(number, frame.scale, mirrored=False)
    own, own_shape, own_size = _shapes(ours, _fours(ours, level.own_neighbours, 4.0), 6.0 * frame.scale)
    if not len(own) or not len(patterns.fours):
        return [], 0
    stretch = level.tolerance / (1.1 * math.log1p(frame.tolerance))
    tree = patterns.tree(stretch)
    found = np.column_stack([own_shape, own_size * stretch])
    apart, which = tree.query(found, k=_LIKENESSES, p=np.inf, distance_upper_bound=level.tolerance)
    left, column = np.nonzero(np.isfinite(apart))
    if not len(left):
        return [], 0
    order = np.argsort(apart[left, column], kind="stable")[:_MOST_GUESSES]
    left, right = left[order], which[left[order], column[order]]
    tests = len(left)
    scale = frame.scale * np.exp(patterns.size[right] - own_size[left])
    hand, turns = _turned(frame, own[left], patterns.stars[patterns.fours[right]], scale)
    within = np.linalg.norm(turns[:, :, 2] - centre, axis=1) <= 2.0 * math.sin(min(radius, math.pi) / 2.0) * 1.02
    scale, hand, turns = scale[within], hand[within], turns[within]
    votes, by_chance = _votes(frame, patterns, scale, hand, turns)
    # Four agree by construction; of the others as many as chance brings say nothing.
    enough = np.maximum(6.0, 4.0 + by_chance + 2.5 * np.sqrt(by_chance))
    chosen: list[PatternMatch] = []
    for index in np.argsort(-(votes - by_chance), kind="stable")[:500]:
        if votes[index] < enough[index] or len(chosen) >= _REFINED:
            break
        guess = PatternMatch(turns[index], float(scale[index]), bool(hand[index]), int(votes[index]))
        if not any(_alike(guess, other, frame) for other in chosen):
            chosen.append(guess)
    return chosen, tests


def sky_patterns(stars: Floats, longest: float, neighbours: int) -> SkyPatterns:
    """Patterns of directions (n, 3), none wider than ``longest`` (chord on the unit sphere)."""
    fours, shape, size = _shapes(stars, _fours(stars, neighbours, longest), 0.0)
    return SkyPatterns(stars, fours, shape, size)


def _alike(one: PatternMatch, other: PatternMatch, frame: SolveFrame) -> bool:
    near = 0.02 * max(frame.diagonal * frame.scale, 0.002)
    return one.mirrored == other.mirrored and bool(np.abs(one.turn - other.turn).max() < near)


def _fours(points: Floats, neighbours: int, longest: float) -> Whole:
    """Each point with every three of its nearest neighbours no further off than ``longest``; (n, 4), none twice."""
    from scipy.spatial import cKDTree

    count = len(points)
    near = min(neighbours, count - 1)
    if near < 3:
        return np.empty((0, 4), dtype=np.intp)
    distance, index = cKDTree(points).query(points, near + 1, distance_upper_bound=longest)
    three = np.array(list(combinations(range(1, near + 1), 3)), dtype=np.intp)
    whole = np.isfinite(distance[:, three]).all(axis=2)
    first, which = np.nonzero(whole)
    fours = np.column_stack([first, index[first[:, None], three[which]]])
    fours.sort(axis=1)
    key = ((fours[:, 0] * count + fours[:, 1]) * count + fours[:, 2]) * count + fours[:, 3]
    if count > 50_000:  # the key would not fit into 63 bits
        return np.asarray(np.unique(fours, axis=0), dtype=np.intp)
    return np.asarray(fours[np.unique(key, return_index=True)[1]], dtype=np.intp)


def _shapes(points: Floats, fours: Whole, shortest: float) -> tuple[Whole, Floats, Floats]:
    """Patterns with their stars in an order of their own, the six distances over the longest, and ln of their sum.

    The star that lies furthest from the other three comes first. Distances know neither rotation nor mirroring.
    Patterns with two stars nearer than ``shortest`` are left out.
    """
    if not len(fours):
        return fours, np.empty((0, 6)), np.empty(0)
    between = np.zeros((len(fours), 4, 4))
    for one, other in combinations(range(4), 2):
        apart = np.linalg.norm(points[fours[:, one]] - points[fours[:, other]], axis=1)
        between[:, one, other] = between[:, other, one] = apart
    order = np.argsort(-between.sum(axis=2), axis=1)
    fours = np.take_along_axis(fours, order, axis=1)
    rows = np.arange(len(fours))
    sides = np.stack([between[rows, order[:, a], order[:, b]] for a, b in combinations(range(4), 2)], axis=1)
    longest = sides.max(axis=1)
    good = (sides.min(axis=1) > shortest) & (sides.min(axis=1) > 0.02 * longest)
    return fours[good], sides[good] / longest[good, None], np.log(sides[good].sum(axis=1))


def _turned(frame: SolveFrame, own: Whole, theirs: Floats, scale: Floats) -> tuple[NDArray[np.bool_], Floats]:
    """Whether each likeness is mirrored, and its rotation (n, 3, 3): of both hands the one that fits better."""
    turns, misses = [], []
    for mirrored in (False, True):
        ours = frame.directions(int(own.max()) + 1, scale, mirrored)
        corners = np.take_along_axis(ours, own[:, :, None], axis=1)
        turn = _turns(corners, theirs)
        misses.append(np.linalg.norm(np.einsum("nij,nkj->nki", turn, corners) - theirs, axis=2).sum(axis=1))
        turns.append(turn)
    hand = misses[1] < misses[0]
    return hand, np.where(hand[:, None, None], turns[1], turns[0])


def _votes(
    frame: SolveFrame, patterns: SkyPatterns, scale: Floats, hand: NDArray[np.bool_], turns: Floats
) -> tuple[Whole, Floats]:
    """For each guess, how many bright stars of the picture have a catalogue star at hand; and how many by chance."""
    number = min(_COUNTED, len(frame.x))
    votes = np.zeros(len(scale), dtype=np.intp)
    limit = max(0.006 * frame.diagonal, 2.0)
    reach = 2.0 * math.sin(0.5 * math.atan(frame.diagonal / 2 * frame.scale * math.sqrt(1.0 + frame.tolerance)))
    by_chance = np.zeros(len(scale))
    for start in range(0, len(scale), 2000):
        part = slice(start, start + 2000)
        ours = np.where(
            hand[part, None, None],
            frame.directions(number, scale[part], True),
            frame.directions(number, scale[part], False),
        )
        on_sky = np.einsum("hij,hkj->hki", turns[part], ours)
        bound = limit * scale[part, None]
        distance, _ = patterns.all_stars.query(on_sky, distance_upper_bound=float(bound.max()))
        votes[part] = (distance <= bound).sum(axis=1)
        around = patterns.all_stars.query_ball_point(turns[part, :, 2], reach, return_length=True)
        by_chance[part] = number * around * (limit * scale[part]) ** 2 / reach**2
    return votes, by_chance


def _turns(ours: Floats, theirs: Floats) -> Floats:
    """The rotations that bring directions (n, k, 3) onto others best (Kabsch 1976, Acta Cryst. A32, 922)."""
    product = np.einsum("nki,nkj->nij", theirs, ours)
    left, _, right = np.linalg.svd(product)
    left[:, :, 2] *= (np.linalg.det(left) * np.linalg.det(right))[:, None]
    return np.asarray(left @ right)


def projected(
    turn: Floats, scale: float, mirrored: bool, bends: tuple[float, float], half: float, sky: Floats
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Pixels from the picture's centre of catalogue directions, and whether they lie on the visible half."""
    local = sky @ turn
    depth = np.maximum(local[:, 2], 1e-3)
    x = (1.0 if mirrored else -1.0) * local[:, 0] / depth / scale
    y = -local[:, 1] / depth / scale
    square = np.minimum((x**2 + y**2) / half**2, 2.0)
    outwards = 1.0 + bends[0] * square + bends[1] * square**2
    return x * outwards, y * outwards, local[:, 2] > 0.2
