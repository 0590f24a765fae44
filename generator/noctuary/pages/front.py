"""The front page: the newest picture with its sentence, what happened last, then the others, newest first."""

from __future__ import annotations

from datetime import date
from functools import partial

from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.facts.filters import emission
from noctuary.facts.year import year_review
from noctuary.pages.addresses import year_page
from noctuary.pages.gallery import gallery
from noctuary.pages.gallery_item import GalleryItem
from noctuary.pages.gallery_years import YearGroup, newest_by_year
from noctuary.pages.object_summary import ObjectNote, object_note
from noctuary.pages.page import Frame, PagePlan
from noctuary.pages.picture_page import PictureSummary, picture_summary
from noctuary.pages.site_model import FRONT, SiteModel
from noctuary.plain_record import plain_record


@plain_record
class LastNight:
    """The latest night with a session: its light in seconds, and what it was for.

    ``lights`` are what its filters let through as far as one word says it ("oxygen"), empty where one of them passes
    anything else.
    """

    night: date
    page: str | None
    integration_s: float | None
    targets: tuple[ObjectNote, ...]
    lights: tuple[str, ...]


@plain_record
class YearNews:
    """What the latest year has brought so far: pictures finished, targets with their first, nights, seconds."""

    year: int
    page: str
    pictures: int
    firsts: int
    nights: int
    total_s: float | None
    sessions_not_recorded: int


@plain_record
class FrontContext:
    """``newest`` and its ``summary`` are ``None`` without any picture; ``years`` holds the others; ``kinds``
    are those of the targets.

    ``last`` is ``None`` without any session, ``news`` without any year.
    """

    frame: Frame
    newest: GalleryItem | None
    summary: PictureSummary | None
    last: LastNight | None
    news: YearNews | None
    years: tuple[YearGroup, ...]
    kinds: tuple[str, ...]
    total_s: float | None
    sessions_not_recorded: int
    nights: int
    first_night: date | None


def pages(model: SiteModel) -> list[PagePlan]:
    return [PagePlan(FRONT, "front.html", "front", partial(_context, model))]


def _context(model: SiteModel) -> FrontContext:
    facts = model.facts
    everything = gallery(facts.listed, model)
    newest = everything[0] if everything else None
    return FrontContext(
        frame=model.frame,
        newest=newest,
        summary=picture_summary(facts.pictures[newest.id]) if newest else None,
        last=_last_night(model),
        news=_year_news(model.facts),
        years=newest_by_year(everything),
        kinds=tuple(sorted({p.target.kind for p in facts.listed if p.target})),
        total_s=facts.integration.total_s,
        sessions_not_recorded=facts.integration.sessions_not_recorded,
        nights=facts.integration.nights,
        first_night=facts.integration.first_night,
    )


def _last_night(model: SiteModel) -> LastNight | None:
    """The latest night on which something was exposed for a listed picture."""
    nights = [n for n in model.facts.nights if n.sessions]
    if not nights:
        return None
    last = max(nights, key=lambda n: n.night)
    meant = model.facts.names.meant
    targets = {t: object_note(meant[t], model) for f in last.sessions if (t := f.session.target) is not None}
    lights = dict.fromkeys(emission(group.filter) for f in last.sessions for group in f.session.frames)
    return LastNight(
        night=last.night,
        page=model.addresses.nights.get(last.night),
        integration_s=last.integration.total_s,
        targets=tuple({note.name: note for note in targets.values()}.values()),
        lights=tuple(light for light in lights if light) if None not in lights else (),
    )


def _year_news(facts: ArchiveFacts) -> YearNews | None:
    if not facts.years:
        return None
    latest = max(facts.years, key=lambda y: y.year)
    return YearNews(
        year=latest.year,
        page=year_page(latest.year),
        pictures=len(latest.pictures),
        firsts=len(year_review(facts, latest).firsts),
        nights=latest.integration.nights,
        total_s=latest.integration.total_s,
        sessions_not_recorded=latest.integration.sessions_not_recorded,
    )
