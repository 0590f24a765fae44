"""Sessions as a page lists them: what was gathered, from where, under what sky."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import Literal

from noctuary.archive.records import Calibration, FrameGroup, Place
from noctuary.charts.session_altitude import SessionAltitude
from noctuary.facts.exposure import film, group_integration_s
from noctuary.facts.picture import SessionFacts
from noctuary.pages.page import Link
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record
from noctuary.sky.session_sky import SkyDuring


@plain_record
class PlaceNote:
    """A place as it is published: coordinates in degrees only where the person lets them be shown.

    ``rounded`` says that they are whole degrees; elevation in metres only with the exact position.
    """

    name: str
    latitude_deg: float | None
    longitude_deg: float | None
    elevation_m: float | None
    rounded: bool


def place_note(place: Place) -> PlaceNote:
    if place.publish == "name" or place.published is None:
        return PlaceNote(place.name, None, None, None, False)
    latitude, longitude, elevation = place.published
    exact = place.publish == "exact"
    return PlaceNote(place.name, latitude, longitude, elevation if exact else None, not exact)


@plain_record
class FrameLine:
    """One frame group and the seconds of light that it gave."""

    group: FrameGroup
    integration_s: float


MoonCourse = Literal["up", "rises", "sets", "down"]
Darkness = Literal["dark", "partly", "light"]


@plain_record
class Entry:
    """One session. Clock times carry the place's time zone; angles and fractions are as the facts give them.

    ``film``: every frame is shorter than a second. ``low_deg`` and ``high_deg``: the least and the greatest altitude
    of the target from start to end.
    """

    night: date
    night_page: str | None
    target: str | None
    target_page: str | None
    place: str | None
    rig: str | None
    start: datetime | None
    end: datetime | None
    transit: datetime | None
    frames: tuple[FrameLine, ...]
    film: bool
    integration_s: float | None
    shutter_open_share: float | None
    sky: SkyDuring | None
    low_deg: float | None
    high_deg: float | None
    moon_fraction: float | None
    moon_course: MoonCourse | None
    darkness: Darkness | None
    sky_brightness: float | None
    star_width_arcsec: float | None
    calibration: Calibration | None
    note: str | None
    altitude: SessionAltitude | None


@plain_record
class FilterTotal:
    """What came through one filter (``None``: no filter); ``not_recorded``: nobody wrote down how it was made.

    ``kept`` and ``taken`` are ``None`` there.
    """

    filter: str | None
    kept: int | None
    taken: int | None
    integration_s: float
    not_recorded: bool = False


def entry(facts: SessionFacts, model: SiteModel) -> Entry:
    """A session as an entry."""
    session, sky = facts.session, facts.sky
    target = model.object_link_as(session.target) if session.target is not None else None
    zone = session.start.tzinfo if session.start else None
    transit = sky.transit_utc.astimezone(zone) if sky and sky.transit_utc and sky.crosses_transit else None
    return Entry(
        night=session.night,
        night_page=model.addresses.nights.get(session.night),
        target=target.text if isinstance(target, Link) else target,
        target_page=target.page if isinstance(target, Link) else None,
        place=session.place.name if session.place else None,
        rig=session.rig.name if session.rig else None,
        start=session.start,
        end=session.end,
        transit=transit,
        film=bool(film([session])),
        frames=tuple(FrameLine(g, group_integration_s(g)) for g in session.frames),
        integration_s=facts.integration_s,
        # Of a film, pauses say nothing.
        shutter_open_share=None if film([session]) else facts.shutter_open_share,
        sky=sky,
        low_deg=sky.target_altitude_least_deg if sky else None,
        high_deg=sky.target_altitude_greatest_deg if sky else None,
        moon_fraction=facts.moon_fraction,
        moon_course=_moon_course(sky) if sky else None,
        darkness=_darkness(sky.dark_share) if sky else None,
        sky_brightness=session.sky_brightness,
        star_width_arcsec=None if facts.solar_system else session.star_width_arcsec,
        calibration=session.calibration,
        note=session.note,
        altitude=_altitude(facts, model),
    )


def _altitude(facts: SessionFacts, model: SiteModel) -> SessionAltitude | None:
    """The drawing of the target's altitude; none of what moves among the stars."""
    session, sky = facts.session, facts.sky
    known = model.facts.names.meant[session.target] if session.target is not None else None
    where = session.place.published if session.place is not None else None
    if known is None or known.body is not None or known.dec_deg is None or where is None or sky is None:
        return None
    low, high = sky.target_altitude_least_deg, sky.target_altitude_greatest_deg
    if session.start is None or session.end is None or sky.transit_utc is None or low is None or high is None:
        return None
    limit = model.facts.archive.horizon_deg
    return SessionAltitude(where[0], known.dec_deg, sky.transit_utc, session.start, session.end, low, high, limit)


def columns_of(entries: Iterable[Entry]) -> tuple[str, ...]:
    """The columns of a table of sessions that would not be empty."""
    columns = set()
    for e in entries:
        groups = [line.group for line in e.frames]
        known = {
            "place": e.place is not None,
            "rig": e.rig is not None,
            "filter": any(g.filter is not None for g in groups),
            "frames": bool(groups),
            "gain": any(g.gain is not None or g.iso is not None for g in groups),
            "temperature": any(g.sensor_temperature_c is not None for g in groups),
            "moon": e.moon_fraction is not None,
            "altitude": e.low_deg is not None,
            "integration": e.integration_s is not None,
        }
        columns |= {name for name, is_known in known.items() if is_known}
    return tuple(sorted(columns))


def _moon_course(sky: SkyDuring) -> MoonCourse:
    start, end = sky.moon_altitude_start_deg > 0, sky.moon_altitude_end_deg > 0
    if start and end:
        return "up"
    if start != end:
        return "rises" if end else "sets"
    return "up" if sky.moon_altitude_middle_deg > 0 else "down"


def _darkness(share: float) -> Darkness:
    # What rounds to all or to nothing in percent is said in words.
    return "dark" if share >= 0.995 else "light" if share < 0.005 else "partly"


def filter_totals(sessions: Iterable[SessionFacts]) -> tuple[FilterTotal, ...]:
    """Totals by filter over distinct sessions, in the order in which the filters were first used."""
    totals: dict[str | None, list[float]] = {}
    stated = []
    for facts in sessions:
        for group in facts.session.frames:
            sums = totals.setdefault(group.filter, [0, 0, 0.0])
            sums[0] += group.kept
            sums[1] += group.taken
            sums[2] += group_integration_s(group)
        if not facts.session.frames and facts.integration_s is not None:
            stated.append(facts.integration_s)
    rest = (FilterTotal(None, None, None, sum(stated), not_recorded=True),) if stated else ()
    counted = (FilterTotal(name, int(kept), int(taken), light) for name, (kept, taken, light) in totals.items())
    return (*counted, *rest)


def places_of(sessions: Iterable[SessionFacts]) -> dict[str, Place]:
    """The places of sessions by name, in the order of first use."""
    return {f.session.place.name: f.session.place for f in sessions if f.session.place is not None}
