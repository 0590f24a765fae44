"""Gnomonic planes: between sky and plane, and the pixels of a picture."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray


def to_plane(
    ra: NDArray[np.float64], dec: NDArray[np.float64], ra0: float, dec0: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Gnomonic plane about a centre: east and north in radians, and whether in front of it."""
    a, d, a0, d0 = np.radians(ra), np.radians(dec), math.radians(ra0), math.radians(dec0)
    cos = math.sin(d0) * np.sin(d) + math.cos(d0) * np.cos(d) * np.cos(a - a0)
    front = cos > 0.1
    cos = np.where(front, cos, 1.0)
    east = np.cos(d) * np.sin(a - a0) / cos
    north = (math.cos(d0) * np.sin(d) - math.sin(d0) * np.cos(d) * np.cos(a - a0)) / cos
    return east, north, front


def from_plane(
    east: NDArray[np.float64], north: NDArray[np.float64], ra0: float, dec0: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    d0 = math.radians(dec0)
    below = math.cos(d0) - north * math.sin(d0)
    ra = math.radians(ra0) + np.arctan2(east, below)
    dec = np.arctan2(math.sin(d0) + north * math.cos(d0), np.hypot(east, below))
    return np.degrees(ra) % 360, np.degrees(dec)


@dataclass(frozen=True)
class Frame:
    """A picture's pixels on the sky; the scale in arcseconds, the angle of up from north through east."""

    width: int
    height: int
    ra: float
    dec: float
    scale: float
    angle: float

    def pixels(self, ra: NDArray[np.float64], dec: NDArray[np.float64]) -> tuple[Any, Any, Any]:
        east, north, front = to_plane(ra, dec, self.ra, self.dec)
        t, step = math.radians(self.angle), math.radians(self.scale / 3600)
        up = (north * math.cos(t) + east * math.sin(t)) / step
        right = (north * math.sin(t) - east * math.cos(t)) / step
        return (self.width - 1) / 2 + right, (self.height - 1) / 2 - up, front

    def sky(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        t, step = math.radians(self.angle), math.radians(self.scale / 3600)
        right = (np.arange(self.width) - (self.width - 1) / 2)[None, :] * step
        up = -(np.arange(self.height) - (self.height - 1) / 2)[:, None] * step
        return from_plane(
            up * math.sin(t) - right * math.cos(t), up * math.cos(t) + right * math.sin(t), self.ra, self.dec
        )
