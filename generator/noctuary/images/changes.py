"""What changed between two placed pictures: stars that one shows and the other should show and does not.

**Method.** The stars of each picture are measured in the other at the same place, found there or not. All of them
together say how bright a star of one picture has to be in the other, and how much such stars scatter (see
``brightness_relation``); stretches, scales, seeing and angles drop out. What is fainter in the other than that by
many times the scatter is a candidate, where both pictures can be trusted (``trusted_places``). Asking both ways finds
what faded, brightened, came, went and moved.

**How sure.** The scatter's tail is not taken to be that of a normal distribution: it is continued from the tail that
the tried stars themselves have. The chance that a star of no change lies so low, times all stars that were tried, is
the number of false candidates to be expected; beyond :data:`EXPECTED_FALSE` nothing is a candidate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from noctuary.images import trusted_places
from noctuary.images.brightness_relation import FEWEST, relation
from noctuary.images.common_sky import Plane, Shift, Side, both_sides, common_stars
from noctuary.images.faint_stars import Flags, Floats
from noctuary.images.magnitude_scale import MagnitudeScale, catalogued, magnitude_scale
from noctuary.images.reach import reach_of_sides
from noctuary.sky.star_table import StarTable

EXPECTED_FALSE = 0.02
"""False candidates to be expected of a pair of pictures in which nothing changed."""
_LEAST_EXPECTED = 6.0  # signals; what the other shows less well is not tried
_MOST_TRIED = 6000
_WORTH_A_LOOK = 3.0  # scatters
_NEAR = 16  # stars around a candidate that must be as they should
_MOST_UNREST = 4.0
_NOTHING = 3.0  # signal below which a picture shows nothing
_SHARP, _LONG = 1.6, 1.8  # times as peaked and as long as stars of its brightness
_LIKE = 40
_DOUBLE = 1.4  # times as long as the usual star
_CLEAR = 12.0  # signal from which a form is that of the star and not of the noise
_DROPPED, _DROPPED_BELOW = 2.0, 12.0  # signals: what a JPEG may drop of stars below so many
_HEAVIEST = 0.5  # scatters in which the tail falls to 1/e; a longer one is made of changes, not of chance
_STRAIGHT_BELOW = 60.0  # signal up to which every stretch is as good as straight

Which = Literal["older", "newer"]
Form = Literal["star", "sharp", "long"]
_OLDER: Which = "older"
_NEWER: Which = "newer"


@dataclass(frozen=True, slots=True)
class Change:
    """A candidate. Degrees (ICRS); signals are light over noise, of the picture that shows it better and the other.

    ``scatters``: by how many times the scatter of such stars the other is too faint. ``chance``: false candidates so
    extreme to be expected in the whole comparison. ``fainter_mag`` by how much it is fainter in the other, at least
    so much where ``at_least``. ``brighter_share``: the share of the common stars that are brighter. ``form``: drawn
    like a star, sharper, or long. ``magnitude`` is about that of the table of stars, where the picture's stars carry
    it there; ``catalogued_mag`` that of a star of the table at the place.
    """

    ra_deg: float
    dec_deg: float
    brighter_in: Which
    signal: float
    expected: float
    measured: float
    scatters: float
    chance: float
    fainter_mag: float
    fainter_error_mag: float
    at_least: bool
    brighter_share: float
    form: Form
    magnitude: float | None
    magnitude_error: float | None
    catalogued_mag: float | None

    @property
    def missing(self) -> bool:
        """Whether the other picture shows nothing at its place."""
        return self.measured < _NOTHING


@dataclass(frozen=True, slots=True)
class Comparison:
    """Candidates, surest first, of ``tried`` places; ``common`` stars carried it.

    ``deeper_mag`` is by how much the newer picture's limit lies deeper.
    """

    candidates: tuple[Change, ...]
    tried: int
    common: int
    deeper_mag: float


def changes(older: Plane, newer: Plane, table: StarTable | None = None) -> Comparison:
    """What changed between two pictures. Raises :class:`noctuary.images.common_sky.CannotTell`.

    ``table`` are catalogue stars of that sky at the pictures' time, for magnitudes.
    """
    one, other = both_sides(older, newer)
    reach = reach_of_sides(one, other)
    matches = common_stars(one, other)
    forth, back = _Way.of(one, other, matches), _Way.of(other, one, (matches[1], matches[0]))
    tried = forth.tried + back.tried
    tail = _Tail.of(np.concatenate([forth.low[forth.judged], back.low[back.judged]]))
    candidates = [
        each
        for way, which in ((forth, _OLDER), (back, _NEWER))
        for each in _with_magnitudes(way.candidates(which, tail, tried), way, table)
    ]
    candidates.sort(key=lambda each: (-each.scatters, each.ra_deg))
    return Comparison(tuple(candidates), tried, reach.common, reach.deeper_mag)


@dataclass(frozen=True)
class _Way:
    """Stars of one picture, ``shows``, measured in the other, ``lacks``: one row for each that stands by itself.

    ``judged`` are those that the other should show well enough to be tried.
    """

    shows: Side
    lacks: Side
    which: NDArray[np.intp]
    x: Floats
    y: Floats
    strong: Floats
    weak: Floats
    expected: Floats
    slope: Floats
    scatter: Floats
    clipped: Flags
    judged: Flags

    @classmethod
    def of(cls, shows: Side, lacks: Side, pairs: tuple[NDArray[np.intp], NDArray[np.intp]]) -> _Way:
        shift = Shift.of(shows, lacks, pairs)
        which = np.flatnonzero(shows.shared)[:_MOST_TRIED]
        x, y = shift.places(shows, lacks, which)
        miss_px = _miss_px(shows, lacks, shift, pairs)
        weak = _best_near(lacks, x, y, miss_px)
        strong = shows.stars.light_at(shows.stars.x[which], shows.stars.y[which])
        wide = max(shows.fwhm_arcsec, lacks.fwhm_arcsec)
        in_shows, in_lacks = (wide / side.placement.image_scale_arcsec_px for side in (shows, lacks))
        at_x, at_y = shows.stars.x[which], shows.stars.y[which]
        good = np.isfinite(weak) & (strong > 0.0)
        good &= trusted_places.whole(lacks, x, y) & trusted_places.whole(shows, at_x, at_y)
        good &= trusted_places.alone(shows, at_x, at_y, strong, in_shows, 0.01)
        usual = float(np.median(weak[good] / strong[good])) if good.any() else 1.0
        good &= trusted_places.alone(lacks, x, y, strong * usual, in_lacks, 0.7 * in_lacks + miss_px)
        good &= ~trusted_places.full(lacks, x, y)
        clipped = trusted_places.full(shows, at_x, at_y)
        keep = np.flatnonzero(good)
        if len(keep) < FEWEST:
            nothing = np.empty(0)
            return cls(shows, lacks, which[:0], *(nothing,) * 7, *(np.empty(0, dtype=bool),) * 2)
        height, width = lacks.stars.above.shape
        u, v = 2.0 * x[keep] / width - 1.0, 2.0 * y[keep] / height - 1.0
        levels = trusted_places.level(shows, at_x[keep], at_y[keep]), trusted_places.level(lacks, x[keep], y[keep])
        terms = np.stack([u, v, u * u - 0.33, u * v, v * v - 0.33, *levels], axis=1)
        noises = (
            shows.stars.noise_at(at_x[keep], at_y[keep]) / float(np.median(shows.stars.noise)),
            lacks.stars.noise_at(x[keep], y[keep]) / float(np.median(lacks.stars.noise)),
        )
        found = relation(strong[keep], weak[keep], noises, terms)
        # What is too high for one picture shows nothing of its light but that it is at least so much.
        whole_light = ~clipped[keep] | (weak[keep] < 0.4 * found.expected)
        judged = (found.expected >= _LEAST_EXPECTED) & whole_light
        dropped = _dropped(lacks, found.expected), found.slope * _dropped(shows, strong[keep])
        scatter = np.sqrt(found.scatter**2 + dropped[0] ** 2 + dropped[1] ** 2)
        return cls(
            shows, lacks, which[keep], x[keep], y[keep], strong[keep], weak[keep], found.expected, found.slope,
            scatter, clipped[keep], judged,
        )  # fmt: skip

    @property
    def wide_arcsec(self) -> float:
        """FWHM in the picture with the wider stars."""
        return max(self.shows.fwhm_arcsec, self.lacks.fwhm_arcsec)

    @property
    def tried(self) -> int:
        return int(self.judged.sum())

    @cached_property
    def low(self) -> Floats:
        """By how many times the scatter of its like each star is too faint in the other picture.

        What is far too faint is looked at closely, and is 0 where its surroundings or its form explain it.
        """
        low = (self.expected - self.weak) / self.scatter
        closely = low.copy()
        for row in np.flatnonzero(self.judged & (low > _WORTH_A_LOOK)):
            closely[row] = self._scatters(int(row), low)
        return closely

    def candidates(self, which: Which, tail: _Tail, tried: int) -> list[Change]:
        """What is too faint in the other picture beyond chance, in ``tried`` places of both ways."""
        found = []
        for row in np.flatnonzero(self.judged & (self.low > _WORTH_A_LOOK)):
            scatters = float(self.low[row])
            chance = tried * tail.chance(scatters)
            if chance <= EXPECTED_FALSE:
                found.append(self._change(int(row), which, scatters, chance))
        return found

    def _scatters(self, row: int, low: Floats) -> float:
        """By how many scatters a star is too faint, the unrest around it and its neighbours' own faults counted."""
        here = np.array([row])
        at = self.which[here]
        around = [
            float(trusted_places.unrest(side, x, y, self.wide_arcsec / side.placement.image_scale_arcsec_px)[0])
            for side, x, y in (
                (self.lacks, self.x[here], self.y[here]),
                (self.shows, self.shows.stars.x[at], self.shows.stars.y[at]),
            )
        ]
        if max(around) > _MOST_UNREST or self._double(row):
            return 0.0
        slope = float(self.slope[row])
        more = around[0] ** 2 - 1.0 + slope**2 * (around[1] ** 2 - 1.0)
        scatter = math.sqrt(float(self.scatter[row]) ** 2 + more)
        beside = np.flatnonzero(self.expected >= 0.7 * _LEAST_EXPECTED)
        apart = np.hypot(self.x[beside] - self.x[row], self.y[beside] - self.y[row])
        near = low[beside[np.argsort(apart, kind="stable")[1 : _NEAR + 1]]]
        middle = float(np.median(near))
        spread = 1.4826 * float(np.median(np.abs(near - middle)))
        fault = max(middle, 0.0) * float(self.scatter[row])
        missing = float(self.expected[row] - self.weak[row]) - fault
        return missing / (scatter * max(spread, 1.0))

    def _change(self, row: int, which: Which, scatters: float, chance: float) -> Change:
        star = int(self.which[row])
        side = self.shows
        expected, measured = float(self.expected[row]), float(self.weak[row])
        floor = max(measured, _NOTHING)
        strong = float(self.strong[row])
        # A stretch draws bright stars together, never apart: either picture gives the least that it can be.
        fainter = 2.5 * math.log10(max(expected / floor, strong / self._light_shown_as(floor), 1.0))
        error = 1.086 * math.hypot(float(self.scatter[row]) / expected, 1.0 / floor)
        ra, dec = side.placement.sky(side.stars.x[star] + side.left, side.stars.y[star] + side.top)
        peaked, long = trusted_places.form(side, float(side.stars.x[star]), float(side.stars.y[star]))
        usual = self._usual_forms(row)[0]
        form: Form = "star"
        if long > _LONG * usual[1]:
            form = "long"
        elif peaked > _SHARP * usual[0]:
            form = "sharp"
        return Change(
            ra_deg=float(ra),
            dec_deg=float(dec),
            brighter_in=which,
            signal=strong,
            expected=expected,
            measured=measured,
            scatters=scatters,
            chance=chance,
            fainter_mag=fainter,
            fainter_error_mag=error,
            at_least=measured < _NOTHING or strong > _STRAIGHT_BELOW,
            brighter_share=float(np.mean(self.strong > strong)),
            form=form,
            magnitude=None,
            magnitude_error=None,
            catalogued_mag=None,
        )

    def magnitudes(self, table: StarTable) -> MagnitudeScale | None:
        """What the picture that shows more makes of the magnitudes of a table, by its stars that are not clipped."""
        at = self.which[~self.clipped]
        ra, dec = self.shows.ra[at], self.shows.dec[at]
        return magnitude_scale(ra, dec, self.strong[~self.clipped], table, self.wide_arcsec)

    def _double(self, row: int) -> bool:
        """Whether it looks like two stars that touch, whose light another seeing divides in another way."""
        if self.weak[row] < _NOTHING:
            return False
        at = int(self.which[row])
        stars = self.shows.stars
        places = (
            (self.shows, float(stars.x[at]), float(stars.y[at]), float(self.strong[row])),
            (self.lacks, float(self.x[row]), float(self.y[row]), float(self.weak[row])),
        )
        return any(
            signal > _CLEAR and trusted_places.form(side, x, y)[1] > _DOUBLE * usual[1]
            for (side, x, y, signal), usual in zip(places, self._usual_forms(row), strict=True)
        )

    def _light_shown_as(self, signal: float) -> float:
        """The light in the one picture of a star that the other shows with so much, by the relation turned round."""
        order = np.argsort(self.expected, kind="stable")
        lowest = float(self.expected[order[0]])
        if signal < lowest:  # near the sky both are straight
            return float(self.strong[order[0]]) * signal / lowest
        return float(np.exp(np.interp(math.log(signal), np.log(self.expected[order]), np.log(self.strong[order]))))

    def _usual_forms(self, row: int) -> tuple[tuple[float, float], tuple[float, float]]:
        """Of the picture that shows and of the other: how peaked and how long stars of its brightness usually are."""
        trusted = np.flatnonzero(self.judged)
        like = np.argsort(np.abs(np.log(self.strong[trusted] / self.strong[row])), kind="stable")[:_LIKE]
        some = trusted[like]
        stars, at = self.shows.stars, self.which[some]
        return (
            _usual_form(self.shows, stars.x[at], stars.y[at]),
            _usual_form(self.lacks, self.x[some], self.y[some]),
        )


