"""Finished 8-bit pictures drawn from star lists of known placement: stretched, clipped, with nebulosity."""

from __future__ import annotations

import math

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.sky.simulated_sky import Field


def drawn(rng: Generator, field: Field, *, fwhm: float | None = None, nebulosity: float = 1.0) -> NDArray[np.uint8]:
    """The field as a picture (height, width), with stars fainter than the table and some as bright that it lacks."""
    down, right = (np.arange(length, dtype=np.float32) for length in (field.height, field.width))
    light = np.full((field.height, field.width), 40.0, dtype=np.float32)
    for _ in range(6):
        x, y = rng.uniform(0, field.width), rng.uniform(0, field.height)
        reach = rng.uniform(0.05, 0.25) * field.width
        bright = nebulosity * rng.uniform(10, 80)
        across, along = (np.exp(-((steps - at) ** 2) / (2 * reach**2)) for steps, at in ((right, x), (down, y)))
        light += np.outer(bright * along, across)
    fwhm = fwhm or rng.uniform(1.8, 4.0)
    beyond = int(3 * len(field.x))  # fainter than the catalogue
    wrong = int(0.1 * len(field.x)) + 1  # as bright as the catalogue's, and not in it
    across = np.concatenate([field.x, rng.uniform(0, field.width, beyond + wrong)])
    below = np.concatenate([field.y, rng.uniform(0, field.height, beyond + wrong)])
    faintest = float(np.quantile(field.mag, 0.95))
    mag = np.concatenate([field.mag, faintest + 2 * rng.random(beyond) ** 0.5, rng.choice(field.mag, wrong)])
    mag = mag + rng.normal(0, 0.35, len(mag))
    size = 12
    column, row = np.rint(across).astype(int), np.rint(below).astype(int)
    whole = (column >= size) & (column < field.width - size) & (row >= size) & (row < field.height - size)
    step = np.arange(-size, size + 1)
    for some in np.array_split(np.flatnonzero(whole), 1 + len(whole) // 100):
        dx, dy = step + (column - across)[some, None], step + (row - below)[some, None]
        fall = 1 + (2 ** (1 / 3) - 1) * (dx[:, None, :] ** 2 + dy[:, :, None] ** 2) * 4 / fwhm**2
        heights = 10 ** (-0.4 * (mag[some] - faintest - 5))
        for x, y, star in zip(column[some], row[some], heights[:, None, None] / (fall * fall * fall), strict=True):
            light[y - size : y + size + 1, x - size : x + size + 1] += star
    light = rng.normal(light, np.sqrt(light)).astype(np.float32)
    hot = rng.random(light.shape) < 5e-5
    light[hot] += rng.uniform(500, 20000, int(hot.sum()))
    stretched = np.arcsinh(np.maximum(light - 20, 0) / 60) / math.asinh(6000 / 60)
    return np.clip(np.rint(stretched * 255), 0, 255).astype(np.uint8)
