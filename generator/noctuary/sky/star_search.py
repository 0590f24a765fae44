"""The search for a picture's placement: at which scales, around which position, and among which stars.

The scale that the record states comes first; then every scale from a quarter to four times that, in bands, because
finished pictures are reduced, cropped and taken with reducers that nobody wrote down. Without a stated scale the
bands cover fields from 0.3° to 60°. Around a known position this takes a fraction of a second. Without one the whole
sky is searched, for fields from 3° upwards, with the shipped index of patterns (``pattern_index``).

**Chance.** Every pair of patterns that was compared, at any scale and anywhere, counts as a try: a placement is
accepted where so many tries on wrong skies would give one as good in less than one picture of a million (``solve``).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from numpy.typing import ArrayLike

from noctuary.geometry import lon_lat_deg
from noctuary.sky.pattern_index import NARROWEST_DEG, WIDER, index_step, reach_of_field, step_for
from noctuary.sky.placement_fit import fitted_placement
from noctuary.sky.solve import (
    GREATEST_CHANCE,
    Refusal,
    Solution,
    as_solution,
    brightest_singles,
    frame_of_stars,
    solve,
)
from noctuary.sky.solve_frame import evenly_bright
from noctuary.sky.star_patterns import matches_everywhere
from noctuary.sky.star_table import StarTable

Seen = tuple[ArrayLike, ArrayLike, ArrayLike]
StarsNear = Callable[[float, float, float], StarTable]
"""Catalogue stars within a radius of a position, all in degrees."""

STATED_TOLERANCE = 0.05
_BAND = 0.18  # half the width of a band in ln(scale)
_FARTHEST = math.log(4.0)
MARGIN_DEG = 0.5
"""How far outside the picture its target may lie."""
_FIELDS_DEG = 0.3, 60.0


@dataclass(frozen=True, slots=True)
class _Depth:
    """Which of the picture's stars are compared on the whole sky, and with which.

    Those with fewer than so many ``brighter`` ones about them, each with so many ``neighbours``, are compared with
    the stars that fields of so many steps ``finer`` would show.
    """

    brighter: int
    neighbours: int
    finer: int


_COARSE, _FINE = _Depth(8, 12, 0), _Depth(6, 10, 2)


@dataclass(frozen=True, slots=True)
class ScaleBand:
    """Arcseconds a pixel in the middle of a band, and by which share the true scale may be above or below."""

    arcsec: float
    tolerance: float


@dataclass(frozen=True, slots=True)
class Outcome:
    """The solution or the most telling refusal, and how many patterns were compared."""

    found: Solution | Refusal
    tried: int


def scale_bands(stated_arcsec: float | None, diagonal_px: float) -> list[ScaleBand]:
    """Scales to try, the likeliest first: what the record says, then others ever further from it."""
    if stated_arcsec is not None:
        steps = math.ceil((_FARTHEST - _BAND) / (2.0 * _BAND))
        offsets = [0.0] + [side * 2.0 * _BAND * step for step in range(1, steps + 1) for side in (1, -1)]
        whole = ScaleBand(stated_arcsec, STATED_TOLERANCE)
        return [whole, *(ScaleBand(stated_arcsec * math.exp(off), math.expm1(_BAND)) for off in offsets)]
    bands = []
    narrowest, widest = (2.0 * math.tan(math.radians(field) / 2.0) / diagonal_px for field in _FIELDS_DEG)
    scale = narrowest * math.exp(_BAND)
    while scale < widest * math.exp(_BAND):
        bands.append(ScaleBand(math.degrees(scale) * 3600.0, math.expm1(_BAND)))
        scale *= math.exp(2.0 * _BAND)
    # Most cameras see between 1° and 10°.
    return sorted(bands, key=lambda band: abs(math.log(band.arcsec * diagonal_px / 3600.0 / 3.0)))


def search_near(
    lists: Iterable[Seen],
    width: int,
    height: int,
    bands: Sequence[ScaleBand],
    centre: tuple[float, float],
    stars_near: StarsNear,
    tried: int = 0,
) -> Outcome:
    """The placement of a picture that shows a known position or has it less than half a degree outside.

    ``lists`` are star lists of the picture, as ``solve`` takes them, the most trustworthy first; each is tried at
    every scale before the next is made.
    """
    refusals: list[Refusal] = []
    for stars in lists:
        for band in bands:
            half = half_diagonal_deg(width, height, band.arcsec * (1.0 + band.tolerance))
            radius = half + MARGIN_DEG
            table = stars_near(*centre, min(radius + 1.05 * half, 90.0))
            found = solve(stars, width, height, band.arcsec, centre, radius, table, band.tolerance, tried)
            if isinstance(found, Solution):
                return Outcome(found, found.tried)
            tried = max(tried, found.tried)
            refusals.append(found)
    # How many stars the table has is told for the likeliest scale, whichever refusal says most.
    of_first = next((refusal.expected_stars for refusal in refusals if refusal.expected_stars is not None), None)
    return Outcome(replace(likeliest(refusals), expected_stars=of_first), tried)


def search_everywhere(
    lists: Iterable[Seen], width: int, height: int, bands: Sequence[ScaleBand], stars_near: StarsNear, tried: int = 0
) -> Outcome:
    """The placement of a picture of 3° and more that may show any part of the sky.

    ``lists`` as for :func:`search_near`; lists with many spots that are no stars do little harm here.
    """
    refusals = []
    for stars, depth in _lists_by_depth(lists):
        frame = frame_of_stars(stars, width, height, 1.0, 0.0)
        if isinstance(frame, Refusal):
            refusals.append(frame)
            continue
        for band in _wide(bands, width, height):
            this = replace(frame, scale=math.radians(band.arcsec / 3600.0), tolerance=band.tolerance)
            step = step_for(2.0 * half_diagonal_deg(width, height, band.arcsec)) - depth.finer
            if step < 0:
                continue
            reach = reach_of_field(this.diagonal) / WIDER**depth.finer
            guesses, tests = matches_everywhere(
                this.only(evenly_bright(this, reach, depth.brighter)), index_step(step), depth.neighbours
            )
            tried += tests
            for guess in guesses:
                half = half_diagonal_deg(width, height, band.arcsec * (1.0 + band.tolerance))
                middle = lon_lat_deg(guess.turn[:, 2].tolist())
                sky = brightest_singles(stars_near(*middle, min(1.1 * half, 90.0)), this)
                fit = fitted_placement(this, sky, guess, max(tried, 1))
                if fit is not None and fit.log10_chance < GREATEST_CHANCE:
                    return Outcome(as_solution(this, fit, tried), tried)
    refusals.append(
        Refusal(
            "the pattern of the picture's stars was found nowhere on the sky",
            f"add an object that lies in the picture to objects; without one only fields above "
            f"{NARROWEST_DEG:.0f}° can be found",
            tried,
        )
    )
    return Outcome(refusals[0], tried)


def _lists_by_depth(lists: Iterable[Seen]) -> Iterator[tuple[Seen, _Depth]]:
    """Every list with the stars of its own field; then all but the first with finer ones, which takes longer."""
    made = []
    for stars in lists:
        made.append(stars)
        yield stars, _COARSE
    for stars in made[1:]:
        yield stars, _FINE


def likeliest(refusals: Sequence[Refusal]) -> Refusal:
    """Of the refusals at several scales the one whose best match came nearest to being accepted."""
    return min(refusals, key=lambda refusal: refusal.log10_chance)


def half_diagonal_deg(width: int, height: int, arcsec: float) -> float:
    """Half the diagonal of a picture on the sky, degrees."""
    return math.degrees(math.atan(math.hypot(width, height) / 2.0 * math.radians(arcsec / 3600.0)))


def _wide(bands: Sequence[ScaleBand], width: int, height: int) -> Iterator[ScaleBand]:
    for band in bands:
        field = 2.0 * half_diagonal_deg(width, height, band.arcsec * (1.0 + band.tolerance))
        if NARROWEST_DEG <= field <= 1.2 * _FIELDS_DEG[1]:
            yield band
