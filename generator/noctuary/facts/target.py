"""A target over the years: every picture of it, and how its light grew night by night."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import date
from typing import TYPE_CHECKING

from noctuary.archive.records import Rig, Session
from noctuary.facts.depth import Depth, depth_of_fields, hours_to_half_magnitude, light_of_fields
from noctuary.facts.exposure import Frames, Integration, by_filter_s, distinct, film, integration
from noctuary.facts.mosaic import Field, fields_of_several
from noctuary.facts.optics import collecting_area_m2
from noctuary.facts.picture import PictureFacts, SessionFacts
from noctuary.facts.reach import Reach, reach_of
from noctuary.plain_record import plain_record

if TYPE_CHECKING:
    from noctuary.sky.catalogue import SkyObject


@plain_record
class Step:
    """What one night added through one filter, and the target's total after it (seconds)."""

    night: date
    filter: str
    added_s: float
    total_s: float


@plain_record
class Deepening:
    """How much deeper one picture is than another, in mag/arcsec², and what each cause gave of it.

    What depth counts is hours × mean collecting area × mean darkness of the sky (against 21.0, weighed by light), so
    the difference of two depths comes apart without a rest into 1.25·log10 of the three ratios.
    """

    hours_mag: float
    aperture_mag: float
    sky_mag: float

    @property
    def total_mag(self) -> float:
        return self.hours_mag + self.aperture_mag + self.sky_mag


@plain_record
class Growth:
    """What a picture holds and what it added since the picture before it.

    Differences are ``None`` for the first picture, and those of hours beside a film.
    ``image_scale_arcsec_px`` and ``sampling_px`` as :class:`noctuary.facts.optics.Optics` has them, ``None``
    where they are not known; ``…_inferred``: the scale rests on the size of the picture alone. ``deeper`` says how
    much deeper the picture is, and why; ``depth_before`` is the depth of the picture before it. ``same_sessions``: it
    is made of exactly the sessions of the picture before it; ``reach``: what was measured of the two.
    """

    picture_id: str
    total_s: float | None
    light_m2_h: float | None
    depth: Depth
    image_scale_arcsec_px: float | None
    sampling_px: float | None
    before_id: str | None
    added_s: float | None
    added_light_m2_h: float | None
    same_sessions: bool
    depth_before: Depth | None
    deeper: Deepening | None
    scale_inferred: bool
    scale_before_arcsec_px: float | None
    scale_before_inferred: bool
    sampling_before_px: float | None
    reach: Reach | None


@plain_record
class TargetFacts:
    """One target, under the name by which the archive calls it and pages speak of it.

    What belongs together, and leads from one page to another, has one ``identity``, its name in the catalogue.
    ``pictures`` are the listed ones, newest first; ``growth`` oldest first. ``fields`` are its deep-sky sessions by
    the piece of sky that they were for; light and depth are those of the least field. ``film``: its frames by
    exposure where all of them are shorter than a second.
    """

    object: SkyObject
    name: str
    pictures: tuple[PictureFacts, ...]
    sessions: tuple[SessionFacts, ...]
    integration: Integration
    steps: tuple[Step, ...]
    growth: tuple[Growth, ...]
    film: tuple[Frames, ...]
    fields: tuple[Field, ...]
    light_m2_h: float | None
    depth: Depth
    half_magnitude_h: float | None

    @property
    def fixed(self) -> bool:
        """Whether it is where it was the next time."""
        return has_fixed_place(self.object)

    @property
    def identity(self) -> str:
        return self.object.name


def steps(sessions: tuple[Session, ...]) -> tuple[Step, ...]:
    """Cumulative integration by night and filter over distinct sessions, oldest first."""
    added: dict[tuple[date, str], float] = {}
    for session in distinct(sessions):
        for name, light_s in by_filter_s(session):
            key = (session.night, name)
            added[key] = added.get(key, 0.0) + light_s
    total, cumulative = 0.0, []
    for (night, name), light_s in sorted(added.items()):
        total += light_s
        cumulative.append(Step(night, name, light_s, total))
    return tuple(cumulative)


