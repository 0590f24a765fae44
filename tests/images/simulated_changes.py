"""What changes on a simulated sky: variables, new stars, bodies that move; and what differs though it does not."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from noctuary.geometry import separations_deg
from noctuary.images.changes import Change
from noctuary.sky.placement import Placement, from_centre
from numpy.random import Generator

from tests.images.simulated_pairs import FieldStars, Floats, Pair

MATCH_ARCSEC = 6.0


@dataclass
class Injected:
    """Places (degrees) and the magnitudes there in the picture that shows more."""

    ra: list[float] = field(default_factory=list)
    dec: list[float] = field(default_factory=list)
    mag: list[float] = field(default_factory=list)

    def add(self, ra: float, dec: float, mag: float) -> None:
        self.ra.append(ra)
        self.dec.append(dec)
        self.mag.append(mag)

    def shared(self, both: Pair, edge_px: float = 40.0) -> list[bool]:
        """Whether each place lies in both pictures, well within them."""
        inside = np.ones(len(self.ra), dtype=bool)
        for side in (both.older, both.newer):
            x, y = side.placement.pixel(self.ra, self.dec)
            inside &= (np.minimum(x, y) > edge_px) & (x < side.placement.width_px - edge_px)
            inside &= y < side.placement.height_px - edge_px
        return inside.tolist()

    def found(self, candidates: tuple[Change, ...]) -> list[bool]:
        """Whether each of them is among the candidates."""
        if not candidates:
            return [False] * len(self.ra)
        ra, dec = (np.array([getattr(c, key) for c in candidates]) for key in ("ra_deg", "dec_deg"))
        return [
            bool((separations_deg(ra, dec, a, d) * 3600.0 < MATCH_ARCSEC).any())
            for a, d in zip(self.ra, self.dec, strict=True)
        ]

    def false(self, candidates: tuple[Change, ...]) -> int:
        """How many candidates are none of them."""
        ra, dec = np.array(self.ra), np.array(self.dec)
        return sum(
            not (len(ra) and (separations_deg(ra, dec, c.ra_deg, c.dec_deg) * 3600.0 < MATCH_ARCSEC).any())
            for c in candidates
        )


Changed = Callable[[FieldStars], tuple[FieldStars, FieldStars]]


def star_by_star(rng: Generator, by_mag: float) -> Changed:
    """Every star differs a little, as colours do through two cameras and filters."""

    def changed(stars: FieldStars) -> tuple[FieldStars, FieldStars]:
        return stars, replace(stars, mag=stars.mag + rng.normal(0.0, by_mag, len(stars.mag)))

    return changed


def variables(rng: Generator, injected: Injected, number: int, by_mag: float, colours_mag: float) -> Changed:
    """Stars up to three magnitudes above the worse picture's limit that are fainter by so much in either picture."""

    def changed(stars: FieldStars) -> tuple[FieldStars, FieldStars]:
        older, newer = star_by_star(rng, colours_mag)(stars)
        mag, later = older.mag.copy(), newer.mag.copy()
        chosen = rng.choice(_alone_enough(stars, min(stars.limits)), number, replace=False)
        for star in chosen:
            (later if rng.random() < 0.5 else mag)[star] += by_mag
            injected.add(float(stars.ra[star]), float(stars.dec[star]), float(stars.mag[star]))
        return replace(older, mag=mag), replace(newer, mag=later)

    return changed


def new_stars(rng: Generator, injected: Injected, number: int, colours_mag: float) -> Changed:
    """Stars that one of the two pictures has and the other has not."""

    def changed(stars: FieldStars) -> tuple[FieldStars, FieldStars]:
        shown = list(star_by_star(rng, colours_mag)(stars))
        for _ in range(number):
            ra, dec = _free_place(rng, stars)
            mag = min(stars.limits) - float(rng.uniform(0.0, 3.0))
            which = int(rng.random() < 0.5)
            shown[which] = _with(shown[which], ra, dec, mag)
            injected.add(ra, dec, mag)
        return shown[0], shown[1]

    return changed


def moved_bodies(rng: Generator, injected: Injected, number: int, colours_mag: float) -> Changed:
    """Bodies that lie an arcminute or more from where they lay: two places each, one in either picture."""

    def changed(stars: FieldStars) -> tuple[FieldStars, FieldStars]:
        shown = list(star_by_star(rng, colours_mag)(stars))
        for _ in range(number):
            mag = min(stars.limits) - float(rng.uniform(0.0, 3.0))
            ra, dec = _free_place(rng, stars)
            way, far = rng.uniform(0, 2 * math.pi), rng.uniform(60, 240) / 3600.0
            later = ra + far * math.sin(way) / math.cos(math.radians(dec)), dec + far * math.cos(way)
            for which, place in enumerate(((ra, dec), later)):
                shown[which] = _with(shown[which], *place, mag)
                injected.add(*place, mag)
        return shown[0], shown[1]

    return changed


def missed_by(rng: Generator, pixels: float) -> Callable[[Placement], Placement]:
    """A placement as a solution gives it: a little beside, a little turned, a little off in scale."""

    def placed_as(true: Placement) -> Placement:
        scale = true.image_scale_arcsec_px
        ra, dec = true.centre
        off = rng.normal(0.0, pixels * scale / 3600.0, 2)
        turn = math.degrees(pixels / max(true.width_px, true.height_px))
        return from_centre(
            ra + off[0] / math.cos(math.radians(dec)), dec + off[1],
            scale * (1.0 + rng.normal(0.0, pixels / true.width_px)),
            true.position_angle_deg + rng.normal(0.0, turn), true.mirrored, true.width_px, true.height_px,
        )  # fmt: skip

    return placed_as


def _with(stars: FieldStars, ra: float, dec: float, mag: float) -> FieldStars:
    return replace(stars, ra=np.append(stars.ra, ra), dec=np.append(stars.dec, dec), mag=np.append(stars.mag, mag))


def _alone_enough(stars: FieldStars, limit: float) -> Floats:
    """Stars up to three magnitudes above a limit, in the middle of the field where both pictures surely are."""
    middle = np.median(stars.ra), np.median(stars.dec)
    near = separations_deg(stars.ra, stars.dec, *middle) < 0.14
    bright = np.flatnonzero(near & (stars.mag < limit) & (stars.mag > limit - 3.0))
    return np.asarray([star for star in bright if _room(stars, stars.ra[star], stars.dec[star], stars.mag[star])])


def _free_place(rng: Generator, stars: FieldStars) -> tuple[float, float]:
    middle = float(np.median(stars.ra)), float(np.median(stars.dec))
    while True:
        far, way = 0.13 * math.sqrt(rng.random()), rng.uniform(0, 2 * math.pi)
        ra = middle[0] + far * math.sin(way) / math.cos(math.radians(middle[1]))
        dec = middle[1] + far * math.cos(way)
        if _room(stars, ra, dec, min(stars.limits)):
            return ra, dec


def _room(stars: FieldStars, ra: float, dec: float, mag: float) -> bool:
    """Whether nothing within 15″ has more than a twentieth of its light, nor much more within 40″."""
    apart = separations_deg(stars.ra, stars.dec, ra, dec) * 3600.0
    beside = (apart > 0.5) & (apart < 15.0) & (stars.mag < mag + 3.2)
    return not bool((beside | ((apart > 0.5) & (apart < 40.0) & (stars.mag < mag - 2.5))).any())
