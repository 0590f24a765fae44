"""Where a picture's word on a star can be trusted: away from neighbours, bright stars, edges and nebulosity."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from noctuary.images.common_sky import Side
from noctuary.images.faint_stars import Flags, Floats, fitted_light

_NEIGHBOUR = 0.15  # of a star's light
_ALONE = 2.4  # FWHM of the picture with the wider stars
_MUCH_BRIGHTER = 10.0
_HALO = 2.0  # FWHM for each factor of ten beyond
_EMPTY = 0.3  # share of a stamp that is cut off, no number, or outside a turned picture
_FULL = 0.97
_RINGS = (3.2, 4.2)
_AROUND = 14


def alone(side: Side, x: Floats, y: Floats, light: Floats, fwhm_px: float, own_px: float) -> Flags:
    """Whether no other star of the picture disturbs one of ``light`` (in signals) at each place of its part.

    What lies nearer than ``own_px`` is the star itself.
    """
    free = np.ones(len(x), dtype=bool)
    others_x, others_y, others = side.stars.x, side.stars.y, side.stars.signal
    for start in range(0, len(x), 400):
        part = slice(start, start + 400)
        apart = np.hypot(x[part, None] - others_x, y[part, None] - others_y) / fwhm_px
        times = others / np.maximum(light[part, None], 1.0)
        room = np.where(
            times > _MUCH_BRIGHTER, _ALONE + _HALO * np.log10(np.maximum(times, _MUCH_BRIGHTER) / 5.0), _ALONE
        )
        free[part] = ~((apart * fwhm_px > own_px) & (apart < room) & (times > _NEIGHBOUR)).any(axis=1)
    return free


def whole(side: Side, x: Floats, y: Floats) -> Flags:
    """Whether the picture has values all around each place: no black corner, no hole, not at the edge."""
    reach = math.ceil(3.0 * side.stars.fwhm_px) + 2
    values = side.values
    lowest = np.nanmin(values)
    column, row = np.rint(x).astype(np.intp), np.rint(y).astype(np.intp)
    height, width = values.shape
    inside = (column >= reach) & (row >= reach) & (column < width - reach) & (row < height - reach)
    steps = np.arange(-reach, reach + 1)
    for part in np.array_split(np.flatnonzero(inside), max(1, int(inside.sum()) // 1000)):
        stamps = values[row[part, None, None] + steps[:, None], column[part, None, None] + steps[None, :]]
        inside[part] = (~np.isfinite(stamps) | (stamps <= lowest)).mean(axis=(1, 2)) < _EMPTY
    return np.asarray(inside)


def full(side: Side, x: Floats, y: Floats) -> Flags:
    """Whether a star's top is as high as anything in the picture: its light is not all there."""
    values = side.values
    height, width = values.shape
    column = np.clip(np.rint(x).astype(np.intp), 1, width - 2)
    row = np.clip(np.rint(y).astype(np.intp), 1, height - 2)
    steps = np.arange(-1, 2)
    top = values[row[:, None, None] + steps[:, None], column[:, None, None] + steps[None, :]].max(axis=(1, 2))
    lowest, highest = float(np.nanmin(values)), float(np.nanmax(values))
    return np.asarray(top >= lowest + _FULL * (highest - lowest))


def unrest(side: Side, x: Floats, y: Floats, fwhm_px: float) -> Floats:
    """How many times its usual noise the picture scatters around each place, at least 1; ``inf`` at the edge.

    From the light that stars' shapes would have on two rings around it: on a nebula's edge, beside a bright star, on
    a seam, they do not add up to nothing.
    """
    turn = 2.0 * np.pi * np.arange(_AROUND) / _AROUND
    across = np.concatenate([fwhm_px * radius * np.cos(turn) for radius in _RINGS])
    down = np.concatenate([fwhm_px * radius * np.sin(turn) for radius in _RINGS])
    around = side.stars.signal_at((x[:, None] + across).ravel(), (y[:, None] + down).ravel())
    times = 1.4826 * np.median(np.abs(around.reshape(len(x), -1)), axis=1)
    return np.where(np.isfinite(times), np.maximum(times, 1.0), np.inf)


def level(side: Side, x: Floats, y: Floats) -> Floats:
    """The level of the sky at places, in its own scatter over the picture, −1…1: 0 is the usual one."""
    height, width = side.values.shape
    column = np.clip(np.rint(x).astype(np.intp), 0, width - 1)
    row = np.clip(np.rint(y).astype(np.intp), 0, height - 1)
    sky = side.values[row, column].astype(np.float64) - side.stars.above[row, column]
    middle = float(np.median(sky))
    spread = float(np.percentile(np.abs(sky - middle), 90))
    return np.asarray(np.clip((sky - middle) / max(spread, 1e-12), -1.5, 1.5)) if spread > 0 else np.zeros(len(x))


def form(side: Side, x: float, y: float) -> tuple[float, float]:
    """How peaked a spot is (light fitted with a narrow over that with the usual width), how long (1 is round)."""
    place = np.array([x]), np.array([y])
    fwhm = side.stars.fwhm_px
    above = side.stars.above
    narrow, usual = (float(fitted_light(above, *place, width)[0]) for width in (0.6 * fwhm, fwhm))
    reach = math.ceil(1.8 * fwhm)
    column, row = round(x), round(y)
    stamp = above[row - reach : row + reach + 1, column - reach : column + reach + 1].astype(np.float64)
    if not stamp.size or not math.isfinite(usual) or usual <= 0:
        return math.nan, math.nan
    light = np.where(stamp > 0.3 * usual, stamp, 0.0)
    down, right = np.mgrid[0 : stamp.shape[0], 0 : stamp.shape[1]]
    return narrow / usual, _elongation(light, right, down)


def _elongation(light: Floats, right: NDArray[np.intp], down: NDArray[np.intp]) -> float:
    whole_light = float(light.sum())
    if whole_light <= 0:
        return math.nan
    x, y = float((light * right).sum()) / whole_light, float((light * down).sum()) / whole_light
    xx = float((light * (right - x) ** 2).sum()) / whole_light
    yy = float((light * (down - y) ** 2).sum()) / whole_light
    xy = float((light * (right - x) * (down - y)).sum()) / whole_light
    middle, apart = 0.5 * (xx + yy), math.hypot(0.5 * (xx - yy), xy)
    return math.sqrt((middle + apart + 1.0 / 12.0) / max(middle - apart + 1.0 / 12.0, 1.0 / 12.0))
