"""Two placed pictures over the sky that they share: the stars of each, which of them are the same, and the misfit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noctuary.errors import NoctuaryError
from noctuary.images.faint_stars import FaintStars, Floats, faint_stars
from noctuary.sky.placement import Placement

FEWEST_COMMON = 50
"""Stars that both pictures must show."""
_CUT_OFF = 0.25
_EDGE_PX = 24
_GRAIN = 4.0  # levels of 255 below which a JPEG holds no shapes


class CannotTell(NoctuaryError):
    """Why two pictures say nothing about each other's reach: a sentence without its full stop."""


@dataclass(frozen=True)
class Plane:
    """One channel of a placed picture, shape (height, width), in any units; of ``eight_bits``, in levels of 255."""

    values: NDArray[Any]
    placement: Placement
    eight_bits: bool


@dataclass(frozen=True)
class Side:
    """The part of a picture in the box around the common sky, its stars, and which of them the other should have.

    ``values`` is that part as it is stored, the same shape as ``stars.above``.
    """

    which: str
    values: NDArray[Any]
    stars: FaintStars
    placement: Placement
    left: int
    top: int
    shared: NDArray[np.bool_]
    ra: Floats
    dec: Floats
    lossy: bool

    @classmethod
    def of(cls, plane: Plane, others: Placement, which: str) -> Side:
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
        return cls(which, part, stars, placement, left, top, shared, ra, dec, plane.eight_bits)

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


def both_sides(older: Plane, newer: Plane) -> tuple[Side, Side]:
    """The common sky as each picture shows it. Raises :class:`CannotTell`.

    What has 8 bits is taken for a JPEG of quality 80 or so.
    """
    return Side.of(older, newer.placement, "older"), Side.of(newer, older.placement, "newer")


def common_stars(one: Side, other: Side) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Indices of the stars that both show. Raises :class:`CannotTell` where they are too few."""
    matches = matched(one, other)
    if len(matches[0]) < FEWEST_COMMON:
        raise CannotTell(
            f"the pictures have {len(matches[0])} stars in common on the sky that they share, and fewer than "
            f"{FEWEST_COMMON} say nothing for sure"
        )
    return matches


def matched(one: Side, other: Side) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Indices of the stars that are each other's nearest, closer than the wider picture's stars are wide."""
    first = np.flatnonzero(one.shared)[:5000]
    second = np.flatnonzero(other.shared)[:5000]
    if not len(first) or not len(second):
        return first[:0], second[:0]
    x, y = other.places(one.ra[first], one.dec[first])
    limit = max(one.fwhm_arcsec, other.fwhm_arcsec) / other.placement.image_scale_arcsec_px
    near, apart = nearest(x, y, other.stars.x[second], other.stars.y[second])
    back, _ = nearest(other.stars.x[second], other.stars.y[second], x, y)
    good = (apart <= limit) & (back[near] == np.arange(len(first)))
    return first[good], second[near[good]]


def nearest(x: Floats, y: Floats, among_x: Floats, among_y: Floats) -> tuple[NDArray[np.intp], Floats]:
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
class Shift:
    """By how much the placements miss each other: a smooth correction in the shallower picture's pixels."""

    across: Floats
    down: Floats
    size: float

    @classmethod
    def of(cls, deep: Side, shallow: Side, pairs: tuple[NDArray[np.intp], NDArray[np.intp]]) -> Shift:
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

    def places(self, deep: Side, shallow: Side, which: NDArray[np.intp]) -> tuple[Floats, Floats]:
        x, y = shallow.places(deep.ra[which], deep.dec[which])
        terms = _terms(x / self.size, y / self.size)
        return x + terms @ self.across, y + terms @ self.down


def _terms(u: Floats, v: Floats) -> Floats:
    return np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=1)
