"""What a rule of plausibility is, and what it judges."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from noctuary.archive.records import Archive, Picture, Session
from noctuary.diagnostic import Level, Mark
from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.facts.picture import PictureFacts, SessionFacts
from noctuary.plain_record import plain_record

if TYPE_CHECKING:
    from noctuary.sky.catalogue import SkyObject


class Sighting(NamedTuple):
    """One instance of what a rule looks for; ``answered_by`` are the pictures whose sidecars can answer it."""

    mark: Mark
    message: str
    hint: str
    answered_by: tuple[Picture, ...] = ()


@plain_record
class Rule:
    """A rule of plausibility. ``source`` names a publication, a definition or common practice."""

    name: str
    level: Level
    reason: str
    example: str
    source: str | None
    sightings: Callable[[Case], Iterator[Sighting]]


@plain_record
class Case:
    """What the rules judge: an archive, what was derived from it, and the date of the day."""

    archive: Archive
    facts: ArchiveFacts
    today: date

    @cached_property
    def sessions(self) -> tuple[tuple[Picture, Session], ...]:
        """Every session that a sidecar writes out, with its picture; drafts included."""
        return tuple((p, s) for p in self.archive.pictures.values() for s in p.own_sessions)

    @cached_property
    def session_facts(self) -> Mapping[tuple[str, int], SessionFacts]:
        """What is derived about the sessions of shown pictures."""
        return {f.session.identity: f for p in self.facts.pictures.values() for f in p.sessions}

    @cached_property
    def objects(self) -> Mapping[str, SkyObject]:
        """Names as written → what they mean, for the targets of shown pictures."""
        return {
            name: known
            for p in self.facts.pictures.values()
            if len(p.picture.objects) == len(p.objects)
            for name, known in zip(p.picture.objects, p.objects, strict=True)
        }

    @property
    def shown(self) -> tuple[PictureFacts, ...]:
        return tuple(self.facts.pictures.values())

    def target(self, session: Session) -> SkyObject | None:
        """What a session's target means, where that is known."""
        return self.objects.get(session.target) if session.target is not None else None

    def target_of(self, facts: PictureFacts) -> str:
        """What a picture's record calls its target; empty where it has none."""
        if facts.target is None:
            return ""
        return self.facts.names.in_record(facts.target, facts.picture.objects[0])

    def deep_sky(self, session: Session) -> bool:
        """Whether the target has a fixed place: not the Sun, the Moon, a planet, a comet or an aurora."""
        target = self.target(session)
        return target is not None and not target.moves and target.ra_deg is not None


def at(picture: Picture, session: Session, *path: str | int) -> Mark:
    """Where a value of a session was written."""
    return picture.marks.at("sessions", session.index, *path)


def length_s(session: Session) -> float | None:
    """The time from start to end."""
    if session.start is None or session.end is None:
        return None
    return session.end.timestamp() - session.start.timestamp()


RULES: dict[str, Rule] = {}


def rule(
    name: str, level: Level, reason: str, example: str, source: str | None = None
) -> Callable[[Callable[[Case], Iterator[Sighting]]], Callable[[Case], Iterator[Sighting]]]:
    def register(function: Callable[[Case], Iterator[Sighting]]) -> Callable[[Case], Iterator[Sighting]]:
        RULES[name] = Rule(name, level, reason, example, source, function)
        return function

    return register