def _with_magnitudes(found: list[Change], way: _Way, table: StarTable | None) -> list[Change]:
    """Candidates with what a table of stars says of their brightness and their place."""
    if table is None or not found:
        return found
    scale = way.magnitudes(table)
    whole = []
    for change in found:
        magnitude, error = (scale.magnitude(change.signal) if scale else None) or (None, None)
        known = catalogued(change.ra_deg, change.dec_deg, table, way.wide_arcsec)
        straight = scale is not None and scale.proportional and not change.missing
        at_least = change.at_least and not straight
        whole.append(
            replace(change, magnitude=magnitude, magnitude_error=error, catalogued_mag=known, at_least=at_least)
        )
    return whole


def _usual_form(side: Side, x: Floats, y: Floats) -> tuple[float, float]:
    forms = np.array([trusted_places.form(side, float(a), float(b)) for a, b in zip(x, y, strict=True)])
    peaked, long = np.nanmedian(forms, axis=0)
    return float(peaked), float(long)


@dataclass(frozen=True)
class _Tail:
    """How often a star of no change is too faint by so many scatters: normal, or as the tried stars' own tail."""

    begins: float
    share: float
    falls: float

    @classmethod
    def of(cls, low: Floats) -> _Tail:
        """From the outermost stars; half of them may have changed, since the median of their excess is taken."""
        number = max(len(low) // 35, min(len(low), 10))
        if number < 3:
            return cls(0.0, 1.0, 1.0)
        ordered = np.sort(low)[::-1]
        begins = max(float(ordered[number - 1]), 0.5)
        excess = float(np.median(ordered[:number])) - begins
        # The median of an exponential distribution is its scale times ln 2.
        return cls(begins, number / len(low), float(np.clip(excess / math.log(2.0), 0.15, _HEAVIEST)))

    def chance(self, scatters: float) -> float:
        normal = 0.5 * math.erfc(scatters / math.sqrt(2.0))
        own = self.share * math.exp(-max(scatters - self.begins, 0.0) / self.falls)
        return max(normal, own)


def _dropped(side: Side, signal: Floats) -> Floats:
    """What a JPEG may have taken from stars of so much light, or added to them."""
    return (_DROPPED if side.lossy else 0.0) * np.minimum(1.0, _DROPPED_BELOW / np.maximum(signal, 1.0))


def _miss_px(shows: Side, lacks: Side, shift: Shift, pairs: tuple[NDArray[np.intp], NDArray[np.intp]]) -> float:
    """By how much places still miss stars in the other picture: between a quarter pixel and half a star's width."""
    x, y = shift.places(shows, lacks, pairs[0])
    miss = np.hypot(lacks.stars.x[pairs[1]] - x, lacks.stars.y[pairs[1]] - y)
    return float(np.clip(1.5 * np.median(miss), 0.25, 0.4 * lacks.stars.fwhm_px))


def _best_near(side: Side, x: Floats, y: Floats, miss_px: float) -> Floats:
    """The strongest signal at places or beside them: what a placement misses is no fading."""
    diagonal = miss_px / math.sqrt(2.0)
    best = side.stars.light_at(x, y)
    for across, down in (
        (miss_px, 0.0), (-miss_px, 0.0), (0.0, miss_px), (0.0, -miss_px),
        (diagonal, diagonal), (diagonal, -diagonal), (-diagonal, diagonal), (-diagonal, -diagonal),
    ):  # fmt: skip
        best = np.fmax(best, side.stars.light_at(x + across, y + down))
    return best
