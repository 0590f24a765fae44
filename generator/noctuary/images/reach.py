"""What two placed pictures of one piece of sky show of it: stars in each, their width, and whose limit lies deeper.

**Method.** A star's signal is its light over the noise of the sky beside it, in each picture by itself (see
``faint_stars``): near the sky's level no stretch changes that ratio. The picture with the higher signals gives the
places of faint stars; at the same places the other's signals are taken, whether it shows a star there or not, so
that nothing is chosen by what it shows. The factor between the two is by how much fainter a star may be in the one
to stand as far above the noise: 2.5·log10 of it is the difference of the limiting magnitudes. A stretch that bends
within the range used shows as a factor that changes with brightness; it is followed down to the sky's level, and
what is uncertain in that is part of the uncertainty.

**Limits.** Nothing is said where the rule that brightness order survives is broken: where stars are too few, where
the pictures do not show the same stars though both should (starless versions, other wavelengths, noise reduction
that ate faint stars), where the sky is cut off to black.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noctuary.errors import NoctuaryError
from noctuary.images.faint_stars import FOUND_FROM, FaintStars, Floats, faint_stars
from noctuary.sky.placement import Placement

FEWEST_COMMON = 50
"""Stars that both pictures must show."""
_FAINTEST, _BRIGHTEST = 8.0, 60.0  # signals of the stars that are compared, in the picture that gives their places
_LEAST_COMPLETE = 0.9
"""Share of the stars well above its limit that a picture must show, less what chance may take."""
_CUT_OFF = 0.25
_EDGE_PX = 24
_GRAIN = 4.0  # levels of 255 below which a JPEG holds no shapes
_USUAL_BEND = 0.01  # change of the factor for each unit of signal that common stretches bring
_EATEN = -0.006
_TRUST = 0.25  # part of the way down to the sky that may be wrong
_UNSEEN = 0.15  # mag, for what is not modelled: wings of stars, neighbours, unevenness
_COMPRESSED = 0.1  # mag, what a JPEG of quality 80 takes from faint stars


@dataclass(frozen=True, slots=True)
class PairReach:
    """What both show of the sky they share: stars found, FWHM in arcseconds, how much deeper the newer one is.

    ``uncertainty_mag`` is such that nine of ten differences lie within it. ``common`` stars are found in both.
    """

    stars_older: int
    stars_newer: int
    common: int
    fwhm_older_arcsec: float
    fwhm_newer_arcsec: float
    deeper_mag: float
    uncertainty_mag: float


class CannotTell(NoctuaryError):
    """Why two pictures say nothing about each other's reach: a sentence without its full stop."""


@dataclass(frozen=True)
class Plane:
    """One channel of a placed picture, shape (height, width), in any units; of ``eight_bits``, in levels of 255."""

    values: NDArray[Any]
    placement: Placement
    eight_bits: bool


def pair_reach(older: Plane, newer: Plane) -> PairReach:
    """Compare two pictures. Raises :class:`CannotTell`.

    What has 8 bits is taken for a JPEG of quality 80 or so.
    """
    sides = _Side.of(older, newer.placement, "older"), _Side.of(newer, older.placement, "newer")
    one, other = sides
    matches = _matched(one, other)
    if len(matches[0]) < FEWEST_COMMON:
        raise CannotTell(
            f"the pictures have {len(matches[0])} stars in common on the sky that they share, and fewer than "
            f"{FEWEST_COMMON} say nothing for sure"
        )
    ratio = float(np.median(other.stars.signal[matches[1]] / one.stars.signal[matches[0]]))
    deep, shallow, sign = (other, one, 1.0) if ratio >= 1 else (one, other, -1.0)
    pairs = matches if deep is one else (matches[1], matches[0])
    shift = _Shift.of(deep, shallow, pairs)
    factor, unsure = _factor(deep, shallow, shift)
    _require_complete(deep, shallow, shift, factor)
    deeper = -2.5 * math.log10(factor)
    return PairReach(
        stars_older=one.count,
        stars_newer=other.count,
        common=len(matches[0]),
        fwhm_older_arcsec=one.fwhm_arcsec,
        fwhm_newer_arcsec=other.fwhm_arcsec,
        deeper_mag=sign * deeper,
        uncertainty_mag=math.sqrt(unsure**2 + _UNSEEN**2 + sum(side.lossy for side in sides) * _COMPRESSED**2),
    )


