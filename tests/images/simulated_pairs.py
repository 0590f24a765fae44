"""Two finished pictures of one piece of sky whose limits are known: drawn linear, then stretched each in its own way.

The truth is worked out, not measured: white noise of σ a pixel and a profile p that adds up to 1 give a star of light
F the signal F·√Σp² / σ under the best weights (King 1983, PASP 95, 163), so that the limits of two pictures differ by
2.5·log10 of the ratio of √Σp² / σ.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from noctuary.images.common_sky import Plane
from noctuary.sky.placement import Placement, from_centre
from numpy.random import Generator
from numpy.typing import NDArray
from PIL import Image

Floats = NDArray[np.float64]
_POWER = 3.0  # Moffat's exponent


@dataclass(frozen=True)
class Side:
    """One picture of a pair: its pixels as a file would hold them, its placement, FWHM and how it was finished."""

    pixels: NDArray[Any]
    placement: Placement
    fwhm_arcsec: float
    finish: str

    @property
    def plane(self) -> Plane:
        return Plane(self.pixels.astype(np.float32), self.placement, self.pixels.dtype == np.uint8)


@dataclass(frozen=True)
class FieldStars:
    """Stars of a field: degrees, magnitudes, and the magnitudes of a signal of 5 in the older and newer picture."""

    ra: Floats
    dec: Floats
    mag: Floats
    limits: tuple[float, float]


@dataclass(frozen=True)
class Pair:
    older: Side
    newer: Side
    deeper_mag: float


def _linear(light: Floats) -> Floats:
    return light / 200.0


def _arcsinh(light: Floats) -> Floats:
    return np.asarray(np.arcsinh(light / 12.0) / math.asinh(2000.0 / 12.0))


def _gamma(light: Floats) -> Floats:
    return np.asarray((np.maximum(light, 0.0) / 600.0) ** (1.0 / 2.2))


FINISHES: dict[str, Callable[[Floats], Floats]] = {"linear": _linear, "arcsinh": _arcsinh, "gamma": _gamma}
"""Stretches of a light in units of the noise, the sky at about 10, to 0…1."""


def pair(
    rng: Generator,
    deeper_mag: float,
    finishes: tuple[str, str],
    stars: int = 1500,
    jpeg: tuple[bool, bool] = (False, False),
    changed: Callable[[FieldStars], tuple[FieldStars, FieldStars]] = lambda field: (field, field),
    placed_as: Callable[[Placement], Placement] = lambda placement: placement,
) -> Pair:
    """A pair of which the newer is deeper by so much (shallower where that is below 0).

    ``changed`` makes of the stars of the field those of the older and of the newer picture; ``placed_as`` of the
    true placements what a solution says.
    """
    ra, dec, slope = rng.uniform(0, 360), rng.uniform(-60, 75), rng.uniform(0.25, 0.45)
    scales = rng.uniform(1.2, 2.6), rng.uniform(1.2, 2.6)
    fwhms = [max(rng.uniform(2.5, 5.0), 1.9 * scale) for scale in scales]
    sizes = [(int(rng.uniform(1500, 2100) / scale), int(rng.uniform(1100, 1500) / scale)) for scale in scales]
    centres = [
        (ra + rng.uniform(-0.05, 0.05) / math.cos(math.radians(dec)), dec + rng.uniform(-0.05, 0.05)) for _ in scales
    ]
    placements = [
        from_centre(*centre, scale, rng.uniform(0, 360), bool(rng.random() < 0.5), *size)
        for centre, scale, size in zip(centres, scales, sizes, strict=True)
    ]
    # Magnitudes from the limit of the shallower picture (0) upwards; counts grow by ``slope`` dex a magnitude.
    deepest = abs(deeper_mag) + 1.5
    number = int(stars * 10 ** (slope * deepest))
    number = min(number, 20_000)
    mag = deepest + np.log10(rng.random(number)) / slope
    spread = 0.38
    star_ra = ra + rng.uniform(-spread, spread, number) / math.cos(math.radians(dec))
    star_dec = dec + rng.uniform(-spread, spread, number)
    limits = (0.0, deeper_mag) if deeper_mag >= 0 else (-deeper_mag, 0.0)
    shown = changed(FieldStars(star_ra, star_dec, mag, limits))
    sides = []
    for placement, fwhm, limit, finish, small, field in zip(
        placements, fwhms, limits, finishes, jpeg, shown, strict=True
    ):
        light = drawn_light(rng, placement, fwhm, limit, field.ra, field.dec, field.mag)
        sides.append(Side(finished(rng, light, finish, small), placed_as(placement), fwhm, finish))
    return Pair(sides[0], sides[1], deeper_mag)


def random_pair(
    rng: Generator,
    changed: Callable[[FieldStars], tuple[FieldStars, FieldStars]] = lambda field: (field, field),
    placed_as: Callable[[Placement], Placement] = lambda placement: placement,
) -> Pair:
    """Limits 0.3–2.5 mag apart, any finish on either side, half of the stretched pictures as JPEG."""
    deeper = float(rng.uniform(0.3, 2.5) * rng.choice([-1, 1]))
    finishes = str(rng.choice(list(FINISHES))), str(rng.choice(list(FINISHES)))
    jpeg = [bool(rng.random() < 0.5) and finish != "linear" for finish in finishes]
    return pair(rng, deeper, finishes, int(rng.choice([1500, 4000])), (jpeg[0], jpeg[1]), changed, placed_as)


def drawn_light(
    rng: Generator, placement: Placement, fwhm_arcsec: float, limit: float, ra: Floats, dec: Floats, mag: Floats
) -> Floats:
    """Light in units of the noise of a pixel, the sky at 10, where a star of ``limit`` has a signal of 5."""
    fwhm = fwhm_arcsec / placement.image_scale_arcsec_px
    width, height = placement.width_px, placement.height_px
    reach = math.ceil(6 * fwhm)
    steps = np.arange(-reach, reach + 1)
    middle = np.zeros(1)
    brightest = 5.0 / math.sqrt(float((_profiles(middle, middle, steps, fwhm) ** 2).sum()))
    x, y = placement.pixel(ra, dec)
    inside = np.flatnonzero((x > 0) & (y > 0) & (x < width - 1) & (y < height - 1))
    light = np.full((height + 2 * reach, width + 2 * reach), 10.0)
    for some in np.array_split(inside, 1 + len(inside) // 50):
        column, row = np.rint(x[some]).astype(int), np.rint(y[some]).astype(int)
        stars = _profiles(x[some] - column, y[some] - row, steps, fwhm)
        stars *= brightest * 10 ** (-0.4 * (mag[some, None, None] - limit))
        for across, down, star in zip(column, row, stars, strict=True):
            light[down : down + 2 * reach + 1, across : across + 2 * reach + 1] += star
    light = light[reach:-reach, reach:-reach]
    down, right = np.mgrid[0:height, 0:width]
    for _ in range(3):
        far = ((right - rng.uniform(0, width)) ** 2 + (down - rng.uniform(0, height)) ** 2) / (0.3 * width) ** 2
        light += rng.uniform(0, 3) * np.exp(-far)
    return np.asarray(rng.normal(light, np.sqrt(1.0 + np.maximum(light - 16.0, 0) / 50.0)))


def finished(rng: Generator, light: Floats, finish: str, jpeg: bool) -> NDArray[Any]:
    """The light stretched and stored: 16 bits where linear, else 8, as JPEG of quality 80 where asked."""
    share = np.clip(FINISHES[finish](light), 0, 1)
    if finish == "linear" and not jpeg:
        return np.rint(share * 65535).astype(np.uint16)
    eight = np.rint(share * 255).astype(np.uint8)
    if not jpeg:
        return eight
    stream = io.BytesIO()
    Image.fromarray(eight).save(stream, "JPEG", quality=80)
    return np.asarray(Image.open(stream))


def _profiles(dx: Floats, dy: Floats, steps: NDArray[np.intp], fwhm: float) -> Floats:
    """Profiles (n, k, k) of stars off the middle by ``dx`` and ``dy``, in pixels; the light of each adds up to 1."""
    across, down = (steps - dx[:, None]) ** 2, (steps - dy[:, None]) ** 2
    fall = 1.0 + (2.0 ** (1.0 / _POWER) - 1.0) * 4.0 / fwhm**2 * (across[:, None, :] + down[:, :, None])
    # The whole of the light of a Moffat profile: π α² / (β − 1).
    alpha = fwhm / 2.0 / math.sqrt(2.0 ** (1.0 / _POWER) - 1.0)
    return np.asarray((_POWER - 1.0) / (math.pi * alpha**2) * fall**-_POWER)
