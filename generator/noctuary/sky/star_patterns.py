"""Patterns of four stars that are alike in a picture and in the catalogue, and the placements they suggest."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noctuary.geometry import unit_vectors
from noctuary.sky.four_stars import all_fours, nearest, shapes
from noctuary.sky.pattern_index import IndexStep, Likenesses
from noctuary.sky.solve_frame import Floats, SolveFrame, Whole
from noctuary.sky.star_table import StarTable

_LIKENESSES = 6  # patterns of the sky that one of the picture is compared with
_MOST_GUESSES = 6_000
_AT_A_TIME = 500  # guesses, for the sake of memory
_COUNTED = 40  # brightest stars on which a guess is counted out
_REFINED = 6  # guesses that are worth a fit
_REFINED_EVERYWHERE = 12
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
    frame: SolveFrame, sky: Floats, in_frame: float, level: Level, centre: Floats, radius: float
) -> tuple[list[PatternMatch], int]:
    """Likely placements from patterns of the brightest stars, the likeliest first; and how many were tried.

    ``sky`` are directions brightest first, of which ``in_frame`` are expected in the frame; the frame's middle lies
    within ``radius`` (radians) of ``centre``.
    """
    from scipy.spatial import cKDTree

    number = min(level.of_picture, len(frame.x))
    own = _own_patterns(frame, number, level.own_neighbours)
    some = sky[: max(int(level.of_sky / max(in_frame, 1e-9) * len(sky)), 12)]
    longest = 1.1 * (1.0 + frame.tolerance) * 2.0 * math.sin(math.atan(frame.diagonal / 2 * frame.scale))
    fours, _ = all_fours(nearest(some, level.sky_neighbours, longest))
    _, fours, shape, size = shapes(some, fours, 0.0)
    if not len(own.fours) or not len(fours):
        return [], 0
    # A difference in size as great as the scale leaves open counts as much as the greatest difference in shape.
    stretch = level.tolerance / _spread(frame)
    tree = cKDTree(np.column_stack([shape, size * stretch]), balanced_tree=False)
    asked = np.column_stack([own.shape, own.size * stretch])
    apart, which = tree.query(asked, k=_LIKENESSES, p=np.inf, distance_upper_bound=level.tolerance)
    left, column = np.nonzero(np.isfinite(apart))
    right = which[left, column]
    alike = Likenesses(left, fours[right], size[right] - own.size[left], apart[left, column]).closest(_MOST_GUESSES)
    guesses = _guesses(frame, own, some, alike)
    within = (
        np.linalg.norm(guesses.turns[:, :, 2] - centre, axis=1) <= 2.0 * math.sin(min(radius, math.pi) / 2) * 1.02
    )
    return _likeliest(frame, number, guesses.only(within), cKDTree(some), _REFINED), len(alike.own)


def matches_everywhere(frame: SolveFrame, step: IndexStep, neighbours: int) -> tuple[list[PatternMatch], int]:
    """Likely placements anywhere on the sky, the likeliest first, and how many were tried.

    ``frame`` has the stars that are compared, evenly spread; patterns are made of each and so many neighbours.
    """
    own = _own_patterns(frame, len(frame.x), neighbours)
    if not len(own.fours):
        return [], 0
    alike = step.likenesses(own.shape, own.size, _spread(frame)).closest(_MOST_GUESSES)
    guesses = _guesses(frame, own, step.stars, alike)
    return _likeliest(frame, len(frame.x), guesses, step.tree, _REFINED_EVERYWHERE), len(alike.own)


@dataclass(frozen=True)
class _OwnPatterns:
    """Patterns of the picture: indices of the four stars, shape, ln of the size on the sky at the expected scale."""

    fours: Whole
    shape: Floats
    size: Floats


@dataclass(frozen=True)
class _Guesses:
    """Placements that patterns suggest: scale, whether mirrored, and rotation (n, 3, 3)."""

    scale: Floats
    mirrored: NDArray[np.bool_]
    turns: Floats

    def only(self, which: Any) -> _Guesses:
        return _Guesses(self.scale[which], self.mirrored[which], self.turns[which])


def _spread(frame: SolveFrame) -> float:
    """How much ln of a pattern's size may differ, for all that is known of the scale."""
    return 1.1 * math.log1p(frame.tolerance)


