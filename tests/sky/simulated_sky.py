"""Star lists and pictures of known placement, drawn with astropy's WCS (FITS WCS standard), not with our own."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from astropy.wcs import WCS
from noctuary.sky import star_table
from noctuary.sky.star_table import StarTable
from numpy.random import Generator
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Field:
    """A picture that could have been taken: its truth, and the stars that stand in it."""

    ra: float
    dec: float
    scale: float
    angle: float
    mirrored: bool
    width: int
    height: int
    x: Floats
    y: Floats
    mag: Floats

    @property
    def diagonal_deg(self) -> float:
        return 2 * math.degrees(math.atan(math.hypot(self.width, self.height) / 2 * math.radians(self.scale / 3600)))


def header(ra: float, dec: float, scale: float, angle: float, mirrored: bool, width: int, height: int) -> WCS:
    """A TAN header whose pixel axes are x right and y down, zero-based with origin 0."""
    turn = math.radians(angle)
    # Up points to (east, north) = (sin, cos) of the angle; right is a quarter turn clockwise of it unless mirrored.
    up = np.array([math.sin(turn), math.cos(turn)])
    right = np.array([-math.cos(turn), math.sin(turn)]) * (-1 if mirrored else 1)
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crval = [ra, dec]
    wcs.wcs.crpix = [(width - 1) / 2 + 1, (height - 1) / 2 + 1]
    wcs.wcs.cd = np.stack([right, -up], axis=1) * scale / 3600
    return wcs


def random_place(rng: Generator) -> tuple[float, float]:
    return float(rng.uniform(0, 360)), float(np.degrees(np.arcsin(rng.uniform(-1, 1))))


def field(
    rng: Generator,
    scale: float,
    width: int,
    height: int,
    *,
    place: tuple[float, float] | None = None,
    distortion: float = 0.0,
    table: StarTable | None = None,
) -> Field:
    ra, dec = place or random_place(rng)
    angle, mirrored = float(rng.uniform(0, 360)), bool(rng.random() < 0.5)
    half = math.degrees(math.atan(math.hypot(width, height) / 2 * math.radians(scale / 3600)))
    stars = table if table is not None else star_table.shipped(ra, dec, half * 1.1 + 0.1, 2016.0)
    x, y = header(ra, dec, scale, angle, mirrored, width, height).all_world2pix(stars.ra, stars.dec, 0)
    x, y = x - (width - 1) / 2, y - (height - 1) / 2
    bend = 1 + distortion * (x**2 + y**2) / (math.hypot(width, height) / 2) ** 2
    x, y = x * bend + (width - 1) / 2, y * bend + (height - 1) / 2
    inside = (x > 2) & (x < width - 3) & (y > 2) & (y < height - 3)
    return Field(ra, dec, scale, angle, mirrored, width, height, x[inside], y[inside], stars.mag[inside])


def observed(
    rng: Generator, stars: Field, *, jitter_px: float = 0.3, false_share: float = 0.1, lost_share: float = 0.05,
    magnitude_scatter: float = 0.4, fainter: float = 0.6,
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """A star list as a detection would give it: shuffled brightness, false stars, lost ones, stars beyond the table.

    ``fainter`` is how many magnitudes deeper than the table the picture goes (counts double in 0.6 mag or so).
    """
    kept = rng.random(len(stars.x)) >= lost_share
    x, y = stars.x[kept] + rng.normal(0, jitter_px, kept.sum()), stars.y[kept] + rng.normal(0, jitter_px, kept.sum())
    mag = stars.mag[kept] + rng.normal(0, magnitude_scatter, kept.sum())
    beyond = int(len(x) * (10 ** (0.5 * fainter) - 1))
    wrong = int(false_share * len(x)) + beyond
    # False stars are as bright as the others are.
    faintest = float(np.quantile(stars.mag, 0.95)) if len(stars.mag) else star_table.FAINTEST
    false_mag = np.concatenate([rng.choice(stars.mag, wrong - beyond), faintest + fainter * rng.random(beyond)])
    x = np.concatenate([x, rng.uniform(0, stars.width, wrong)])
    y = np.concatenate([y, rng.uniform(0, stars.height, wrong)])
    return x, y, 10 ** (-0.4 * np.concatenate([mag, false_mag]))
