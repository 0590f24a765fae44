"""The sky projected for a chart: the whole of it, or a field around a point. East is left, north is up."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import pairwise

from noctuary.geometry import lon_lat_deg, separation_deg, unit_vector

Point = tuple[float, float]


def hammer(ra_deg: float, dec_deg: float, centre_ra_deg: float = 0.0) -> Point:
    """Hammer's equal-area map of the whole sky: x −2…2 (east, larger right ascension, is negative), y −1…1 up.

    Hammer 1892, in the form of Calabretta & Greisen 2002, A&A 395, 1077 (AIT), scaled by 1/√2.
    """
    longitude = math.radians((ra_deg - centre_ra_deg + 180) % 360 - 180)
    latitude = math.radians(dec_deg)
    under = math.sqrt(1 + math.cos(latitude) * math.cos(longitude / 2))
    return -2 * math.cos(latitude) * math.sin(longitude / 2) / under, math.sin(latitude) / under


def around(ra_deg: float, dec_deg: float, centre: Point) -> Point | None:
    """Zenithal equidistant map around a centre (ICRS degrees): x degrees to the west, y degrees to the north.

    Distances from the centre are true. ``None`` for the point opposite, which has no place (Calabretta &
    Greisen 2002, ARC).
    """
    ra0, dec0 = map(math.radians, centre)
    ra, dec = math.radians(ra_deg), math.radians(dec_deg)
    east = math.cos(dec) * math.sin(ra - ra0)
    north = math.sin(dec) * math.cos(dec0) - math.cos(dec) * math.sin(dec0) * math.cos(ra - ra0)
    towards = math.sin(dec) * math.sin(dec0) + math.cos(dec) * math.cos(dec0) * math.cos(ra - ra0)
    off = math.hypot(east, north)
    if off < 1e-12:
        return (0.0, 0.0) if towards > 0 else None
    distance = math.degrees(math.atan2(off, towards))
    return -distance * east / off, distance * north / off


def great_circle(points: Sequence[Point], step_deg: float = 2.0) -> list[Point]:
    """A line through points (ICRS degrees) along great circles, with no gap above ``step_deg``."""
    vertices = [points[0]] if points else []
    for start, end in pairwise(points):
        a, b = unit_vector(*start), unit_vector(*end)
        angle = math.radians(separation_deg(*start, *end))
        parts = max(1, math.ceil(math.degrees(angle) / step_deg))
        for part in range(1, parts):
            wa, wb = math.sin(angle * (1 - part / parts)), math.sin(angle * part / parts)
            vertices.append(lon_lat_deg([x * wa + y * wb for x, y in zip(a, b, strict=True)]))
        vertices.append(end)
    return vertices


@lru_cache
def ecliptic(step_deg: float = 2.0) -> tuple[Point, ...]:
    """The ecliptic of J2000.0, ICRS degrees; obliquity 23.4393° (IAU 2006: 84381.406″)."""
    tilt = math.radians(84381.406 / 3600)
    circle = []
    for longitude in _steps(step_deg):
        x, y = math.cos(longitude), math.sin(longitude)
        circle.append(lon_lat_deg([x, y * math.cos(tilt), y * math.sin(tilt)]))
    return tuple(circle)


@lru_cache
def galactic_plane(step_deg: float = 2.0) -> tuple[Point, ...]:
    """The galactic equator, ICRS degrees: the great circle around the north galactic pole at 192.85948°, +27.12825°
    (ESA 1997, The Hipparcos and Tycho Catalogues, vol. 1, 1.5.3)."""
    pole = unit_vector(192.85948, 27.12825)
    u = [-pole[1], pole[0], 0.0]
    length = math.hypot(*u)
    u = [c / length for c in u]
    v = [
        pole[1] * u[2] - pole[2] * u[1],
        pole[2] * u[0] - pole[0] * u[2],
        pole[0] * u[1] - pole[1] * u[0],
    ]
    turns = [(math.cos(a), math.sin(a)) for a in _steps(step_deg)]
    return tuple(lon_lat_deg([c * p + s * q for p, q in zip(u, v, strict=True)]) for c, s in turns)


def unbroken(points: Iterable[Point], gap: float) -> list[list[Point]]:
    """A line on a map cut wherever it jumps further than ``gap``, as it does at the edge of the sky."""
    lines: list[list[Point]] = []
    for point in points:
        if lines and math.dist(lines[-1][-1], point) <= gap:
            lines[-1].append(point)
        else:
            lines.append([point])
    return [line for line in lines if len(line) > 1]


def _steps(step_deg: float) -> list[float]:
    count = math.ceil(360 / step_deg)
    return [2 * math.pi * i / count for i in range(count + 1)]


