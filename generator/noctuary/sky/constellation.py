"""Which constellation a place on the sky belongs to, and its galactic coordinates.

Both are plain rotations and comparisons, so they are written in plain Python: a lookup costs tens of
microseconds and needs neither numpy nor astropy.
"""

from __future__ import annotations

import csv
from functools import lru_cache
from importlib import resources
from math import cos, radians, sin

from noctuary.geometry import Vector, lon_lat_deg, unit_vector
from noctuary.sky.shipped_table import read_table

Matrix = tuple[Vector, Vector, Vector]

_JULIAN_DATE_B1875 = 2405889.258550475
_JULIAN_DATE_J2000 = 2451545.0


def rotated(matrix: Matrix, v: Vector) -> Vector:
    """The vector multiplied by the matrix."""
    a, b, c = matrix
    return (
        a[0] * v[0] + a[1] * v[1] + a[2] * v[2],
        b[0] * v[0] + b[1] * v[1] + b[2] * v[2],
        c[0] * v[0] + c[1] * v[1] + c[2] * v[2],
    )


def transposed(matrix: Matrix) -> Matrix:
    """The matrix of the opposite rotation."""
    (a, b, c), (d, e, f), (g, h, i) = matrix
    return (a, d, g), (b, e, h), (c, f, i)


@lru_cache(maxsize=1)
def precession_to_b1875() -> Matrix:
    """Rotation from the mean equator and equinox of J2000 to that of B1875.

    Equatorial precession angles of IAU 2006 (Capitaine, Wallace & Chapront 2003, A&A 412, 567, eq. 40).
    The difference between ICRS and the mean equator of J2000 (0.02″) is far below the accuracy with which
    the boundaries were drawn and is left out.
    """
    t = (_JULIAN_DATE_B1875 - _JULIAN_DATE_J2000) / 36525.0
    arcsec = radians(1 / 3600)
    zeta = arcsec * (2.650545 + t * (2306.083227 + t * (0.2988499 + t * 0.01801828)))
    z = arcsec * (-2.650545 + t * (2306.077181 + t * (1.0927348 + t * 0.01826837)))
    theta = arcsec * t * (2004.191903 + t * (-0.4294934 - t * 0.04182264))
    cz, sz, ct, st, cx, sx = cos(z), sin(z), cos(theta), sin(theta), cos(zeta), sin(zeta)
    return (
        (cx * ct * cz - sx * sz, -sx * ct * cz - cx * sz, -st * cz),
        (cx * ct * sz + sx * cz, -sx * ct * sz + cx * cz, -st * sz),
        (cx * st, -sx * st, ct),
    )


@lru_cache(maxsize=1)
def roman_table() -> tuple[tuple[float, float, float, str], ...]:
    """Rows (lower and upper right ascension in hours, lower declination in degrees, constellation), B1875.

    Sorted from north to south: the first row that holds a position names its constellation. Source: Roman
    1987, PASP 99, 695 (CDS VI/42).
    """
    text = resources.files("noctuary.sky.tables").joinpath("roman_1987.csv").read_text(encoding="utf-8")
    rows = csv.reader(line for line in text.splitlines() if not line.startswith("#"))
    next(rows)
    return tuple((float(low), float(high), float(dec), name) for low, high, dec, name in rows)


def constellation_at_b1875(ra_hours: float, dec_deg: float) -> str:
    """IAU abbreviation of the constellation that holds a position of equator and equinox B1875."""
    for low, high, dec, name in roman_table():
        if dec_deg >= dec and low <= ra_hours < high:
            return name
    return "Oct"  # only the south pole itself can slip below the last row


def constellation_of(ra_deg: float, dec_deg: float) -> str:
    """IAU abbreviation ("Ori") of the constellation that holds an ICRS position in degrees.

    Boundaries of Delporte as tabulated by Roman 1987, PASP 99, 695. Raises ValueError for a declination
    outside −90…90.
    """
    if not -90.0 <= dec_deg <= 90.0:
        raise ValueError(f"declination {dec_deg} is outside −90…90")
    ra, dec = lon_lat_deg(rotated(precession_to_b1875(), unit_vector(ra_deg, dec_deg)))
    return constellation_at_b1875(ra / 15.0, dec)


@lru_cache(maxsize=1)
def equatorial_to_galactic() -> Matrix:
    """Rotation from ICRS to galactic coordinates.

    From the three angles that define them: pole at α = 192.85948°, δ = 27.12825°, ascending node of the
    galactic plane at l = 32.93192° (ESA 1997, The Hipparcos Catalogue, vol. 1, section 1.5.3).
    """
    pole_ra, pole_dec, node = radians(192.85948), radians(27.12825), radians(32.93192)
    ca, sa, cd, sd, cn, sn = cos(pole_ra), sin(pole_ra), cos(pole_dec), sin(pole_dec), cos(node), sin(node)
    return (
        (-sa * cn + ca * sd * sn, ca * cn + sa * sd * sn, -cd * sn),
        (-sa * sn - ca * sd * cn, ca * sn - sa * sd * cn, cd * cn),
        (ca * cd, sa * cd, sd),
    )


def galactic(ra_deg: float, dec_deg: float) -> tuple[float, float]:
    """Galactic longitude (0 ≤ l < 360) and latitude in degrees of an ICRS position in degrees."""
    return lon_lat_deg(rotated(equatorial_to_galactic(), unit_vector(ra_deg, dec_deg)))


@lru_cache(maxsize=1)
def constellation_rows() -> tuple[dict[str, str], ...]:
    """The 88 constellations: ``abbr``, ``name``, ``genitive`` (IAU 1922) and where a label fits, degrees."""
    return tuple(read_table("constellations.csv"))


@lru_cache(maxsize=1)
def _names() -> dict[str, str]:
    return {row["abbr"]: row["name"] for row in constellation_rows()}


def constellation_name(abbreviation: str) -> str:
    """The Latin name behind an IAU abbreviation; text that is none comes back as it is."""
    return _names().get(abbreviation, abbreviation)
