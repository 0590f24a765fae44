"""A target over the years: every picture of it, and how its light grew night by night."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import date
from typing import TYPE_CHECKING

from noctuary.archive.records import Rig, Session
from noctuary.facts.depth import depth_of, hours_to_half_magnitude, light_m2_h
from noctuary.facts.exposure import Integration, by_filter_s, distinct, integration
from noctuary.facts.optics import collecting_area_m2
from noctuary.facts.picture import PictureFacts, SessionFacts
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

    Light is time times aperture, so the definition of depth comes apart without a rest:
    1.25·log10(light ratio) = 1.25·log10(ratio of hours) + 1.25·log10(ratio of mean collecting areas), and
    0.5 · the difference of the skies. ``sky_mag`` is ``None``, and no part of the total, where one of the two skies
    is not known.
    """

    hours_mag: float
    aperture_mag: float
    sky_mag: float | None

    @property
    def total_mag(self) -> float:
        return self.hours_mag + self.aperture_mag + (self.sky_mag or 0.0)


@plain_record
class Growth:
    """What a picture holds and what it added since the picture before it; differences are ``None`` for the first.

    ``image_scale_arcsec_px`` and ``sampling_px`` as :class:`noctuary.facts.optics.Optics` has them, ``None``
    where they are not known; ``…_inferred``: the scale rests on the size of the picture alone. ``deeper`` says how
    much deeper the picture is, and why.
    """

    picture_id: str
    total_s: float | None
    light_m2_h: float | None
    depth_mag: float | None
    image_scale_arcsec_px: float | None
    sampling_px: float | None
    before_id: str | None
    added_s: float | None
    added_light_m2_h: float | None
    deeper: Deepening | None
    scale_inferred: bool
    scale_before_arcsec_px: float | None
    scale_before_inferred: bool
    sampling_before_px: float | None


@plain_record
class TargetFacts:
    """One target, under the name by which the archive calls it and pages speak of it.

    What belongs together, and leads from one page to another, is told by ``identity``, its name in the catalogue.
    ``pictures`` are the listed ones, newest first; ``growth`` oldest first.
    """

    object: SkyObject
    name: str
    pictures: tuple[PictureFacts, ...]
    sessions: tuple[SessionFacts, ...]
    integration: Integration
    steps: tuple[Step, ...]
    growth: tuple[Growth, ...]
    light_m2_h: float | None
    depth_mag: float | None
    half_magnitude_h: float | None

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
    total, found = 0.0, []
    for (night, name), light_s in sorted(added.items()):
        total += light_s
        found.append(Step(night, name, light_s, total))
    return tuple(found)


def growth(pictures: tuple[PictureFacts, ...]) -> tuple[Growth, ...]:
    """How each picture of a target compares with the one before it, oldest first."""
    found: list[Growth] = []
    before: PictureFacts | None = None
    for facts in sorted(pictures, key=lambda f: (f.picture.finished, f.picture.id)):
        seen, seen_before = facts.optics, before.optics if before else None
        found.append(
            Growth(
                picture_id=facts.picture.id,
                total_s=facts.integration.total_s,
                light_m2_h=facts.light_m2_h,
                depth_mag=facts.depth_mag,
                image_scale_arcsec_px=seen.image_scale_arcsec_px if seen else None,
                sampling_px=seen.sampling_px if seen else None,
                before_id=before.picture.id if before else None,
                added_s=_added(facts, before, lambda f: f.integration.total_s, _without_hours),
                added_light_m2_h=_added(facts, before, lambda f: f.light_m2_h, _without_light),
                deeper=deepening(before, facts) if before else None,
                scale_inferred=seen is not None and seen.inferred,
                scale_before_arcsec_px=seen_before.image_scale_arcsec_px if seen_before else None,
                scale_before_inferred=seen_before is not None and seen_before.inferred,
                sampling_before_px=seen_before.sampling_px if seen_before else None,
            )
        )
        before = facts
    return tuple(found)


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


def _without_hours(facts: PictureFacts) -> set[tuple[str, int]]:
    """The sessions of which the exposures are not recorded."""
    return {f.session.identity for f in facts.sessions if f.integration_s is None}


def _without_light(facts: PictureFacts) -> set[tuple[str, int]]:
    """The sessions of which the exposures or the aperture are not known."""
    apertures = {f.session.identity: collecting_area_m2(f.session.rig) for f in facts.sessions}
    return _without_hours(facts) | {identity for identity, area in apertures.items() if area is None}


def deepening(before: PictureFacts, after: PictureFacts) -> Deepening | None:
    """How much deeper ``after`` is than ``before``, and why; ``None`` where the light of one is not known in full."""
    if _without_light(before) or _without_light(after):
        return None
    hours = [(f.integration.total_s or 0.0) / 3600 for f in (before, after)]
    light = [f.light_m2_h or 0.0 for f in (before, after)]
    if min(*hours, *light) <= 0:
        return None
    sky = [f.sky_brightness for f in (before, after)]
    return Deepening(
        hours_mag=1.25 * math.log10(hours[1] / hours[0]),
        aperture_mag=1.25 * math.log10((light[1] / hours[1]) / (light[0] / hours[0])),
        sky_mag=0.5 * (sky[1] - sky[0]) if sky[0] is not None and sky[1] is not None else None,
    )


def target_facts(
    target: SkyObject, name: str, pictures: tuple[PictureFacts, ...], reference: Rig | None
) -> TargetFacts:
    """Totals of a target over the distinct sessions of its pictures; ``name`` is the archive's for it."""
    parts = {f.session.identity: f for p in pictures for f in p.sessions}
    ordered = tuple(sorted(parts.values(), key=_night_order))
    sessions = tuple(f.session for f in ordered)
    return TargetFacts(
        object=target,
        name=name,
        pictures=pictures,
        sessions=ordered,
        integration=integration(sessions),
        steps=steps(sessions),
        growth=growth(pictures),
        light_m2_h=light_m2_h(sessions),
        depth_mag=depth_of(sessions, reference),
        half_magnitude_h=hours_to_half_magnitude(sessions),
    )


def _night_order(facts: SessionFacts) -> tuple[date, float, tuple[str, int]]:
    session = facts.session
    return session.night, session.start.timestamp() if session.start else float("inf"), session.identity
