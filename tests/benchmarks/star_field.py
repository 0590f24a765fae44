"""A simulated sky for the benchmarks: as hard to encode as the real thing."""

from __future__ import annotations

from typing import Any

import numpy as np

_RADIUS = 2


def star_field(seed: int, width: int, height: int) -> np.ndarray[Any, np.dtype[np.float32]]:
    """Levels 0…255 of shape (height, width, 3): coloured stars of all brightnesses (Moffat profiles) over noise."""
    chance = np.random.default_rng(seed)
    pixels = chance.normal(22, 4, (height, width, 3)).astype(np.float32)
    number = width * height // 3300
    y = chance.integers(_RADIUS + 1, height - _RADIUS - 1, number)
    x = chance.integers(_RADIUS + 1, width - _RADIUS - 1, number)
    light = 40 * chance.pareto(1.2, number)[:, None] * chance.uniform(0.5, 1.0, (number, 3))
    for dy in range(-_RADIUS, _RADIUS + 1):
        for dx in range(-_RADIUS, _RADIUS + 1):
            pixels[y + dy, x + dx] += light * (1 + (dx * dx + dy * dy) / 1.5) ** -2.5
    return pixels.clip(0, 255)