@dataclass(frozen=True)
class _Side:
    """The part of a picture in the box around the common sky, its stars, and which of them the other should have."""

    which: str
    stars: FaintStars
    placement: Placement
    left: int
    top: int
    shared: NDArray[np.bool_]
    ra: Floats
    dec: Floats
    lossy: bool

    @classmethod
    def of(cls, plane: Plane, others: Placement, which: str) -> _Side:
        placement = plane.placement
        left, top, right, bottom = _common_box(placement, others)
        part = plane.values[top:bottom, left:right]
        if part.size and float(np.mean(part <= np.min(part))) > _CUT_OFF:
            raise CannotTell(f"the sky of the {which} picture is cut off to black, or has no noise left")
        stars = faint_stars(part, _GRAIN if plane.eight_bits else 0.0)
        if stars is None:
            raise CannotTell(f"the {which} picture has no stars to measure on the sky that both share")
        ra, dec = placement.sky(stars.x + left, stars.y + top)
        x, y = others.pixel(ra, dec)
        shared = (x > _EDGE_PX) & (y > _EDGE_PX)
        shared &= (x < others.width_px - _EDGE_PX) & (y < others.height_px - _EDGE_PX)
        return cls(which, stars, placement, left, top, shared, ra, dec, plane.eight_bits)

    @property
    def fwhm_arcsec(self) -> float:
        return self.stars.fwhm_px * self.placement.image_scale_arcsec_px

    @property
    def count(self) -> int:
        """Stars found on the common sky."""
        return int(self.shared.sum())

    def places(self, ra: Floats, dec: Floats) -> tuple[Floats, Floats]:
        """Pixels of the part."""
        x, y = self.placement.pixel(ra, dec)
        return x - self.left, y - self.top


def _common_box(placement: Placement, others: Placement) -> tuple[int, int, int, int]:
    """Left, top, right and bottom of the box around what a picture shares with another."""
    x, y = np.meshgrid(np.linspace(0, placement.width_px - 1, 60), np.linspace(0, placement.height_px - 1, 60))
    shared = others.contains(*others.pixel(*placement.sky(x, y)))
    if shared.mean() < 0.02:
        raise CannotTell("the pictures share no sky, or a sliver of it")
    step = max(placement.width_px, placement.height_px) // 60 + 2
    left, right = max(int(x[shared].min()) - step, 0), min(int(x[shared].max()) + step, placement.width_px)
    top, bottom = max(int(y[shared].min()) - step, 0), min(int(y[shared].max()) + step, placement.height_px)
    return left, top, right, bottom


def _matched(one: _Side, other: _Side) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Indices of the stars that are each other's nearest, closer than the wider picture's stars are wide."""
    first = np.flatnonzero(one.shared)[:5000]
    second = np.flatnonzero(other.shared)[:5000]
    if not len(first) or not len(second):
        return first[:0], second[:0]
    x, y = other.places(one.ra[first], one.dec[first])
    limit = max(one.fwhm_arcsec, other.fwhm_arcsec) / other.placement.image_scale_arcsec_px
    near, apart = _nearest(x, y, other.stars.x[second], other.stars.y[second])
    back, _ = _nearest(other.stars.x[second], other.stars.y[second], x, y)
    good = (apart <= limit) & (back[near] == np.arange(len(first)))
    return first[good], second[near[good]]


def _nearest(x: Floats, y: Floats, among_x: Floats, among_y: Floats) -> tuple[NDArray[np.intp], Floats]:
    """For each point the nearest of the others, and how far it is."""
    near = np.empty(len(x), dtype=np.intp)
    apart = np.empty(len(x))
    for start in range(0, len(x), 500):
        part = slice(start, start + 500)
        square = (x[part, None] - among_x) ** 2 + (y[part, None] - among_y) ** 2
        near[part] = np.argmin(square, axis=1)
        apart[part] = np.sqrt(square[np.arange(len(square)), near[part]])
    return near, apart


@dataclass(frozen=True)
class _Shift:
    """By how much the placements miss each other: a smooth correction in the shallower picture's pixels."""

    across: Floats
    down: Floats
    size: float

    @classmethod
    def of(cls, deep: _Side, shallow: _Side, pairs: tuple[NDArray[np.intp], NDArray[np.intp]]) -> _Shift:
        x, y = shallow.places(deep.ra[pairs[0]], deep.dec[pairs[0]])
        size = float(max(shallow.stars.above.shape))
        terms = _terms(x / size, y / size)
        missing = shallow.stars.x[pairs[1]] - x, shallow.stars.y[pairs[1]] - y
        keep = np.ones(len(x), dtype=bool)
        across: Floats = np.zeros(terms.shape[1])
        down: Floats = np.zeros(terms.shape[1])
        for _ in range(3):
            across = np.asarray(np.linalg.lstsq(terms[keep], missing[0][keep], rcond=None)[0], dtype=np.float64)
            down = np.asarray(np.linalg.lstsq(terms[keep], missing[1][keep], rcond=None)[0], dtype=np.float64)
            rest = np.hypot(missing[0] - terms @ across, missing[1] - terms @ down)
            keep = rest <= 3.0 * np.median(rest) + 0.05
        return cls(across, down, size)

    def places(self, deep: _Side, shallow: _Side, which: NDArray[np.intp]) -> tuple[Floats, Floats]:
        x, y = shallow.places(deep.ra[which], deep.dec[which])
        terms = _terms(x / self.size, y / self.size)
        return x + terms @ self.across, y + terms @ self.down


