"""A target over the years: every picture of it, and how its light grew night by night."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from generator.archive.records import Rig, Session
from generator.facts.depth import depth_of, hours_to_half_magnitude, light_m2_h
from generator.facts.exposure import UNFILTERED, Integration, distinct, group_integration_s, integration
from generator.facts.picture import PictureFacts, SessionFacts

if TYPE_CHECKING:
    from generator.sky.catalogue import SkyObject


@dataclass(frozen=True, slots=True)
class Step:
    """What one night added through one filter, and the target's total after it (seconds)."""

    night: date
    filter: str
    added_s: float
    total_s: float


@dataclass(frozen=True, slots=True)
class Growth:
    """What a picture holds and what it added since the picture before it; differences are ``None`` for the first."""

    picture_id: str
    total_s: float
    light_m2_h: float
    depth_mag: float | None
    added_s: float | None
    added_light_m2_h: float | None
    deeper_mag: float | None


@dataclass(frozen=True)
class TargetFacts:
    """One target. ``pictures`` are the listed ones, newest first; ``growth`` oldest first."""

    object: SkyObject
    pictures: tuple[PictureFacts, ...]
    sessions: tuple[SessionFacts, ...]
    integration: Integration
    steps: tuple[Step, ...]
    growth: tuple[Growth, ...]
    light_m2_h: float
    depth_mag: float | None
    half_magnitude_h: float | None

    @property
    def name(self) -> str:
        return self.object.name


def steps(sessions: tuple[Session, ...]) -> tuple[Step, ...]:
    """Cumulative integration by night and filter over distinct sessions, oldest first."""
    added: dict[tuple[date, str], float] = {}
    for session in distinct(sessions):
        for group in session.frames:
            key = (session.night, group.filter or UNFILTERED)
            added[key] = added.get(key, 0.0) + group_integration_s(group)
    total, found = 0.0, []
    for (night, name), light_s in sorted(added.items()):
        total += light_s
        found.append(Step(night, name, light_s, total))
    return tuple(found)


def growth(pictures: tuple[PictureFacts, ...]) -> tuple[Growth, ...]:
    """How each picture of a target compares with the one before it, oldest first."""
    found: list[Growth] = []
    for facts in sorted(pictures, key=lambda f: (f.picture.finished, f.picture.id)):
        before = found[-1] if found else None
        found.append(
            Growth(
                picture_id=facts.picture.id,
                total_s=facts.integration.total_s,
                light_m2_h=facts.light_m2_h,
                depth_mag=facts.depth_mag,
                added_s=facts.integration.total_s - before.total_s if before else None,
                added_light_m2_h=facts.light_m2_h - before.light_m2_h if before else None,
                deeper_mag=facts.depth_mag - before.depth_mag
                if before and before.depth_mag is not None and facts.depth_mag is not None
                else None,
            )
        )
    return tuple(found)


def target_facts(target: SkyObject, pictures: tuple[PictureFacts, ...], reference: Rig | None) -> TargetFacts:
    """Totals of a target over the distinct sessions of its pictures."""
    parts = {f.session.identity: f for p in pictures for f in p.sessions}
    ordered = tuple(sorted(parts.values(), key=_night_order))
    sessions = tuple(f.session for f in ordered)
    return TargetFacts(
        object=target,
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
