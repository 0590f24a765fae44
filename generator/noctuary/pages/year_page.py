"""A page a year, beside the years before it, and the page of all years."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from functools import partial

from noctuary.charts.drawing import Drawing
from noctuary.charts.months import MonthsChart
from noctuary.charts.nights_calendar import CalendarNight, NightsCalendar
from noctuary.charts.rigs import RigsChart
from noctuary.facts.archive_facts import NightFacts, YearFacts
from noctuary.facts.exposure import Kept
from noctuary.facts.object_names import common_name_beside
from noctuary.facts.time_use import DarkUse
from noctuary.facts.year import YearReview, year_review
from noctuary.pages.addresses import year_page
from noctuary.pages.gallery import gallery
from noctuary.pages.gallery_years import MonthGroup, by_month
from noctuary.pages.page import Frame, Link, PagePlan, relative
from noctuary.pages.site_model import YEARS, SiteModel
from noctuary.plain_record import plain_record

#: Years that a year is compared with.
YEARS_BEFORE = 4


@plain_record
class YearNight:
    """One evening of the year; light in seconds."""

    night: date
    page: str | None
    targets: tuple[Link | str, ...]
    integration_s: float | None
    sessions_not_recorded: int


@plain_record
class First:
    """The first picture of a target."""

    target: Link
    common_name: str | None
    picture: Link


@plain_record
class YearContext:
    """``beside`` are the years of the tables of months and rigs, this one first; each row has a number a year.

    ``more_s`` is the integration beyond that of the year before; shares are of the time that sessions lasted.
    ``finished`` are its ``picture_count`` pictures.
    """

    frame: Frame
    year: int
    total_s: float | None
    sessions_not_recorded: int
    nights: int
    picture_count: int
    finished: tuple[MonthGroup, ...]
    targets: tuple[tuple[Link | str, float], ...]
    firsts: tuple[First, ...]
    best_month: date | None
    best_month_s: float
    more_s: float | None
    kept: Kept
    session_s: float
    open_share: float | None
    dark_share: float | None
    beside: tuple[int, ...]
    months: tuple[tuple[int, tuple[float, ...]], ...]
    rigs: tuple[tuple[str, tuple[float, ...]], ...]
    months_chart: Drawing | None
    rigs_chart: Drawing | None
    calendar: Drawing | None
    log: tuple[YearNight, ...]
    later: Link | None
    earlier: Link | None
    dark_use: DarkUse | None


@plain_record
class YearRow:
    """A year in the table of all years."""

    year: int
    page: str
    total_s: float | None
    sessions_not_recorded: int
    nights: int
    targets: int
    pictures: int
    firsts: int
    best_month: int | None
    kept_share: float | None
    open_share: float | None


@plain_record
class YearsContext:
    """``columns`` are those of the table in which some year has something to say."""

    frame: Frame
    years: tuple[YearRow, ...]
    columns: tuple[str, ...]
    chart: Drawing | None
    total_s: float | None
    sessions_not_recorded: int
    nights: int


def pages(model: SiteModel) -> list[PagePlan]:
    """The page of all years and one for each; none in an archive without any."""
    years = model.facts.years
    if not years:
        return []
    reviews = {y.year: year_review(model.facts, y) for y in years}
    year_pages = [PagePlan(YEARS, "years.html", "years", partial(_all_years, model, reviews))]
    for at, year in enumerate(years):
        tell = partial(_context, model, at, year, reviews[year.year])
        year_pages.append(PagePlan(year_page(year.year), "year.html", "year", tell))
    return year_pages


def _all_years(model: SiteModel, reviews: Mapping[int, YearReview]) -> YearsContext:
    years = model.facts.years
    rows = tuple(_row(y, reviews[y.year]) for y in years)
    lit = tuple((y.year, y.by_month_s) for y in years if (y.integration.total_s or 0) > 0)
    whole = model.facts.integration
    optional = ("total_s", "nights", "targets", "best_month", "kept_share", "open_share")
    return YearsContext(
        model.frame,
        rows,
        tuple(name for name in optional if any(getattr(row, name) for row in rows)),
        MonthsChart(lit) if lit else None,
        whole.total_s,
        whole.sessions_not_recorded,
        whole.nights,
    )


def _row(year: YearFacts, review: YearReview) -> YearRow:
    return YearRow(
        year=year.year,
        page=year_page(year.year),
        total_s=year.integration.total_s,
        sessions_not_recorded=year.integration.sessions_not_recorded,
        nights=year.integration.nights,
        targets=len(year.targets),
        pictures=len(year.pictures),
        firsts=len(review.firsts),
        best_month=review.best_month,
        kept_share=year.kept.share,
        open_share=review.open_share,
    )


def _context(model: SiteModel, at: int, year: YearFacts, review: YearReview) -> YearContext:
    years = model.facts.years
    here = year_page(year.year)
    beside = tuple(years[at : at + YEARS_BEFORE + 1])
    lit = tuple((y.year, y.by_month_s) for y in beside if (y.integration.total_s or 0) > 0 or y is year)
    rigs = sorted({rig for y in beside for rig in y.by_rig_s}, key=lambda r: (-year.by_rig_s.get(r, 0.0), r))
    rows = tuple((rig, tuple((y.year, y.by_rig_s[rig]) for y in beside if y.by_rig_s.get(rig))) for rig in rigs)
    log = tuple(_night(model, night) for night in year.nights)
    shown = gallery(year.pictures, model)
    some_light = (year.integration.total_s or 0) > 0
    return YearContext(
        frame=model.frame,
        year=year.year,
        total_s=year.integration.total_s,
        sessions_not_recorded=year.integration.sessions_not_recorded,
        nights=year.integration.nights,
        picture_count=len(shown),
        finished=by_month(shown),
        targets=_targets(model, year),
        firsts=tuple(
            First(
                model.target_link(target),
                common_name_beside(target.object, target.name),
                Link(first.picture.title, model.shown[first.picture.id].page),
            )
            for target, first in review.firsts
            if first.picture.id in model.shown
        ),
        best_month=date(year.year, review.best_month, 1) if review.best_month else None,
        best_month_s=max(year.by_month_s),
        more_s=review.more_s,
        kept=year.kept,
        session_s=review.session_s,
        open_share=review.open_share,
        dark_share=review.dark_share,
        beside=tuple(y.year for y in beside),
        months=tuple((month, tuple(y.by_month_s[month - 1] for y in beside)) for month in range(1, 13)),
        rigs=tuple((rig, tuple(y.by_rig_s.get(rig, 0.0) for y in beside)) for rig in rigs),
        months_chart=MonthsChart(lit) if some_light else None,
        rigs_chart=RigsChart(year.year, rows) if some_light and rows else None,
        calendar=_calendar(year, log, here) if log else None,
        log=log,
        later=_year_link(years[at - 1]) if at else None,
        earlier=_year_link(years[at + 1]) if at + 1 < len(years) else None,
        dark_use=year.dark_use,
    )


def _year_link(year: YearFacts) -> Link:
    return Link(str(year.year), year_page(year.year))


def _night(model: SiteModel, night: NightFacts) -> YearNight:
    return YearNight(
        night=night.night,
        page=model.addresses.nights.get(night.night),
        targets=model.targets_of(night.sessions),
        integration_s=night.integration.total_s,
        sessions_not_recorded=night.integration.sessions_not_recorded,
    )


def _targets(model: SiteModel, year: YearFacts) -> tuple[tuple[Link | str, float], ...]:
    light: dict[Link | str, float] = {}
    for f in (f for night in year.nights for f in night.sessions):
        if f.session.target is not None and f.integration_s is not None:
            target = model.object_link_as(f.session.target)
            light[target] = light.get(target, 0.0) + f.integration_s
    return tuple(sorted(light.items(), key=lambda pair: (-pair[1], _text(pair[0]))))


def _text(target: Link | str) -> str:
    return target if isinstance(target, str) else target.text


def _calendar(year: YearFacts, log: tuple[YearNight, ...], here: str) -> NightsCalendar:
    nights = tuple(
        CalendarNight(
            night=n.night,
            integration_s=n.integration_s,
            targets=tuple(map(_text, n.targets)),
            href=relative(here, n.page) if n.page else None,
            sessions_not_recorded=n.sessions_not_recorded,
        )
        for n in log
    )
    return NightsCalendar(year.year, nights)
