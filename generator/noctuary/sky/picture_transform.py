"""One placed picture over another: the matrix from pixels of one to pixels of the other, and its misfit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from noctuary.sky.placement import Placement
from noctuary.sky.projection import (
    Floats,
)


@dataclass(frozen=True, slots=True)
class Transform:
    """A matrix that takes pixels of one picture to those of another, (x, y, 1) as a column, and its misfit.

    ``rms_px`` and ``max_px`` are distances in pixels of the picture it leads to, over the common area.
    """

    matrix: tuple[tuple[float, float, float], ...]
    kind: Literal["affine", "projective"]
    rms_px: float
    max_px: float

    def apply(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        m = np.array(self.matrix)
        fx, fy = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        u, v, w = (m[i, 0] * fx + m[i, 1] * fy + m[i, 2] for i in range(3))
        return u / w, v / w


def transform(a: Placement, b: Placement) -> Transform | None:
    """From pixels of ``b`` to pixels of ``a``, fitted over the sky they share; None where they share none.

    Affine where that is right to a tenth of a pixel, else projective: exact between two gnomonic pictures.
    """
    bx, by = pixel_grid(b)
    ax, ay = pixel_grid(a)
    x = np.concatenate([bx, b.pixel(*a.sky(ax, ay))[0]])
    y = np.concatenate([by, b.pixel(*a.sky(ax, ay))[1]])
    u, v = a.pixel(*b.sky(x, y))
    common = b.contains(x, y) & a.contains(u, v)
    x, y, u, v = x[common], y[common], u[common], v[common]
    if len(x) < 6:
        return None
    fitted: list[Transform] = []
    for kind, matrix in (("affine", affine(x, y, u, v)), ("projective", _projective(x, y, u, v))):
        if matrix is None:
            continue
        rows = tuple((float(r[0]), float(r[1]), float(r[2])) for r in matrix)
        candidate = Transform(rows, "affine" if kind == "affine" else "projective", 0.0, 0.0)
        moved = candidate.apply(x, y)
        off = np.hypot(moved[0] - u, moved[1] - v)
        rms, worst = float(np.sqrt(np.mean(off**2))), float(off.max())
        fitted.append(replace(candidate, rms_px=rms, max_px=worst))
        if worst <= 0.1:
            break
    return min(fitted, key=lambda t: t.max_px) if fitted else None


def pixel_grid(placement: Placement, n: int = 33) -> tuple[Floats, Floats]:
    x, y = np.meshgrid(
        np.linspace(-0.5, placement.width_px - 0.5, n), np.linspace(-0.5, placement.height_px - 0.5, n)
    )
    return x.ravel(), y.ravel()


def affine(x: Floats, y: Floats, u: Floats, v: Floats) -> Floats:
    columns = np.stack([x, y, np.ones_like(x)], axis=-1)
    solved = np.linalg.lstsq(columns, np.stack([u, v], axis=-1), rcond=None)[0]
    return np.vstack([solved.T, [0.0, 0.0, 1.0]])


def _projective(x: Floats, y: Floats, u: Floats, v: Floats) -> Floats | None:
    """The homography of least algebraic misfit (direct linear transform, coordinates normalised)."""
    before, after = _normaliser(x, y), _normaliser(u, v)
    p = before @ np.stack([x, y, np.ones_like(x)])
    q = after @ np.stack([u, v, np.ones_like(u)])
    nothing = np.zeros_like(x)
    rows = np.concatenate(
        [
            np.stack([*p, nothing, nothing, nothing, -q[0] * p[0], -q[0] * p[1], -q[0]], axis=-1),
            np.stack([nothing, nothing, nothing, *p, -q[1] * p[0], -q[1] * p[1], -q[1]], axis=-1),
        ]
    )
    h = np.linalg.svd(rows, full_matrices=False)[2][-1].reshape(3, 3)
    matrix = np.linalg.inv(after) @ h @ before
    return None if abs(matrix[2, 2]) < 1e-12 else np.asarray(matrix / matrix[2, 2])


def _normaliser(x: Floats, y: Floats) -> Floats:
    size = max(float(np.std(x)), float(np.std(y)), 1e-12)
    return np.array([[1 / size, 0, -float(np.mean(x)) / size], [0, 1 / size, -float(np.mean(y)) / size], [0, 0, 1]])
