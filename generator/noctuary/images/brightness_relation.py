"""How bright stars of one picture come out in another, whatever stretch each had, and how much they scatter.

A stretch keeps the order of brightness, so signals of one picture are a smooth rising function of those of the other.
It is not written down but taken from the stars both show: by a resistant line (Tukey 1977, Exploratory Data Analysis,
chapter 5) through each star's neighbours in brightness, on logarithms. What varies over the picture (vignetting, the
slope of a stretch on a bright sky) is a polynomial of second degree in position, and a line in the level of the sky.
The scatter is that of the same neighbours, its lower side counted where it is the wider one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FEWEST = 30
"""Stars below which there is no relation."""
_LEAST_WINDOW, _MOST_WINDOW = 15, 61
_LOWEST = 0.3  # a signal below this has no logarithm worth the name
_STRONG_ENOUGH = 10.0
_STEADY = 0.1  # change of ln(signal) that a term of position usually brings
_STAR_BY_STAR = 0.12
_LEAST_SCATTER = 0.04  # of a star's light: no two cameras agree better on every colour


@dataclass(frozen=True)
class Relation:
    """For each star the signal expected in the other picture, how much of a unit in its own picture that is, and
    the scatter (a standard deviation) of the others of its brightness around what was expected of them.
    """

    expected: Floats
    slope: Floats
    scatter: Floats


def relation(strong: Floats, weak: Floats, noises: tuple[Floats, Floats], terms: Floats) -> Relation:
    """The relation of signals ``strong`` in one picture to ``weak`` in the other at the same places.

    ``noises`` are those of both pictures there. ``terms``, shape (stars, number), are what the relation may vary
    with, each about −1…1. At least :data:`FEWEST` stars.
    """
    varies: Floats = np.ones(len(strong))
    for _ in range(3):
        along, power = _running_line(strong, weak / varies)
        expected = along * varies
        varies = varies * _correction(expected, weak, terms)
    along, power = _running_line(strong, weak / varies)
    expected = along * varies
    slope = power * expected / strong
    white = np.hypot(noises[1], slope * noises[0])
    scatter = _running_scatter(strong, (weak - expected) / expected) * expected
    return Relation(expected, slope, np.hypot(np.maximum(scatter, white), _LEAST_SCATTER * slope * strong))


def _windows(number: int) -> tuple[int, NDArray[np.intp]]:
    """The length of a window, and for each rank the window that holds it best."""
    length = int(np.clip(number // 12, _LEAST_WINDOW, _MOST_WINDOW)) // 3 * 3
    return length, np.clip(np.arange(number) - length // 2, 0, number - length)


def _running_line(strong: Floats, weak: Floats) -> tuple[Floats, Floats]:
    """At each star the other's signal by the line through its neighbours in brightness, and the line's power."""
    order = np.argsort(strong, kind="stable")
    x = np.log(strong[order])
    y = np.log(np.maximum(weak[order], _LOWEST))
    length, window = _windows(len(x))
    across = sliding_window_view(x, length)
    third = length // 3
    left = np.median(across[:, :third], axis=1), np.median(sliding_window_view(y, length)[:, :third], axis=1)
    right = np.median(across[:, -third:], axis=1), np.median(sliding_window_view(y, length)[:, -third:], axis=1)
    slope = np.clip((right[1] - left[1]) / np.maximum(right[0] - left[0], 0.02), 0.0, 2.0)
    level = np.median(sliding_window_view(y, length) - slope[:, None] * across, axis=1)
    value, power = np.empty(len(x)), np.empty(len(x))
    value[order] = np.exp(level[window] + slope[window] * x)
    power[order] = slope[window]
    return value, power


def _running_scatter(strong: Floats, residual: Floats) -> Floats:
    order = np.argsort(strong, kind="stable")
    length, window = _windows(len(order))
    near = sliding_window_view(residual[order], length)
    middle = np.median(near, axis=1)
    both = 1.4826 * np.median(np.abs(near - middle[:, None]), axis=1)
    # The tenth part of a normal distribution lies below its mean less 1.2816 standard deviations.
    low = (middle - np.percentile(near, 10, axis=1)) / 1.2816
    scatter = np.empty(len(order))
    scatter[order] = np.maximum(both, low)[window]
    return scatter


def _correction(expected: Floats, weak: Floats, terms: Floats) -> Floats:
    """The factor by which stars differ from what is expected, as far as position and level of the sky explain it."""
    ratio = np.log(np.maximum(weak, _LOWEST) / expected)
    weight = 1.0 / (1.0 / expected**2 + _STAR_BY_STAR**2)
    weight[(expected < _STRONG_ENOUGH) | (np.abs(ratio) > 0.7)] = 0.0
    bound = np.diag(np.full(terms.shape[1], 1.0 / _STEADY**2))
    found: Floats = np.zeros(terms.shape[1])
    for _ in range(3):
        normal = terms.T @ (terms * weight[:, None]) + bound
        found = np.asarray(np.linalg.solve(normal, terms.T @ (ratio * weight)), dtype=np.float64)
        rest = np.abs(ratio - terms @ found)
        if (weight > 0).sum() < FEWEST:
            break
        weight[rest > 3.0 * max(1.4826 * float(np.median(rest[weight > 0])), 0.05)] = 0.0
    return np.asarray(np.exp(np.clip(terms @ found, -1.0, 1.0)))
