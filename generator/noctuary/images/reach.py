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

import numpy as np
from numpy.typing import NDArray

from noctuary.images.common_sky import CannotTell, Plane, Shift, Side, both_sides, common_stars, nearest
from noctuary.images.faint_stars import FOUND_FROM, Floats

_FEWEST_ALONE = 25
_FAINTEST, _BRIGHTEST = 8.0, 60.0  # signals of the stars that are compared, in the picture that gives their places
_LEAST_COMPLETE = 0.9
"""Share of the stars well above its limit that a picture must show, less what chance may take."""
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


def pair_reach(older: Plane, newer: Plane) -> PairReach:
    """Compare two pictures. Raises :class:`CannotTell`.

    What has 8 bits is taken for a JPEG of quality 80 or so.
    """
    return reach_of_sides(*both_sides(older, newer))


def reach_of_sides(one: Side, other: Side) -> PairReach:
    """Likewise, of an older and a newer picture whose stars are found already."""
    matches = common_stars(one, other)
    ratio = float(np.median(other.stars.signal[matches[1]] / one.stars.signal[matches[0]]))
    deep, shallow, sign = (other, one, 1.0) if ratio >= 1 else (one, other, -1.0)
    pairs = matches if deep is one else (matches[1], matches[0])
    shift = Shift.of(deep, shallow, pairs)
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
        uncertainty_mag=math.sqrt(unsure**2 + _UNSEEN**2 + (one.lossy + other.lossy) * _COMPRESSED**2),
    )


def _alone(side: Side, apart_arcsec: float) -> NDArray[np.intp]:
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


def _factor(deep: Side, shallow: Side, shift: Shift) -> tuple[float, float]:
    """The shallower picture's signal over the deeper one's, at the level of the sky; and how unsure that is, mag."""
    which = _alone(deep, 1.5 * max(deep.fwhm_arcsec, shallow.fwhm_arcsec))
    strong = deep.stars.signal[which]
    which = which[(strong >= _FAINTEST) & (strong <= _BRIGHTEST)]
    weak = shallow.stars.signal_at(*shift.places(deep, shallow, which))
    strong, weak = deep.stars.signal[which][np.isfinite(weak)], weak[np.isfinite(weak)]
    if len(strong) < _FEWEST_ALONE:
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


def _require_complete(deep: Side, shallow: Side, shift: Shift, factor: float) -> None:
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


def _shown(x: Floats, y: Floats, side: Side) -> float | None:
    """The share of places at which a picture shows a star, where it is surely too small; else ``None``."""
    if len(x) < 10 or not len(side.stars.x):
        return None
    _, apart = nearest(x, y, side.stars.x, side.stars.y)
    share = float(np.mean(apart < 2.0 * side.stars.fwhm_px))
    sure = share + 2.0 * math.sqrt(share * (1.0 - share) / len(x))
    return share if sure < _LEAST_COMPLETE else None


def _eaten(side: Side, sign: str) -> str:
    return (
        f"the {side.which} picture has lost stars ({sign}): to noise reduction, to a tool that takes stars out, or "
        "it shows another light"
    )
