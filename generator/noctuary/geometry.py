"""Directions on a sphere: unit vectors and great-circle distances, of one pair or of arrays.

Longitude and latitude stand for right ascension and declination, azimuth and altitude, or a place on the Earth.
The functions of one direction need no numpy, so that what must start quickly can use them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

Vector = tuple[float, float, float]

#: Mean radius of the Earth (IUGG), km.
EARTH_RADIUS_KM = 6371.0


def unit_vector(lon_deg: float, lat_deg: float) -> Vector:
    """The unit vector towards a longitude and latitude in degrees."""
    lon, lat = math.radians(lon_deg), math.radians(lat_deg)
    return math.cos(lat) * math.cos(lon), math.cos(lat) * math.sin(lon), math.sin(lat)


def lon_lat_deg(direction: Sequence[float]) -> tuple[float, float]:
    """Longitude (0 ≤ lon < 360) and latitude in degrees of a vector of any length above 0."""
    x, y, z = direction
    # A hair below 0° becomes 360° itself: a float cannot tell them apart.
    lon = math.degrees(math.atan2(y, x)) % 360.0
    return lon if lon < 360.0 else 0.0, math.degrees(math.atan2(z, math.hypot(x, y)))


def separation_deg(lon1_deg: float, lat1_deg: float, lon2_deg: float, lat2_deg: float) -> float:
    """Great-circle distance in degrees (0 to 180) by the haversine formula, which keeps its digits when small.

    Vincenty's form for antipodes is not needed: near 180° the error stays below 0.000 001°.
    """
    a, b = math.radians(lat1_deg), math.radians(lat2_deg)
    half_lat, half_lon = (b - a) / 2, math.radians(lon2_deg - lon1_deg) / 2
    h = math.sin(half_lat) ** 2 + math.cos(a) * math.cos(b) * math.sin(half_lon) ** 2
    return math.degrees(2 * math.asin(math.sqrt(min(1.0, h))))


def position_angle_deg(lon1_deg: float, lat1_deg: float, lon2_deg: float, lat2_deg: float) -> float:
    """The direction (0 ≤ angle < 360) in which the great circle from the first point to the second sets out.

    Degrees from north through east; 0 where the points are one. By the four-parts formula of the sphere.
    """
    a, b, off = math.radians(lat1_deg), math.radians(lat2_deg), math.radians(lon2_deg - lon1_deg)
    east = math.sin(off) * math.cos(b)
    north = math.cos(a) * math.sin(b) - math.sin(a) * math.cos(b) * math.cos(off)
    return math.degrees(math.atan2(east, north)) % 360.0 % 360.0


def unit_vectors(lon_deg: Any, lat_deg: Any) -> Floats:
    """Unit vectors, shape (…, 3), towards longitudes and latitudes in degrees of one shape (…)."""
    import numpy as np

    lon, lat = np.radians(np.asarray(lon_deg, dtype=np.float64)), np.radians(np.asarray(lat_deg, dtype=np.float64))
    return np.stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)], axis=-1)


def lons_lats_deg(directions: Any) -> tuple[Floats, Floats]:
    """Longitudes (0 ≤ lon < 360) and latitudes in degrees, shape (…), of vectors (…, 3), none of them zero."""
    import numpy as np

    x, y, z = np.moveaxis(np.asarray(directions, dtype=np.float64), -1, 0)
    lon = np.degrees(np.arctan2(y, x)) % 360.0
    return np.where(lon < 360.0, lon, 0.0), np.degrees(np.arctan2(z, np.hypot(x, y)))


def separations_deg(lon1_deg: Any, lat1_deg: Any, lon2_deg: Any, lat2_deg: Any) -> Floats:
    """Great-circle distances in degrees of arrays that broadcast together; exact at 0° and at 180°."""
    import numpy as np

    u, v = np.broadcast_arrays(unit_vectors(lon1_deg, lat1_deg), unit_vectors(lon2_deg, lat2_deg))
    return np.asarray(np.degrees(np.arctan2(np.linalg.norm(np.cross(u, v), axis=-1), (u * v).sum(-1))))
