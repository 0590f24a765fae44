"""Frames of stars with known shapes: profiles integrated over every pixel by 5 × 5 points, with photon noise."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Shape = tuple[float, float, float]
"""Full width at half maximum (px, geometric mean of the axes), elongation, direction (deg, anticlockwise)."""


def draw(
    frame: Floats, x: float, y: float, flux: float, shape: Shape, *, moffat: float | None = None, reach: int = 0
) -> None:
    """Add one star; ``moffat`` is the exponent of the profile, or none for a Gaussian."""
    fwhm, elongation, direction = shape
    longer, shorter = fwhm * math.sqrt(elongation), fwhm / math.sqrt(elongation)
    reach = reach or math.ceil(3.5 * longer) + 2
    left, top = max(0, round(x) - reach), max(0, round(y) - reach)
    right, bottom = min(frame.shape[1], round(x) + reach + 1), min(frame.shape[0], round(y) + reach + 1)
    if left >= right or top >= bottom:
        return
    inner = (np.arange(5) - 2) / 5
    dx = (np.arange(left, right)[:, None] + inner).ravel() - x
    dy = ((np.arange(top, bottom)[:, None] + inner).ravel() - y)[:, None]
    turn = math.radians(direction)  # y runs down
    cos, sin, wide, narrow = math.cos(turn), math.sin(turn), (2 / longer) ** 2, (2 / shorter) ** 2
    square = 2 * (narrow - wide) * cos * sin * dx * dy  # 1 at half maximum
    square += (wide * cos**2 + narrow * sin**2) * dx**2
    square += (wide * sin**2 + narrow * cos**2) * dy**2
    fine = np.exp2(-square) if moffat is None else (1 + (2 ** (1 / moffat) - 1) * square) ** -moffat
    rows = fine.reshape(bottom - top, 5, -1).sum(axis=1)
    pixels = rows.reshape(bottom - top, right - left, 5).sum(axis=2)
    frame[top:bottom, left:right] += flux / pixels.sum() * pixels


def frame(
    rng: Generator,
    width: int,
    height: int,
    a_zone: int,
    shape_at: Callable[[float, float], Shape],
    *,
    moffat: float | None = None,
    sky: float = 300.0,
    flux_dex: tuple[float, float] = (3.9, 4.8),
) -> Floats:
    """``a_zone`` stars in each ninth; ``shape_at`` takes −1…1 from left to right and from top to bottom.

    ``flux_dex`` are the decimal logarithms of the least and the greatest flux in electrons.
    """
    light = np.full((height, width), sky)
    for zone in range(9):
        row, column = divmod(zone, 3)
        spots = _apart(rng, a_zone, width / 3, height / 3)
        for across, down in spots:
            x, y = column * width / 3 + across, row * height / 3 + down
            shape = shape_at(2 * x / width - 1, 2 * y / height - 1)
            draw(light, x, y, float(10 ** rng.uniform(*flux_dex)), shape, moffat=moffat)
    return rng.poisson(light) + rng.normal(0, 3, light.shape)


def _apart(rng: Generator, number: int, width: float, height: float) -> Floats:
    """Spots of a jittered grid, so that every star stands alone."""
    columns = math.ceil(math.sqrt(number * width / height))
    rows = math.ceil(number / columns)
    cells = rng.permutation(columns * rows)[:number]
    inside = rng.uniform(0.3, 0.7, (number, 2))
    across, down = cells % columns + inside[:, 0], cells // columns + inside[:, 1]
    return np.stack([across * width / columns, down * height / rows], axis=1)
