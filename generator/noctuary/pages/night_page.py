"""A night's page: a log in clock order, and what the person wrote about it."""

from __future__ import annotations

from datetime import UTC, date, datetime
from functools import partial
from typing import TYPE_CHECKING

from noctuary.archive.records import Night
from noctuary.charts.drawing import Drawing
from noctuary.charts.night import Curve, night_chart
from noctuary.facts.archive_facts import NightFacts
from noctuary.facts.exposure import Kept
from noctuary.facts.object_names import ObjectNames
from noctuary.facts.time_use import DarkUse, SessionUse
from noctuary.pages.gallery import gallery
from noctuary.pages.gallery_item import GalleryItem
from noctuary.pages.page import Frame, Link, PagePlan
from noctuary.pages.session_rows import Entry, PlaceNote, entry, place_note, places_of
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record

if TYPE_CHECKING:
    from noctuary.sky.catalogue import SkyObject


@plain_record
class NightNote:
    """What the person noted at one place: °C, percent, m/s, mag/arcsec², Markdown."""

    place: str | None
    title: str | None
    temperature_c: float | None
    humidity_percent: float | None
    wind_m_s: float | None
    sky_brightness: float | None
    prose: str


@plain_record
class TimeUseLine:
    """How one session went; ``target`` as the page calls it."""

    target: str | None
    rig: str | None
    use: SessionUse


@plain_record
class NightContext:
    """One evening: ``entries`` in clock order, ``pictures`` that its light went into, how it ``went``."""

    frame: Frame
    night: date
    notes: tuple[NightNote, ...]
    entries: tuple[Entry, ...]
    places: tuple[PlaceNote, ...]
    total_s: float | None
    sessions_not_recorded: int
    kept: Kept
    moon_fraction: float | None
    pictures: tuple[GalleryItem, ...]
    earlier: Link | None
    later: Link | None
    charts: tuple[Drawing | str, ...]
    time_use: tuple[TimeUseLine, ...]
    darkness: tuple[DarkUse, ...]


def night_note(note: Night) -> NightNote:
    return NightNote(
        place=note.place,
        title=note.title,
        temperature_c=note.temperature_c,
        humidity_percent=note.humidity_percent,
        wind_m_s=note.wind_m_s,
        sky_brightness=note.sky_brightness,
        prose=note.prose,
    )


def pages(model: SiteModel) -> list[PagePlan]:
    nights = model.facts.nights  # newest first
    night_pages = []
    for at, night in enumerate(nights):
        earlier = nights[at + 1].night if at + 1 < len(nights) else None
        later = nights[at - 1].night if at else None
        tell = partial(_context, model, night, earlier, later)
        told_from = model.told_from.all_of(night.pictures, night.night, night.notes, night.use, earlier, later)
        path = model.addresses.nights[night.night]
        night_pages.append(PagePlan(path, "night.html", "night", tell, told_from=told_from))
    return night_pages


def _context(model: SiteModel, night: NightFacts, earlier: date | None, later: date | None) -> NightContext:
    def link(other: date | None) -> Link | None:
        return Link(other.isoformat(), model.addresses.nights[other]) if other else None

    fractions = [f.moon_fraction for f in night.sessions if f.moon_fraction is not None]
    return NightContext(
        frame=model.frame,
        night=night.night,
        notes=tuple(night_note(n) for n in night.notes),
        entries=tuple(entry(f, model) for f in night.sessions),
        places=tuple(place_note(place) for place in places_of(night.sessions).values()),
        total_s=night.integration.total_s,
        sessions_not_recorded=night.integration.sessions_not_recorded,
        kept=night.kept,
        moon_fraction=sum(fractions) / len(fractions) if fractions else None,
        pictures=gallery(night.pictures, model),
        earlier=link(earlier),
        later=link(later),
        charts=_charts(model, night),
        time_use=_time_use(night, model.facts.names),
        darkness=night.use.darkness,
    )


def _time_use(night: NightFacts, names: ObjectNames) -> tuple[TimeUseLine, ...]:
    uses = {use.identity: use for use in night.use.sessions}
    return tuple(
        TimeUseLine(names.of_written(s.target) if s.target else None, s.rig.name if s.rig else None, uses[s.identity])
        for s in (f.session for f in night.sessions)
        if s.identity in uses
    )


def _charts(model: SiteModel, night: NightFacts) -> tuple[Drawing, ...]:
    """A chart for each place that may be published and at which sessions say when they were."""
    charts: list[Drawing] = []
    names = model.facts.names
    for place in places_of(night.sessions).values():
        if place.published is None:
            continue
        shot: dict[str, list[tuple[datetime, datetime]]] = {}
        for s in (f.session for f in night.sessions):
            if s.place == place and s.start and s.end and s.target is not None:
                shot.setdefault(s.target, []).append((s.start.astimezone(UTC), s.end.astimezone(UTC)))
        curves = tuple(_curve(names.meant[name], names, tuple(times)) for name, times in shot.items())
        limit = model.facts.archive.horizon_deg
        chart = night_chart(place.name, place.published, place.time_zone, limit, curves)
        if chart is not None:
            charts.append(chart)
    return tuple(charts)


def _curve(target: SkyObject, names: ObjectNames, sessions: tuple[tuple[datetime, datetime], ...]) -> Curve:
    return Curve(names.of(target), target.ra_deg, target.dec_deg, target.body, sessions)
