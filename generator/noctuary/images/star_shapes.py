"""What the shapes of the stars say: width, elongation and its direction in nine zones, and their pattern.

Every star is fitted with an elliptical Moffat profile (Moffat 1969, A&A 3, 455), averaged over each pixel, with its
own centre, brightness and background. So the pixels' own width and the noise do not make round stars long: second
moments alone do both. The exponent is one for the whole picture, the one that leaves the least behind.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noctuary.images.linearity import Linearity, linearity_of
from noctuary.images.star_patterns import MEANINGS, Pattern, pattern_of
from noctuary.images.star_zone import Zone
from noctuary.images.stars import Sky, Stars, detect, without_background

Floats = NDArray[np.float64]

FEWEST_IN_ZONE = 5
MOST_IN_ZONE = 120
UNEVEN_FROM = 0.18
"""Scatter of the widths in a zone, as a share, from which its spots are no stars: galaxies, clumps of nebulosity."""

_EXPONENTS = (1.8, 2.1, 2.5, 3.0, 3.7, 4.8, 7.0, 12.0, 100.0)  # the last is a Gaussian but for a hair
_STEPS = 12
_SETTLED = 1e-7  # of what the fit leaves behind: a star whose step changes it by less has come to rest
_GAUSS = 0.5 / math.sqrt(3.0)  # the two points of Gauss' rule in a pixel
_AT_ONCE = 1 << 14  # pixels of stars that are fitted at once


@dataclass(frozen=True, slots=True)
class ShapeReport:
    """Nine zones, row by row from the top left, and what they say together.

    ``width_px`` and ``elongation`` are medians over the zones that have them. ``centre`` is the point that stars
    along arcs turn about, in shares of width and height from the top left; it may lie outside. Where the picture is
    stretched (see ``linearity``), widths are those of stars of the middle brightness.
    """

    zones: tuple[Zone, ...]
    pattern: Pattern
    centre: tuple[float, float] | None
    linearity: Linearity
    width_px: float | None
    width_arcsec: float | None
    elongation: float | None
    count: int

    @property
    def meaning(self) -> str:
        return MEANINGS[self.pattern][0]

    @property
    def advice(self) -> str:
        return MEANINGS[self.pattern][1]

    def zone(self, row: int, column: int) -> Zone:
        """The zone in a row from the top and a column from the left, 0 to 2."""
        return self.zones[3 * row + column]


def measure(luminance: NDArray[Any], scale_arcsec: float | None = None, *, eight_bits: bool = False) -> ShapeReport:
    """Star shapes of a picture of one channel, shape (height, width), in any units.

    ``scale_arcsec`` is the size of a pixel on the sky, ``eight_bits`` whether the file has no more bits. Raises
    ValueError for less than 16 × 16 pixels.
    """
    sky = without_background(luminance)
    stars = detect(luminance, sigmas=8.0, sky=sky)
    height, width = sky.above.shape
    chosen, reach = _clean(stars, sky, width, height)
    fits = _Fits.of(sky, chosen, reach)
    number = np.clip(fits.y * 3 // height, 0, 2) * 3 + np.clip(fits.x * 3 // width, 0, 2)
    linearity = linearity_of(fits.width, fits.height, fits.x, fits.y, luminance, eight_bits=eight_bits)
    if linearity.linear is False and len(fits.height):
        # A stretch widens stars by their brightness, and zones have stars of different brightness.
        usual = fits.height / np.median(fits.height)
        fits = replace(fits, width=fits.width * usual ** (-linearity.growth / math.log(10.0)))
    zones = [_zone(*divmod(zone, 3), fits, number == zone, scale_arcsec) for zone in range(9)]
    found = pattern_of(zones, width, height, scale_arcsec, linear=linearity.linear is True)
    measured = [zone for zone in zones if zone.width_px is not None]
    typical = float(np.median([zone.width_px for zone in measured])) if measured else None
    long = float(np.median([zone.elongation for zone in measured])) if measured else None
    return ShapeReport(
        zones=tuple(zones),
        pattern=found.pattern,
        centre=found.centre,
        linearity=linearity,
        width_px=typical,
        width_arcsec=typical * scale_arcsec if typical is not None and scale_arcsec is not None else None,
        elongation=long,
        count=sum(zone.count for zone in zones),
    )


def _clean(stars: Stars, sky: Sky, width: int, height: int) -> tuple[Stars, int]:
    """Bright stars with no neighbour, away from the edge, at most so many a zone, and how far their light reaches."""
    if not len(stars):
        return stars, 6
    stars = stars.brightest(8000)
    whole = ~stars.saturated & (stars.peak > 12.0 * sky.noise)
    if not whole.any():
        return stars.only(whole), 6
    reach = int(np.clip(math.ceil(4.6 * float(np.median(stars.spread[whole][:500]))), 5, 30))
    inside = (
        (stars.x > reach + 1) & (stars.y > reach + 1)
        & (stars.x < width - reach - 2) & (stars.y < height - reach - 2)
    )  # fmt: skip
    zone = np.clip(stars.y * 3 // height, 0, 2) * 3 + np.clip(stars.x * 3 // width, 0, 2)
    picked: list[int] = []
    for number in range(9):
        taken = 0
        for index in np.flatnonzero(whole & inside & (zone == number)):
            apart = np.hypot(stars.x - stars.x[index], stars.y - stars.y[index])
            # A neighbour disturbs what it lights up, the more the brighter it is.
            disturbed = (apart < 1.5 * reach) & (stars.flux > 0.03 * stars.flux[index])
            if disturbed.sum() == 1:
                picked.append(int(index))
                taken += 1
                if taken == MOST_IN_ZONE:
                    break
    return stars.only(np.array(sorted(picked), dtype=np.intp)), reach


@dataclass(frozen=True)
class _Fits:
    """Fitted stars: places, heights, full widths at half maximum, ellipticity along and across (x right, y down)."""

    x: Floats
    y: Floats
    height: Floats
    width: Floats
    along: Floats
    slanted: Floats

    @classmethod
    def of(cls, sky: Sky, stars: Stars, reach: int) -> _Fits:
        if not len(stars):
            empty = np.empty(0)
            return cls(*(empty,) * 6)
        column, row = np.rint(stars.x).astype(int), np.rint(stars.y).astype(int)
        steps = np.arange(-reach, reach + 1)
        stamps = sky.above[row[:, None, None] + steps[:, None], column[:, None, None] + steps[None, :]]
        light: Floats = stamps.reshape(len(stars), -1).astype(np.float64)
        middle: Floats = np.stack([stars.x - column, stars.y - row], axis=1).astype(np.float64)
        # The middle of a star counts most: half its height is wanted, and neighbours stand in the outskirts.
        usual = 2.355 * float(np.median(stars.spread))
        weight = np.exp(-0.25 * (steps[:, None] ** 2 + steps**2) / max(usual, 1.5) ** 2)
        some = np.linspace(0, len(stars) - 1, min(len(stars), 80)).astype(int)
        left = [
            float(np.median(_fitted(light[some], weight, middle[some], stars.spread[some], power)[1]))
            for power in _EXPONENTS
        ]
        power = _EXPONENTS[int(np.argmin(left))]
        numbers, _, good = _fitted(light, weight, middle, stars.spread, power)
        a, b, c = numbers[:, 4], numbers[:, 5], numbers[:, 6]
        root = np.sqrt(np.maximum(a * c - b * b, 1e-12))
        full = 2.0 * np.sqrt((2.0 ** (1.0 / power) - 1.0) / root)
        good &= np.isfinite(full) & (full < 2.0 * reach) & (full > 0.5)
        # The inverse matrix has the axes: its trace and differences with the sign turned round.
        trace = np.where(a + c > 0, a + c, 1.0)
        along, slanted = (c - a) / trace, -2.0 * b / trace
        return cls(stars.x[good], stars.y[good], numbers[good, 0], full[good], along[good], slanted[good])


def _fitted(
    stamps: Floats, weight: Floats, middle: Floats, spread: Floats, power: float
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """All stars at once by Levenberg and Marquardt's damped least squares; one that has settled is let go.

    ``stamps`` are squares (n, pixels) of the shape of ``weight``. Returns the numbers (n, 7): height, background, x,
    y and the form a, b, c of (1 + a·x² + 2b·x·y + c·y²)^−power; what each fit leaves behind, relative to the star's
    height; and which came out sound.
    """
    count = len(stamps)
    start = (2.0 ** (1.0 / power) - 1.0) / np.maximum(1.1774 * np.clip(spread, 0.6, None), 0.5) ** 2
    numbers = np.stack(
        [stamps.max(axis=1), np.zeros(count), middle[:, 0], middle[:, 1], start, np.zeros(count), start], axis=1
    )
    stamps = stamps * weight.ravel()
    value, slopes = _profile(numbers, weight, power)
    rest = stamps - value
    cost = (rest**2).sum(axis=1)
    going, damping = np.arange(count), np.full(count, 1e-2)
    for _ in range(_STEPS):
        normal = slopes @ slopes.transpose(0, 2, 1)
        towards = slopes @ rest[:, :, None]
        diagonal = np.einsum("nkk->nk", normal)
        normal[:, range(7), range(7)] = diagonal * (1.0 + damping[:, None]) + 1e-12 * diagonal.max(axis=1)[:, None]
        trial = numbers[going] + np.linalg.solve(normal, towards)[:, :, 0]
        sound = (trial[:, 4] > 1e-5) & (trial[:, 6] > 1e-5) & (trial[:, 4] * trial[:, 6] > 1.001 * trial[:, 5] ** 2)
        sound &= np.isfinite(trial).all(axis=1) & (np.abs(trial[:, 2:4] - middle[going]) < 3.0).all(axis=1)
        trial[~sound] = numbers[going[~sound]]
        new_value, new_slopes = _profile(trial, weight, power)
        new_rest = stamps[going] - new_value
        old_cost, new_cost = cost[going], (new_rest**2).sum(axis=1)
        better = sound & (new_cost <= old_cost)
        numbers[going[better]], cost[going[better]] = trial[better], new_cost[better]
        rest[better], slopes[better] = new_rest[better], new_slopes[better]
        damping = np.where(better, damping * 0.2, damping * 8.0)
        on = ~sound | (np.abs(old_cost - new_cost) > _SETTLED * old_cost)
        if not on.any():
            break
        if not on.all():
            going, damping, rest, slopes = going[on], damping[on], rest[on], slopes[on]
    left = np.sqrt(cost / stamps.shape[1]) / np.maximum(numbers[:, 0], 1e-30)
    good = np.isfinite(left) & (numbers[:, 0] > 0) & (left < 5.0 * np.median(left))
    return numbers, left, good


def _profile(numbers: Floats, weight: Floats, power: float) -> tuple[Floats, Floats]:
    """The profile averaged over every pixel, (n, pixels), and its slopes by the seven numbers, (n, 7, pixels).

    Both times the weight of the pixel, a square with the star's pixel in its middle.
    """
    value, slopes = np.empty((len(numbers), weight.size)), np.empty((len(numbers), 7, weight.size))
    # As many stars at once as a processor's near memory holds: with all of them it would wait for the far one.
    stars = max(1, _AT_ONCE // weight.size)
    for start in range(0, len(numbers), stars):
        some = slice(start, start + stars)
        _profile_of_some(
            numbers[some], weight, power,
            value[some].reshape(-1, *weight.shape), slopes[some].reshape(-1, 7, *weight.shape),
        )  # fmt: skip
    return value, slopes


def _profile_of_some(numbers: Floats, weight: Floats, power: float, value: Floats, slopes: Floats) -> None:
    """The same, written into ``value`` (n, rows, columns) and ``slopes`` (n, 7, rows, columns)."""
    height, ground, x, y, a, b, c = (numbers[:, k, None, None] for k in range(7))
    steps = np.arange(len(weight)) - len(weight) // 2
    mean = np.zeros_like(value)
    # Sums of how steeply the profile falls, times 1, dx, dy, dx², dx·dy and dy².
    by_dx, by_dy, by_dx_dx, by_dx_dy, by_dy_dy = (np.zeros_like(value) for _ in range(5))
    for shift_x in (-_GAUSS, _GAUSS):
        dx = steps + shift_x - x
        steepness, down = np.zeros_like(value), np.zeros_like(value)
        for shift_y in (-_GAUSS, _GAUSS):
            dy = steps[:, None] + shift_y - y
            base = 2.0 * b * dx * dy
            base += 1.0 + a * dx * dx
            base += c * dy * dy
            np.maximum(base, 1e-6, out=base)
            shape = base**-power
            mean += shape
            shape /= base
            steepness += shape
            shape *= dy
            down += shape
            shape *= dy
            by_dy_dy += shape
        by_dy += down
        down *= dx
        by_dx_dy += down
        steepness *= dx
        by_dx += steepness
        steepness *= dx
        by_dx_dx += steepness
    mean *= weight / 4.0
    factor = -power * height / 4.0 * weight
    value[:] = height * mean + ground * weight
    slopes[:, 0] = mean
    slopes[:, 1] = weight
    slopes[:, 2] = -2.0 * factor * (a * by_dx + b * by_dy)
    slopes[:, 3] = -2.0 * factor * (b * by_dx + c * by_dy)
    slopes[:, 4] = factor * by_dx_dx
    slopes[:, 5] = 2.0 * factor * by_dx_dy
    slopes[:, 6] = factor * by_dy_dy


def _zone(row: int, column: int, fits: _Fits, inside: NDArray[np.bool_], scale: float | None) -> Zone:
    width, along, slanted = fits.width[inside], fits.along[inside], fits.slanted[inside]
    # Two rounds without the strays: close pairs and specks of nebula that passed for stars.
    for _ in range(2):
        if len(width) < FEWEST_IN_ZONE:
            break
        kept = np.abs(width - np.median(width)) <= 4.0 * max(_deviation(width), 0.01)
        for part in (along, slanted):
            kept &= np.abs(part - np.median(part)) <= 4.0 * max(_deviation(part), 0.01)
        width, along, slanted = width[kept], along[kept], slanted[kept]
    count = len(width)
    if count >= FEWEST_IN_ZONE and _deviation(width) > UNEVEN_FROM * float(np.median(width)):
        count = 0
    if count < FEWEST_IN_ZONE:
        return Zone(row, column, count, None, None, None, None, None, None, None, None)
    # The mean of the components, not of the elongations: noise makes every single star long, but in any direction.
    mean_along, mean_slanted = float(np.mean(along)), float(np.mean(slanted))
    size = min(math.hypot(mean_along, mean_slanted), 0.98)
    elongation = math.sqrt((1.0 + size) / (1.0 - size))
    turned = math.atan2(mean_slanted, mean_along)
    aligned = along * math.cos(turned) + slanted * math.sin(turned)
    across = slanted * math.cos(turned) - along * math.sin(turned)
    # d(elongation) = elongation · d(e) / (1 − e²)
    elongation_scatter = elongation * _deviation(aligned) / (1.0 - size * size)
    direction_scatter = min(math.degrees(0.5 * math.atan2(_deviation(across), max(size, 1e-9))), 52.0)
    middle, scatter = float(np.median(width)), _deviation(width)
    return Zone(
        row,
        column,
        count,
        middle,
        scatter,
        middle * scale if scale is not None else None,
        scatter * scale if scale is not None else None,
        elongation,
        elongation_scatter,
        # The picture's y runs down, and people's angles the other way.
        math.degrees(-0.5 * turned) % 180.0,
        direction_scatter,
    )


def _deviation(values: Floats) -> float:
    return float(1.4826 * np.median(np.abs(values - np.median(values)))) if len(values) else 0.0
