"""Magnitudes for a picture's stars, from those of them that a table of stars has."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from noctuary.geometry import separations_deg
from noctuary.images.faint_stars import Floats
from noctuary.sky.star_table import StarTable

_FEWEST = 8
_LEAST_RANGE_DEX = 0.25
_PROPORTIONAL, _TOLERANCE = -2.5, 0.35
_BEYOND_DEX = 0.15
_DRIFT = 0.07  # mag of error for each magnitude beyond the stars of the table
_FURTHEST = 5.0


@dataclass(frozen=True)
class MagnitudeScale:
    """A line from the logarithm of light to magnitudes, with its scatter, and the range of light of its stars.

    ``proportional``: the picture's values follow the light, so the line holds beyond its stars.
    """

    slope: float
    zero: float
    scatter: float
    faintest: float
    brightest: float
    proportional: bool

    def magnitude(self, light: float) -> tuple[float, float] | None:
        """A magnitude and its standard error; ``None`` where the line does not reach."""
        dex = math.log10(light)
        beyond = max(self.faintest - dex, dex - self.brightest, 0.0)
        far = abs(self.slope) * beyond
        if (beyond > _BEYOND_DEX and not self.proportional) or far > _FURTHEST:
            return None
        return self.zero + self.slope * dex, math.hypot(self.scatter, _DRIFT * far)


def magnitude_scale(
    ra: Floats, dec: Floats, light: Floats, table: StarTable, within_arcsec: float
) -> MagnitudeScale | None:
    """The line through the stars (degrees, ``light`` in any unit) that a table has too; ``None`` without enough."""
    mag, dex = [], []
    for a, d, value in zip(ra, dec, light, strict=True):
        near = catalogued(float(a), float(d), table, within_arcsec)
        if near is not None:
            mag.append(near)
            dex.append(math.log10(value))
    if len(mag) < _FEWEST:
        return None
    x, y = np.array(dex), np.array(mag)
    keep = np.ones(len(x), dtype=bool)
    slope = zero = scatter = 0.0
    for _ in range(4):
        if keep.sum() < _FEWEST or np.ptp(x[keep]) < _LEAST_RANGE_DEX:
            return None
        slope, zero = (float(value) for value in np.polyfit(x[keep], y[keep], 1))
        rest = y - zero - slope * x
        scatter = max(1.4826 * float(np.median(np.abs(rest[keep]))), 0.03)
        keep = np.abs(rest) <= 3.0 * scatter
    if slope >= 0:
        return None
    proportional = abs(slope - _PROPORTIONAL) < _TOLERANCE
    if proportional:
        slope = _PROPORTIONAL
        zero = float(np.median(y[keep] - slope * x[keep]))
    return MagnitudeScale(slope, zero, scatter, float(x[keep].min()), float(x[keep].max()), proportional)


def catalogued(ra_deg: float, dec_deg: float, table: StarTable, within_arcsec: float) -> float | None:
    """The magnitude of a table's star at a place, the nearest within so much."""
    # A box first: a table may hold a hundred thousand stars.
    box = np.flatnonzero(np.abs(table.dec - dec_deg) * 3600.0 <= within_arcsec)
    if not len(box):
        return None
    apart = separations_deg(table.ra[box], table.dec[box], ra_deg, dec_deg) * 3600.0
    nearest = int(np.argmin(apart))
    return float(table.mag[box][nearest]) if apart[nearest] <= within_arcsec else None
