"""Gradient noise and the soft shapes that everything drawn is made of."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]  # single precision all through, which numpy's own annotations lose at every second step


def perlin(x: Floats, y: Floats, seed: int) -> Floats:
    """Gradient noise, about −0.7 … 0.7, of any shape of coordinates; one cell per unit."""
    rng = np.random.default_rng(seed)
    table = rng.permutation(256).astype(np.int32)
    angle = rng.uniform(0, 2 * np.pi, 256)
    gx, gy = np.cos(angle).astype(np.float32), np.sin(angle).astype(np.float32)
    x0, y0 = np.floor(x), np.floor(y)
    fx, fy = (x - x0).astype(np.float32), (y - y0).astype(np.float32)
    ix, iy = x0.astype(np.int32), y0.astype(np.int32)
    u = fx * fx * fx * (fx * (fx * 6 - 15) + 10)
    v = fy * fy * fy * (fy * (fy * 6 - 15) + 10)

    def corner(dx: int, dy: int) -> Floats:
        h = table[(table[(ix + dx) & 255] + iy + dy) & 255]
        slope: Floats = gx[h] * (fx - dx) + gy[h] * (fy - dy)
        return slope

    low = corner(0, 0) * (1 - u) + corner(1, 0) * u
    high = corner(0, 1) * (1 - u) + corner(1, 1) * u
    noise: Floats = (low * (1 - v) + high * v).astype(np.float32)
    return noise


def fbm(x: Floats, y: Floats, seed: int, octaves: int = 6, gain: float = 0.5, ridged: bool = False) -> Floats:
    """Sum of octaves of gradient noise, each turned against the last so that the lattice does not show.

    About −1 … 1; ridged 0 … 1 with thin crests.
    """
    total = np.zeros(x.shape, np.float32)
    weight, norm = 1.0, 0.0
    c, s = math.cos(0.65) * 2.03, math.sin(0.65) * 2.03
    for i in range(octaves):
        n = perlin(x, y, seed + 101 * i)
        if ridged:
            n = (1 - 2.1 * np.abs(n)).clip(0, 1) ** 2
        total += weight * n
        norm += weight
        weight *= gain
        x, y = c * x - s * y + 7.3, s * x + c * y - 3.1
    return total / norm if ridged else total * (1.9 / norm)


def warped(x: Floats, y: Floats, seed: int, by: float, octaves: int = 4) -> tuple[Floats, Floats]:
    """Coordinates pushed about by noise of their own, so that what is drawn in them folds like gas."""
    return x + by * fbm(x, y, seed, octaves), y + by * fbm(x + 5.2, y + 1.3, seed + 17, octaves)


def smooth(edge0: float, edge1: float, x: Floats) -> Floats:
    t = ((x - edge0) / (edge1 - edge0)).clip(0, 1)
    step: Floats = (t * t * (3 - 2 * t)).astype(np.float32)
    return step


def gauss(x: Floats, y: Floats, x0: float, y0: float, sx: float, sy: float = 0.0, turn: float = 0.0) -> Floats:
    """A round or elongated bell; ``turn`` in degrees from the x axis to its ``sx`` axis."""
    a = math.radians(turn)
    u = (x - x0) * math.cos(a) + (y - y0) * math.sin(a)
    v = -(x - x0) * math.sin(a) + (y - y0) * math.cos(a)
    return np.exp(-0.5 * ((u / sx) ** 2 + (v / (sy or sx)) ** 2)).astype(np.float32)
