"""Triangles of stars that are alike in a picture and in the catalogue, and the placements they suggest."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noctuary.geometry import unit_vectors
from noctuary.sky.solve_frame import Floats, SolveFrame, Whole
from noctuary.sky.star_table import StarTable

_MOST_TRIANGLES = 80_000  # in the catalogue; a triangle of the picture is like some ten of them
_MOST_OWN_TRIANGLES = 4_000
_MOST_GUESSES = 12_000
_COUNTED = 40  # brightest stars on which a guess is counted out
_REFINED = 12  # guesses that are worth a fit
UNTURNED = np.eye(3)


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
    number: int,
    tolerance: float,
    centre: Floats,
    radius: float,
) -> tuple[list[PatternMatch], int]:
    """Likely placements from triangles of the ``number`` brightest stars, the likeliest first; and how many tried."""
    from scipy.spatial import cKDTree

    number = min(number, len(frame.x))
    # The catalogue a little deeper than the picture: colours and cut-off tops shuffle the order of brightness.
    deep = max(int(1.5 * number / max(in_frame, 1e-9) * len(sky)), 12)
    stars = sky[: min(deep, len(sky), 4000)]
    if len(stars) < 3:
        return [], 0
    ours = frame.directions(number, frame.scale, mirrored=False)
    longest = 2.0 * math.sin(math.atan(frame.diagonal / 2 * frame.scale))
    ours_three = _triangles(ours, longest, _MOST_OWN_TRIANGLES)
    sky_three = _triangles(stars, (1.0 + frame.tolerance) * longest, _MOST_TRIANGLES)
    if not len(ours_three) or not len(sky_three):
        return [], 0
    ours_three, ours_shape, ours_hand = _shapes(ours, ours_three, 0.04 * longest)
    sky_three, sky_shape, sky_hand = _shapes(stars, sky_three, 0.03 * longest)
    if not len(ours_three) or not len(sky_three):
        return [], 0
    stretch = np.array([tolerance / math.log1p(frame.tolerance), 1.0, 1.0])
    tree = cKDTree(sky_shape * stretch)
    lists = tree.query_ball_point(ours_shape * stretch, tolerance, p=np.inf)
    counts = np.array([len(found) for found in lists])
    if not counts.sum():
        return [], 0
    left = np.repeat(np.arange(len(lists)), counts)
    right = np.concatenate([np.asarray(found, dtype=np.intp) for found in lists if found])
    if len(left) > _MOST_GUESSES:
        # The most telling triangles are those with few likenesses.
        keep = np.argsort(counts[left], kind="stable")[:_MOST_GUESSES]
        left, right = left[keep], right[keep]
    tests = len(left)
    mirrored = ours_hand[left] != sky_hand[right]
    scale = frame.scale * np.exp(sky_shape[right, 0] - ours_shape[left, 0])
    votes, turns = _counted(frame, stars, number, ours_three[left], sky_three[right], scale, mirrored, centre, radius)
    order = np.argsort(-votes, kind="stable")
    chosen: list[PatternMatch] = []
    for index in order[:2000]:
        if votes[index] < 4 or len(chosen) >= _REFINED:
            break
        guess = PatternMatch(turns[index], float(scale[index]), bool(mirrored[index]), int(votes[index]))
        if not any(_alike(guess, other, longest) for other in chosen):
            chosen.append(guess)
    return chosen, tests


def _alike(one: PatternMatch, other: PatternMatch, longest: float) -> bool:
    same_hand = one.mirrored == other.mirrored
    return same_hand and bool(np.abs(one.turn - other.turn).max() < 0.02 * max(longest, 0.02))


def _triangles(points: Floats, longest: float, most: int) -> Whole:
    """Triples of points, each a point with two of its neighbours no further off than ``longest``; (n, 3).

    All triples where that is few enough, else those of as many nearest neighbours as ``most`` allows.
    """
    from scipy.spatial import cKDTree

    count = len(points)
    neighbours = int((1.0 + math.sqrt(1.0 + 8.0 * 2.5 * most / count)) / 2.0)
    neighbours = max(4, min(neighbours, count - 1, 60))
    if count < 3:
        return np.empty((0, 3), dtype=np.intp)
    distance, index = cKDTree(points).query(points, min(neighbours + 1, count), distance_upper_bound=longest)
    distance, index = distance[:, 1:], index[:, 1:]
    first, second = np.triu_indices(index.shape[1], 1)
    both = np.isfinite(distance[:, first]) & np.isfinite(distance[:, second])
    own, pair = np.nonzero(both)
    triples = np.stack([own, index[own, first[pair]], index[own, second[pair]]], axis=1)
    triples.sort(axis=1)
    key = (triples[:, 0] * count + triples[:, 1]) * count + triples[:, 2]
    return np.asarray(triples[np.unique(key, return_index=True)[1]], dtype=np.intp)


def _shapes(points: Floats, triples: Whole, shortest: float) -> tuple[Whole, Floats, NDArray[np.bool_]]:
    """Triples with corners put in the order of the sides opposite to them (longest first), shapes and hands.

    A shape is (ln longest side, middle ÷ longest, shortest ÷ longest); the hand is on which side of the first two
    corners the third lies. Triangles with a side too short to measure, or too flat for a sure hand, are left out.
    """
    corners = points[triples]
    sides = np.stack([np.linalg.norm(corners[:, (n + 1) % 3] - corners[:, (n + 2) % 3], axis=1) for n in range(3)], 1)
    order = np.argsort(-sides, axis=1)
    sides = np.take_along_axis(sides, order, axis=1)
    triples = np.take_along_axis(triples, order, axis=1)
    corners = points[triples]
    volume = np.einsum("ni,ni->n", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
    good = (sides[:, 2] > shortest) & (np.abs(volume) > 0.02 * sides[:, 0] ** 2)
    # Two sides alike could be taken for each other, which turns the hand round.
    ratios = sides[:, 1:] / np.maximum(sides[:, :1], 1e-12)
    good &= (ratios[:, 0] < 0.985) & (ratios[:, 1] < 0.985 * ratios[:, 0])
    shape = np.stack([np.log(np.maximum(sides[:, 0], 1e-12)), ratios[:, 0], ratios[:, 1]], axis=1)
    return triples[good], shape[good], volume[good] > 0


def _counted(
    frame: SolveFrame,
    stars: Floats,
    number: int,
    ours_three: Whole,
    sky_three: Whole,
    scale: Floats,
    mirrored: NDArray[np.bool_],
    centre: Floats,
    radius: float,
) -> tuple[Whole, Floats]:
    """For each guess, how many bright stars of the picture have a catalogue star at hand; and its turn (n, 3, 3)."""
    from scipy.spatial import cKDTree

    tree = cKDTree(stars)
    number = min(max(number, 25), _COUNTED, len(frame.x))
    near_px = 0.006 * frame.diagonal
    votes = np.zeros(len(scale), dtype=np.intp)
    turns = np.zeros((len(scale), 3, 3))
    for hand in (False, True):
        for which in _slices(np.flatnonzero(mirrored == hand), 4000):
            # The corners may be deeper than the stars that are counted.
            deepest = int(ours_three[which].max()) + 1
            ours = frame.directions(max(number, deepest), scale[which], hand)
            corners = np.take_along_axis(ours, ours_three[which][:, :, None], axis=1)
            turn = _turns(corners, stars[sky_three[which]])
            turns[which] = turn
            towards = turn[:, :, 2]
            within = np.linalg.norm(towards - centre, axis=1) <= 2.0 * math.sin(min(radius, math.pi) / 2.0) * 1.02
            if not within.any():
                continue
            on_sky = np.einsum("hij,hkj->hki", turn[within], ours[within][:, :number])
            limit = near_px * frame.scale
            distance, _ = tree.query(on_sky.reshape(-1, 3), distance_upper_bound=limit)
            votes[which[within]] = np.isfinite(distance).reshape(-1, number).sum(axis=1)
    return votes, turns


def _slices(indices: Whole, size: int) -> Iterator[Whole]:
    for start in range(0, len(indices), size):
        yield indices[start : start + size]


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
