"""All nights, by year, newest first."""

from __future__ import annotations

from datetime import date
from functools import partial

from noctuary.facts.archive_facts import NightFacts
from noctuary.facts.exposure import total_of
from noctuary.pages.page import Frame, Link, PagePlan
from noctuary.pages.session_rows import places_of
from noctuary.pages.site_model import NIGHTS, SiteModel
from noctuary.plain_record import plain_record


@plain_record
class NightRow:
    """One evening: its targets, places, light in seconds, the Moon's mean illuminated fraction, note titles."""

    night: date
    page: str
    titles: tuple[str, ...]
    targets: tuple[Link | str, ...]
    places: tuple[str, ...]
    integration_s: float | None
    moon_fraction: float | None


@plain_record
class NightsYear:
    """A calendar year of evenings; ``clear`` counts those that gave light."""

    year: int
    nights: tuple[NightRow, ...]
    clear: int
    integration_s: float | None


@plain_record
class NightsContext:
    frame: Frame
    years: tuple[NightsYear, ...]
    total_s: float | None
    sessions_not_recorded: int
    nights: int


def pages(model: SiteModel) -> list[PagePlan]:
    return [PagePlan(NIGHTS, "nights.html", "nights", partial(_context, model))]


def _context(model: SiteModel) -> NightsContext:
    by_year: dict[int, list[NightFacts]] = {}
    for night in model.facts.nights:
        by_year.setdefault(night.night.year, []).append(night)
    years = tuple(
        NightsYear(
            year=year,
            nights=tuple(_row(model, n) for n in nights),
            clear=sum(1 for n in nights if n.sessions),
            integration_s=total_of(n.integration.total_s for n in nights),
        )
        for year, nights in sorted(by_year.items(), reverse=True)
    )
    whole = model.facts.integration
    return NightsContext(model.frame, years, whole.total_s, whole.sessions_not_recorded, whole.nights)


def _row(model: SiteModel, night: NightFacts) -> NightRow:
    fractions = [f.moon_fraction for f in night.sessions if f.moon_fraction is not None]
    places = [*places_of(night.sessions), *(n.place for n in night.notes if n.place)]
    return NightRow(
        night=night.night,
        page=model.addresses.nights[night.night],
        titles=tuple(n.title for n in night.notes if n.title),
        targets=model.targets_of(night.sessions),
        places=tuple(dict.fromkeys(places)),
        integration_s=night.integration.total_s,
        moon_fraction=sum(fractions) / len(fractions) if fractions else None,
    )
