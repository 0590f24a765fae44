"""A guessed placement made exact by least squares, and the chance that it is an accident."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from noctuary.sky.solve_frame import Floats, SolveFrame, Whole
from noctuary.sky.star_patterns import UNTURNED, PatternMatch, projected

OF_A_GUESS = 4
"""Stars that a guess is made from: they agree by construction and prove nothing."""


@dataclass(frozen=True)
class PlacementFit:
    turn: Floats
    scale: float
    mirrored: bool
    bends: tuple[float, float]
    rms: float
    matched: int
    agreeing: int
    looked_at: int
    log10_chance: float


def fitted_placement(frame: SolveFrame, sky: Floats, guess: PatternMatch, tried: int) -> PlacementFit | None:
    """The guess fitted to all stars it explains, and the chance that it explains them by accident."""
    from scipy.spatial import cKDTree

    half = frame.diagonal / 2
    turn, scale, bends = guess.turn, guess.scale, (0.0, 0.0)
    ours_all = np.stack([frame.x, frame.y], axis=1)
    limits = [0.008 * frame.diagonal, 0.006 * frame.diagonal, 0.004 * frame.diagonal, 0.0025 * frame.diagonal]
    limits += [0.0015 * frame.diagonal] * 2
    rms, matched = 0.0, 0
    ours, theirs = np.empty((0, 2)), np.empty((0, 3))
    shown = len(sky)
    limit = limits[0]
    for step in range(len(limits) + 3):
        # Bright stars first: they find the place; the faint ones then sharpen it.
        shown = min(60 * 4**step, len(sky))
        x, y, front = projected(turn, scale, guess.mirrored, bends, half, sky)
        inside = front & (np.abs(x) < frame.width / 2) & (np.abs(y) < frame.height / 2)
        candidates = np.flatnonzero(inside)[:shown]
        if len(candidates) < 4:
            return None
        listed = ours_all[: _listed(len(candidates))]
        places = np.stack([x[candidates], y[candidates]], axis=1)
        limit = limits[step] if step < len(limits) else max(1.5, min(limits[-1], 3.5 * rms))
        ours_index, sky_index = _mutual(cKDTree(listed), listed, places, limit)
        matched = len(ours_index)
        if matched < 4:
            return None
        ours, theirs = listed[ours_index], sky[candidates[sky_index]]
        turn, scale, bends, rms = _least_squares(turn, scale, bends, guess.mirrored, half, ours, theirs)
        if abs(math.log(scale / frame.scale)) > 1.3 * math.log1p(frame.tolerance) or max(map(abs, bends)) > 0.3:
            return None
        # A wrong guess is seen for one before all the faint stars are fitted to it.
        if step == 3 and _log10_accident(frame, matched, len(candidates), len(listed), limit) > -2.0:
            return None
    x, y, front = projected(turn, scale, guess.mirrored, bends, half, sky)
    inside = front & (np.abs(x) < frame.width / 2) & (np.abs(y) < frame.height / 2)
    candidates = np.flatnonzero(inside)[:400]
    listed = ours_all[: _listed(len(candidates))]
    ours_index, _ = _mutual(cKDTree(listed), listed, np.stack([x[candidates], y[candidates]], axis=1), limit)
    agreeing = len(ours_index)
    chance = _log10_accident(frame, agreeing, len(candidates), len(listed), limit) + math.log10(tried)
    return PlacementFit(
        turn, scale, guess.mirrored, bends, rms, matched, agreeing, len(candidates), min(chance, 0.0)
    )


def _log10_accident(frame: SolveFrame, agreeing: int, candidates: int, listed: int, limit: float) -> float:
    """log₁₀ of the chance that so many of the candidates, without the guess's four, meet a listed star."""
    # Twice the mean density, because stars and false stars come in clumps.
    accident = -math.expm1(-2.0 * listed * math.pi * limit**2 / (frame.width * frame.height))
    return _log10_tail(agreeing - OF_A_GUESS, candidates - OF_A_GUESS, accident)