def growth(pictures: tuple[PictureFacts, ...], fixed: bool = True) -> tuple[Growth, ...]:
    """How each picture of a target compares with the one before it, oldest first.

    Without a ``fixed`` place the target is another thing the next time, and none is deeper than another.
    """
    differences: list[Growth] = []
    before: PictureFacts | None = None
    for facts in sorted(pictures, key=lambda f: (f.picture.finished, f.picture.id)):
        optics, optics_before = facts.optics, before.optics if before else None
        differences.append(
            Growth(
                picture_id=facts.picture.id,
                total_s=facts.integration.total_s,
                light_m2_h=facts.light_m2_h,
                depth=facts.depth,
                image_scale_arcsec_px=optics.image_scale_arcsec_px if optics else None,
                sampling_px=optics.sampling_px if optics else None,
                before_id=before.picture.id if before else None,
                added_s=_added(facts, before, _hours_s, _without_hours),
                added_light_m2_h=_added(facts, before, lambda f: f.light_m2_h, _without_light),
                same_sessions=before is not None and _identities(before) == _identities(facts),
                depth_before=before.depth if before else None,
                deeper=deepening(before.depth, facts.depth) if before and fixed else None,
                scale_inferred=optics is not None and optics.inferred,
                scale_before_arcsec_px=optics_before.image_scale_arcsec_px if optics_before else None,
                scale_before_inferred=optics_before is not None and optics_before.inferred,
                sampling_before_px=optics_before.sampling_px if optics_before else None,
                reach=reach_of(facts, before) if before and fixed else None,
            )
        )
        before = facts
    return tuple(differences)


def _added(
    facts: PictureFacts,
    before: PictureFacts | None,
    total: Callable[[PictureFacts], float | None],
    lacking: Callable[[PictureFacts], set[tuple[str, int]]],
) -> float | None:
    """A difference of totals; ``None`` for the first, and where one total lacks a session that the other has not."""
    if before is None or lacking(before) != lacking(facts):
        return None
    now, then = total(facts), total(before)
    return now - then if now is not None and then is not None else None


def _identities(facts: PictureFacts) -> set[tuple[str, int]]:
    return {f.session.identity for f in facts.sessions}


def _without_hours(facts: PictureFacts) -> set[tuple[str, int]]:
    """The sessions of which the exposures are not recorded."""
    return {f.session.identity for f in facts.sessions if f.integration_s is None}


def _without_light(facts: PictureFacts) -> set[tuple[str, int]]:
    """The sessions of which the exposures or the aperture are not known."""
    apertures = {f.session.identity: collecting_area_m2(f.session.rig) for f in facts.sessions}
    return _without_hours(facts) | {identity for identity, area in apertures.items() if area is None}


def _hours_s(facts: PictureFacts) -> float | None:
    # The moments that a film adds up to are no measure of what was added.
    return None if facts.film else facts.integration.total_s


def deepening(before: Depth, after: Depth) -> Deepening | None:
    """How much deeper ``after`` is than ``before``, and why.

    ``None`` where one of the two is not known or only a lower bound, which says nothing of the difference.
    """
    if before.mag is None or after.mag is None or before.at_least or after.at_least:
        return None

    def magnitudes(amount: Callable[[Depth], float]) -> float:
        return 1.25 * math.log10(amount(after) / amount(before))

    return Deepening(
        hours_mag=magnitudes(lambda d: d.hours),
        aperture_mag=magnitudes(lambda d: d.light_m2_h / d.hours),
        sky_mag=magnitudes(lambda d: d.weighed_m2_h / d.light_m2_h),
    )


def has_fixed_place(known: SkyObject) -> bool:
    """Whether an object is where it was the next time: not the Sun, the Moon, a planet or a comet.

    What is known by its name alone is taken to have a place that nobody has given.
    """
    return not known.moves and (known.ra_deg is not None or known.kind == "object")


def target_facts(
    target: SkyObject, name: str, pictures: tuple[PictureFacts, ...], reference: Rig | None
) -> TargetFacts:
    """Totals of a target over the distinct sessions of its pictures; ``name`` is the archive's for it."""
    parts = {f.session.identity: f for p in pictures for f in p.sessions}
    ordered = tuple(sorted(parts.values(), key=_night_order))
    sessions = tuple(f.session for f in ordered)
    fields = fields_of_several([p.fields for p in pictures])
    return TargetFacts(
        object=target,
        name=name,
        pictures=pictures,
        sessions=ordered,
        integration=integration(sessions),
        steps=steps(sessions),
        growth=growth(pictures, has_fixed_place(target)),
        film=film(sessions),
        fields=fields,
        light_m2_h=light_of_fields(fields),
        depth=depth_of_fields(fields, reference),
        half_magnitude_h=hours_to_half_magnitude(fields) if has_fixed_place(target) else None,
    )


def _night_order(facts: SessionFacts) -> tuple[date, float, tuple[str, int]]:
    session = facts.session
    return session.night, session.start.timestamp() if session.start else float("inf"), session.identity
