"""A year looked back on: its best month, the objects that were new, and how the time under the sky was used."""

from __future__ import annotations

from noctuary.facts.archive_facts import ArchiveFacts, YearFacts
from noctuary.facts.picture import PictureFacts, in_solar_light
from noctuary.facts.target import TargetFacts
from noctuary.plain_record import plain_record


@plain_record
class YearReview:
    """What a year comes to beside its totals.

    ``best_month`` 1 to 12, ``None`` without light and where sessions with unknown exposures may have made another
    the best. ``firsts``: targets of which the first picture was finished in
    the year, with that picture, in the order of finishing. ``session_s``: length of the sessions that have clock
    times and are not on the Sun, the Moon or a planet; the shares are of that length, 0 and up, ``None`` without
    any; ``dark_share`` is of the length at places that may be published. ``more_s``: integration beyond that of
    the calendar year before, ``None`` where the archive has no exposures from then, or none from this year, or not
    all: nobody knows by how much a lower bound is more.
    """

    best_month: int | None
    firsts: tuple[tuple[TargetFacts, PictureFacts], ...]
    session_s: float
    open_share: float | None
    dark_share: float | None
    more_s: float | None


def year_review(whole: ArchiveFacts, year: YearFacts) -> YearReview:
    """A look back on one year of an archive."""
    months = year.by_month_s
    best = max(range(12), key=lambda m: months[m])
    rivals = {n.night.month - 1 for n in year.nights if n.integration.sessions_not_recorded} - {best}
    length = opened = with_sky_s = dark = 0.0
    for facts in (f for night in year.nights for f in night.sessions):
        session = facts.session
        if facts.solar_system or session.start is None or session.end is None or facts.shutter_open_share is None:
            continue
        lasting = session.end.timestamp() - session.start.timestamp()
        length += lasting
        opened += facts.shutter_open_share * lasting
        if facts.sky is not None:
            with_sky_s += lasting
            dark += facts.sky.dark_share * lasting
    before = next((y for y in whole.years if y.year == year.year - 1), None)
    more_s = None
    if (
        before
        and year.integration.total_s is not None
        and before.integration.total_s is not None
        and not year.integration.sessions_not_recorded
        and not before.integration.sessions_not_recorded
    ):
        more_s = year.integration.total_s - before.integration.total_s
    return YearReview(
        best_month=best + 1 if months[best] > 0 and not rivals else None,
        firsts=_firsts(whole, year.year),
        session_s=length,
        open_share=opened / length if length else None,
        dark_share=dark / with_sky_s if with_sky_s else None,
        more_s=more_s,
    )


def _firsts(whole: ArchiveFacts, year: int) -> tuple[tuple[TargetFacts, PictureFacts], ...]:
    # The Sun, the Moon and planets were seen by everybody before.
    targets = [t for t in whole.targets if not in_solar_light(t.object)]
    first_pictures = [(t, min(t.pictures, key=lambda p: (p.picture.finished, p.picture.id))) for t in targets]
    of_year = [(t, first) for t, first in first_pictures if first.picture.finished.year == year]
    return tuple(sorted(of_year, key=lambda pair: (pair[1].picture.finished, pair[1].picture.id)))
