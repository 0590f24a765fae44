"""Depth as pages print it: to the hundredth of a magnitude, with parts that add up to what is printed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from noctuary.facts.depth import Depth
from noctuary.facts.target import Growth, TargetFacts
from noctuary.plain_record import plain_record

#: How much of the light that a depth counts came through narrowband filters.
Narrowband = Literal["none", "part", "all"]


@plain_record
class DepthNote:
    """A depth in mag/arcsec², rounded to what is printed; a lower bound where ``at_least``.

    ``narrowband_s`` seconds of the light that it counts came through narrowband filters, ``narrowband`` says whether
    that is some of it or all. ``sessions_without_sky`` and ``sessions_without_light`` (of unknown aperture or
    exposures) count for nothing.
    """

    mag: float
    at_least: bool
    sessions_without_sky: int
    sessions_without_light: int
    narrowband: Narrowband
    narrowband_s: float


@plain_record
class DeeperNote:
    """How much deeper a picture is than another, in mag/arcsec² rounded to what is printed.

    The three parts add up to ``total_mag``, and that is the difference of the two depths as printed. ``other_light``:
    one of the two is mostly narrowband and the other is not, so that they are not on one scale.
    """

    total_mag: float
    hours_mag: float
    aperture_mag: float
    sky_mag: float
    other_light: bool


@plain_record
class ReachNote:
    """What a picture shows beside the one before: rounded to what is printed.

    ``expected_mag`` is what hours, aperture and sky let expect, ``short`` whether the pictures show much less.
    ``star_ratio`` is how many times as many stars are found, ``None`` where there were none before.
    """

    deeper_mag: float
    uncertainty_mag: float
    expected_mag: float | None
    star_ratio: float | None
    fwhm_arcsec: float
    fwhm_before_arcsec: float
    short: bool


@plain_record
class GrowthNote:
    """What a picture holds and what it added since another."""

    growth: Growth
    depth: DepthNote | None
    deeper: DeeperNote | None
    reach: ReachNote | None


def depth_note(depth: Depth) -> DepthNote | None:
    """A depth as it is printed, ``None`` where there is none."""
    if depth.mag is None:
        return None
    share = _narrowband_share(depth)
    return DepthNote(
        mag=round(depth.mag, 2),
        at_least=depth.at_least,
        sessions_without_sky=depth.sessions_without_sky,
        sessions_without_light=depth.sessions_without_light,
        narrowband="none" if share <= 0 else "all" if share > 1 - 1e-9 else "part",
        narrowband_s=depth.narrowband_h * 3600,
    )


def deeper_note(growth: Growth) -> DeeperNote | None:
    """How much deeper a picture is than the one before, as it is printed; ``None`` where that is not known."""
    before, after, deeper = growth.depth_before, growth.depth, growth.deeper
    if deeper is None or before is None or before.mag is None or after.mag is None:
        return None
    total = round(100 * round(after.mag, 2)) - round(100 * round(before.mag, 2))
    parts = apportioned([100 * m for m in (deeper.hours_mag, deeper.aperture_mag, deeper.sky_mag)], total)
    hours, aperture, sky = (part / 100 for part in parts)
    mostly = [_narrowband_share(d) >= 0.5 for d in (before, after)]
    return DeeperNote(total / 100, hours, aperture, sky, mostly[0] != mostly[1])


def growth_note(growth: Growth) -> GrowthNote:
    return GrowthNote(growth, depth_note(growth.depth), deeper_note(growth), reach_note(growth))


def reach_note(growth: Growth) -> ReachNote | None:
    """What was measured of a picture and the one before, as it is printed; ``None`` where nothing was."""
    reach = growth.reach
    if reach is None:
        return None
    deeper = deeper_note(growth)
    expected = None if deeper is None or deeper.other_light else deeper.total_mag
    return ReachNote(
        deeper_mag=round(reach.deeper_mag, 1),
        uncertainty_mag=max(round(reach.uncertainty_mag, 1), 0.1),
        expected_mag=None if expected is None else round(expected, 1),
        star_ratio=reach.star_ratio,
        fwhm_arcsec=reach.fwhm_arcsec,
        fwhm_before_arcsec=reach.fwhm_before_arcsec,
        short=expected is not None and reach.falls_short_of(expected),
    )


def growth_notes(target: TargetFacts) -> dict[str, GrowthNote]:
    """What each picture of a target added, by the picture's id."""
    return {g.picture_id: growth_note(g) for g in target.growth}


def apportioned(parts: Sequence[float], total: int) -> tuple[int, ...]:
    """Whole numbers next to ``parts`` that add up to ``total``: those furthest from their part give way first.

    The method of largest remainders, as seats are apportioned to votes.
    """
    whole = [round(part) for part in parts]
    while (missing := total - sum(whole)) and whole:
        step = 1 if missing > 0 else -1
        at = max(range(len(whole)), key=lambda i: step * (parts[i] - whole[i]))
        whole[at] += step
    return tuple(whole)


def _narrowband_share(depth: Depth) -> float:
    return depth.narrowband_h / depth.hours if depth.hours > 0 else 0.0
