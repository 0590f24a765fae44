"""What the sky says, asked all at once and remembered.

Names, ephemerides and the contents of a field never change for the same question, and the engines that
answer (the catalogue, astropy) cost half a second to load. An almanac is asked for many answers at a
time, loads an engine only for those that it has not got, and can be kept between builds.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from noctuary.archive.records import Archive, Place, Session
from noctuary.diagnostic import Mark
from noctuary.facts.time_use import Darkness
from noctuary.memo import Memo
from noctuary.sky.session_sky import SkyDuring
from noctuary.sky.sky_object import SkyObject

if TYPE_CHECKING:
    from noctuary.facts.placement_summary import PlacementSummary
    from noctuary.sky.catalogue import Catalogue

InField = tuple[tuple[SkyObject, float, float], ...]


class Almanac:
    """Answers about the sky for one archive, recollected where they were worked out before."""

    def __init__(self, archive: Archive, recollection: Memo | None = None) -> None:
        # Where an entry was written is no part of what it says.
        self._own = repr([replace(own, mark=Mark("")) for own in archive.own_objects])
        self._archive = archive
        self._known = recollection if recollection is not None else Memo()
        self._catalogue: Catalogue | None = None

    @property
    def catalogue(self) -> Catalogue:
        if self._catalogue is None:
            from noctuary.facts.objects import catalogue_of

            self._catalogue = catalogue_of(self._archive)
        return self._catalogue

    def object(self, written: str) -> SkyObject:
        """The object that a name means; where nothing knows it, one of that name without a place."""
        from noctuary.facts.objects import unknown_object

        return self.known(written) or unknown_object(written)

    def known(self, written: str) -> SkyObject | None:
        """The object that a name means, or ``None`` where nothing knows it."""
        # Own objects are part of the question: editing objects.yaml makes old answers stale.
        found: SkyObject | None = self._known.ask(
            ("object", written, self._own), lambda: self.catalogue.find(written), SkyObject | None
        )
        return found

    def during(self, sessions: Sequence[Session]) -> dict[tuple[str, int], SkyDuring]:
        """The sky during each session that has clock times and a place to tell of, by its identity; one sweep."""
        from_question: dict[Any, list[Session]] = {}
        for session in sessions:
            if (question := self._observation(session)) is not None:
                from_question.setdefault(question, []).append(session)
        missing = self._known.missing(from_question, SkyDuring)
        if missing:
            from noctuary.sky.ephemeris import Observation, sky_during

            for question, answer in zip(missing, sky_during([Observation(*q[1:]) for q in missing]), strict=True):
                self._known.learn(question, answer)
        return {s.identity: self._known.known(q, SkyDuring) for q, group in from_question.items() for s in group}

    def darkness(self, sessions: Iterable[Session]) -> dict[tuple[str, date], Darkness]:
        """The astronomical darkness of each session's night at its place as published, by place and evening."""
        questions = {
            (s.place.name, s.night): question
            for s in sessions
            if s.place is not None and (question := _dark_night(s.night, s.place)) is not None
        }
        missing = self._known.missing(questions.values(), Darkness)
        if missing:
            from noctuary.sky.darkness import darkness

            for question, answer in zip(missing, darkness([(q[1], q[2], q[3]) for q in missing]), strict=True):
                self._known.learn(question, answer)
        return {night: self._known.known(q, Darkness) for night, q in questions.items()}

    def moon_at_midnight(self, sessions: Sequence[Session]) -> dict[tuple[str, int], float]:
        """The Moon's illuminated fraction at local midnight of each session's night, by identity.

        A session whose place is not known or hidden has none: midnight there is not known or not published.
        """
        questions = {
            s.identity: ("moon", _midnight(s.night, s.place))
            for s in sessions
            if s.place is not None and s.place.published is not None
        }
        missing = self._known.missing(questions.values(), float)
        if missing:
            from noctuary.sky.ephemeris import illuminated_fraction

            for question, answer in zip(missing, illuminated_fraction([q[1] for q in missing]), strict=True):
                self._known.learn(question, float(answer))
        return {identity: self._known.known(q, float) for identity, q in questions.items()}

    def in_field(self, placed: PlacementSummary) -> InField:
        """Objects whose centre is in the picture, with their pixel positions."""

        def look() -> InField:
            from noctuary.sky.field_contents import in_field

            return tuple(in_field(placed.placement(), self._around(placed)))

        found: InField = self._known.ask(("in field", placed.key, self._own), look, InField)
        return found

    def touching(self, placed: PlacementSummary) -> InField:
        """Objects whose centre or extent falls in the picture, named bright stars included."""

        def look() -> InField:
            from noctuary.sky.field_contents import in_field, touching

            placement = placed.placement()
            stars = in_field(placement, self.catalogue.bright_stars())
            return (*touching(placement, self._around(placed)), *stars)

        found: InField = self._known.ask(("touching", placed.key, self._own), look, InField)
        return found

    def _around(self, placed: PlacementSummary) -> Iterable[SkyObject]:
        ra, dec = placed.centre
        return self.catalogue.around(ra, dec, placed.field_deg[2] / 2 * 1.05 + 0.01)

    def _observation(self, session: Session) -> tuple[Any, ...] | None:
        where = session.place.published if session.place is not None else None
        if session.start is None or session.end is None or where is None:
            return None
        target = self.object(session.target) if session.target is not None else None
        latitude, longitude, elevation = where
        fixed = target is not None and not target.moves
        return (
            "during",
            latitude,
            longitude,
            elevation,
            session.start.astimezone(UTC),
            session.end.astimezone(UTC),
            target.ra_deg if target is not None and fixed else None,
            target.dec_deg if target is not None and fixed else None,
            target.body if target is not None else None,
        )


def _midnight(night: date, place: Place) -> datetime:
    after = night + timedelta(days=1)
    return datetime(after.year, after.month, after.day, tzinfo=ZoneInfo(place.time_zone)).astimezone(UTC)


def _dark_night(night: date, place: Place) -> tuple[Any, ...] | None:
    if place.published is None:
        return None
    latitude, longitude, _ = place.published
    noon = datetime(night.year, night.month, night.day, 12, tzinfo=ZoneInfo(place.time_zone)).astimezone(UTC)
    return "darkness", latitude, longitude, noon