def _terms(u: Floats, v: Floats) -> Floats:
    return np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=1)


def _alone(side: _Side, apart_arcsec: float) -> NDArray[np.intp]:
    """Stars of the common sky without a neighbour nearer than so much that has a fifth of their light."""
    some = np.flatnonzero(side.shared)[:6000]
    x, y, signal = side.stars.x[some], side.stars.y[some], side.stars.signal[some]
    limit = apart_arcsec / side.placement.image_scale_arcsec_px
    good = np.ones(len(some), dtype=bool)
    for start in range(0, len(some), 500):
        part = slice(start, start + 500)
        near = (x[part, None] - x) ** 2 + (y[part, None] - y) ** 2 < limit**2
        good[part] = (near & (signal > 0.2 * signal[part, None])).sum(axis=1) == 1
    return some[good]


def _factor(deep: _Side, shallow: _Side, shift: _Shift) -> tuple[float, float]:
    """The shallower picture's signal over the deeper one's, at the level of the sky; and how unsure that is, mag."""
    which = _alone(deep, 1.5 * max(deep.fwhm_arcsec, shallow.fwhm_arcsec))
    strong = deep.stars.signal[which]
    which = which[(strong >= _FAINTEST) & (strong <= _BRIGHTEST)]
    weak = shallow.stars.signal_at(*shift.places(deep, shallow, which))
    strong, weak = deep.stars.signal[which][np.isfinite(weak)], weak[np.isfinite(weak)]
    if len(strong) < FEWEST_COMMON // 2:
        raise CannotTell("too few faint stars stand by themselves on the sky that the pictures share")
    ratio = weak / strong
    value, weight = _robust_mean(ratio, np.sqrt(1.0 + ratio**2) / strong)
    # Towards the level of the sky: a straight line in the deeper picture's signal, held towards no slope.
    line = np.stack([np.ones_like(strong), strong], axis=1)
    normal = line.T @ (line * weight[:, None])
    normal[1, 1] += 1.0 / (_USUAL_BEND * value) ** 2
    at_sky, slope = np.linalg.solve(normal, line.T @ (ratio * weight))
    unsure, unsure_slope = np.sqrt(np.diag(np.linalg.inv(normal)))
    if at_sky < 3.0 * unsure:
        raise CannotTell("what is faint in the one picture is not in the other")
    bend = slope / value
    # A stretch lowers the higher stars; only what eats the faint ones lifts the higher above them.
    if bend < _EATEN - unsure_slope / value:
        raise CannotTell(_eaten(deep, "its faint stars are weaker than its bright ones allow"))
    followed = _TRUST * abs(bend) * float(np.average(strong, weights=weight))
    return float(at_sky), 1.086 * math.hypot(1.65 * float(unsure / at_sky), followed)


def _robust_mean(ratio: Floats, error: Floats) -> tuple[float, Floats]:
    """The mean of ratios without strays, and each one's weight: what stars differ by themselves adds to its error."""
    value = float(np.median(ratio))
    weight = np.ones_like(ratio)
    for _ in range(4):
        keep = np.abs(ratio - value) < 3.0 * np.hypot(error, 0.25 * value)
        weight = keep / (error**2 + (0.15 * value) ** 2)
        value = float((weight * ratio).sum() / max(weight.sum(), 1e-12))
    return value, weight


def _require_complete(deep: _Side, shallow: _Side, shift: _Shift, factor: float) -> None:
    """Raise where either picture lacks stars that the other shows and that stand well above its own limit."""
    apart = 1.5 * max(deep.fwhm_arcsec, shallow.fwhm_arcsec)
    which = _alone(deep, apart)
    which = which[deep.stars.signal[which] * factor > 2.0 * FOUND_FROM]
    share = _shown(*shift.places(deep, shallow, which), shallow)
    if share is not None:
        raise CannotTell(_eaten(shallow, f"{share:.0%} of the stars that it should show are in it"))
    which = _alone(shallow, apart)
    which = which[shallow.stars.signal[which] > 1.3 * FOUND_FROM]
    share = _shown(*deep.places(shallow.ra[which], shallow.dec[which]), deep)
    if share is not None:
        raise CannotTell(_eaten(deep, f"{share:.0%} of the stars of the other are in it"))


def _shown(x: Floats, y: Floats, side: _Side) -> float | None:
    """The share of places at which a picture shows a star, where it is surely too small; else ``None``."""
    if len(x) < 10 or not len(side.stars.x):
        return None
    _, apart = _nearest(x, y, side.stars.x, side.stars.y)
    share = float(np.mean(apart < 2.0 * side.stars.fwhm_px))
    sure = share + 2.0 * math.sqrt(share * (1.0 - share) / len(x))
    return share if sure < _LEAST_COMPLETE else None


def _eaten(side: _Side, sign: str) -> str:
    return (
        f"the {side.which} picture has lost stars ({sign}): to noise reduction, to a tool that takes stars out, or "
        "it shows another light"
    )