def _own_patterns(frame: SolveFrame, number: int, neighbours: int) -> _OwnPatterns:
    ours = frame.directions(number, frame.scale, mirrored=False)
    fours, _ = all_fours(nearest(ours, neighbours, 4.0))
    _, fours, shape, size = shapes(ours, fours, 6.0 * frame.scale)
    return _OwnPatterns(fours, shape, size)


def _guesses(frame: SolveFrame, own: _OwnPatterns, stars: Floats, alike: Likenesses) -> _Guesses:
    scale = frame.scale * np.exp(alike.growth)
    mirrored, turns = np.empty(len(scale), dtype=bool), np.empty((len(scale), 3, 3))
    for start in range(0, len(scale), _AT_A_TIME):
        part = slice(start, start + _AT_A_TIME)
        theirs = stars[alike.fours[part]]
        mirrored[part], turns[part] = _turned(frame, own.fours[alike.own[part]], theirs, scale[part])
    return _Guesses(scale, mirrored, turns)


def _likeliest(frame: SolveFrame, number: int, guesses: _Guesses, stars: Any, most: int) -> list[PatternMatch]:
    """The guesses that bring most of the picture's first ``number`` stars onto ``stars``, a tree of directions."""
    if not len(guesses.scale):
        return []
    votes, by_chance = _votes(frame, min(_COUNTED, number), guesses, stars)
    # Four agree by construction; of the others as many as chance brings say nothing.
    enough = np.maximum(6.0, 4.0 + by_chance + 2.5 * np.sqrt(by_chance))
    chosen: list[PatternMatch] = []
    for index in np.argsort(-(votes - by_chance), kind="stable")[:500]:
        if votes[index] < enough[index] or len(chosen) >= most:
            break
        guess = PatternMatch(
            guesses.turns[index], float(guesses.scale[index]), bool(guesses.mirrored[index]), int(votes[index])
        )
        if not any(_alike(guess, other, frame) for other in chosen):
            chosen.append(guess)
    return chosen


def _alike(one: PatternMatch, other: PatternMatch, frame: SolveFrame) -> bool:
    near = 0.02 * max(frame.diagonal * frame.scale, 0.002)
    return one.mirrored == other.mirrored and bool(np.abs(one.turn - other.turn).max() < near)


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


def _votes(frame: SolveFrame, number: int, guesses: _Guesses, stars: Any) -> tuple[Whole, Floats]:
    """For each guess, how many bright stars of the picture have a catalogue star at hand; and how many by chance."""
    scale, turns = guesses.scale, guesses.turns
    votes = np.zeros(len(scale), dtype=np.intp)
    limit = max(0.006 * frame.diagonal, 2.0)
    reach = 2.0 * math.sin(0.5 * math.atan(frame.diagonal / 2 * frame.scale * math.sqrt(1.0 + frame.tolerance)))
    by_chance = np.zeros(len(scale))
    for start in range(0, len(scale), _AT_A_TIME):
        part = slice(start, start + _AT_A_TIME)
        ours = np.where(
            guesses.mirrored[part, None, None],
            frame.directions(number, scale[part], True),
            frame.directions(number, scale[part], False),
        )
        on_sky = np.einsum("hij,hkj->hki", turns[part], ours)
        bound = limit * scale[part, None]
        distance, _ = stars.query(on_sky, distance_upper_bound=float(bound.max()))
        votes[part] = (distance <= bound).sum(axis=1)
        around = stars.query_ball_point(turns[part, :, 2], reach, return_length=True)
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