def _listed(candidates: int) -> int:
    """How many of the picture's brightest stars are compared with so many catalogue stars."""
    return max(2 * candidates + 10, 30)


def _mutual(tree: Any, listed: Floats, places: Floats, limit: float) -> tuple[Whole, Whole]:
    """Pairs that are each other's nearest within ``limit``."""
    from scipy.spatial import cKDTree

    distance, nearest = tree.query(places, distance_upper_bound=limit)
    back = cKDTree(places).query(listed)[1]
    found = np.flatnonzero(np.isfinite(distance))
    found = found[back[nearest[found]] == found]
    return np.asarray(nearest[found], dtype=np.intp), np.asarray(found, dtype=np.intp)


def _least_squares(
    turn: Floats, scale: float, bends: tuple[float, float], mirrored: bool, half: float, ours: Floats, theirs: Floats
) -> tuple[Floats, float, tuple[float, float], float]:
    """A small turn, the scale and as much distortion as the number of stars can carry; and the scatter in pixels.

    Gauss and Newton's steps with slopes by differences. Strays are damped: a miss counts less the further it is above
    twice the typical one.
    """
    from scipy.spatial.transform import Rotation

    count = len(ours)
    free = 4 + (count >= 10) + (count >= 40)
    unit = scale * half

    def misses(numbers: Floats, local: Floats, size: float) -> Floats:
        # A turn too small for its order to matter is a cross product.
        turned = local - np.cross(numbers[:3] * unit, local) if numbers[:3].any() else local
        x, y, _ = projected(UNTURNED, size * math.exp(numbers[3]), mirrored, (numbers[4], numbers[5]), half, turned)
        return np.concatenate([x - ours[:, 0], y - ours[:, 1]])

    rest = np.zeros(2 * count)
    for _ in range(6):
        local = theirs @ turn
        now = np.array([0.0, 0.0, 0.0, 0.0, *bends])
        rest = misses(now, local, scale)
        typical = 2.0 * max(float(np.median(np.abs(rest))), 0.2)
        weight = (1.0 + (rest / typical) ** 2) ** -0.25
        moved = [misses(now + 1e-4 * axis, local, scale) for axis in np.eye(6)[:free]]
        slopes = (np.stack(moved, axis=1) - rest[:, None]) / 1e-4
        step = np.zeros(6)
        step[:free] = np.linalg.lstsq(slopes * weight[:, None], -rest * weight, rcond=None)[0]
        step = np.clip(step, -0.2, 0.2)
        turn = turn @ Rotation.from_rotvec(step[:3] * unit).as_matrix()
        scale *= math.exp(step[3])
        bends = (float(bends[0] + step[4]), float(bends[1] + step[5]))
        if float(np.abs(step).max()) * half < 0.01:
            break
    rest = misses(np.array([0.0, 0.0, 0.0, 0.0, *bends]), theirs @ turn, scale)
    return turn, scale, bends, float(math.sqrt((rest**2).sum() / count))


def _log10_tail(hits: int, tries: int, probability: float) -> float:
    """log₁₀ of the chance of at least ``hits`` in ``tries``, each of the given probability."""
    from scipy.special import betainc

    if hits <= 0 or tries <= 0:
        return 0.0
    hits, probability = min(hits, tries), min(probability, 1.0)
    # The binomial tail as an incomplete beta function (NIST DLMF 8.17.5).
    above = float(betainc(hits, tries - hits + 1, probability))
    if above > 0.0:
        tail = math.log(above)
    else:
        # Below what a float can hold: Chernoff's bound is above the tail, so it is the careful side.
        share = hits / tries
        rest = (1.0 - share) * math.log((1.0 - share) / (1.0 - probability)) if hits < tries else 0.0
        tail = -tries * (share * math.log(share / probability) + rest)
    return tail / math.log(10.0)
