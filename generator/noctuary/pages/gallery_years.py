"""A long gallery in its years, and a year of many pictures in its months, so that one can find the way in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import accumulate, groupby

from noctuary.pages.addresses import year_page
from noctuary.pages.gallery_item import GalleryItem
from noctuary.plain_record import plain_record

#: A gallery of fewer pictures is seen at once, and has no headings.
LEAST_FOR_YEARS = 40
#: A year of so many is divided by months.
LEAST_FOR_MONTHS = 40
#: The front page shows all pictures up to so many. Of more it shows the newest in whole months, about so many, and
#: some of every other year, which has a page for the rest: a phone would wait for what nobody scrolls to.
MOST_AT_ONCE = 200
NEWEST = 120
NEWEST_OF_A_YEAR = 6


@plain_record
class MonthGroup:
    """Pictures finished in one month; ``month`` (1–12) is ``None`` where it is not known or not separated."""

    month: int | None
    pictures: tuple[GalleryItem, ...]


@plain_record
class YearGroup:
    """``count`` pictures finished in one year, whose page is ``page``; ``year`` is ``None`` for a short gallery.

    ``months`` hold those that are shown, all of them or the newest, but for ``opening``: one that opens the page.
    """

    year: int | None
    page: str | None
    count: int
    months: tuple[MonthGroup, ...]
    opening: int = 0

    @property
    def shown(self) -> int:
        """How many of the pictures are shown."""
        return self.opening + sum(len(month.pictures) for month in self.months)


def by_year(pictures: Sequence[GalleryItem]) -> tuple[YearGroup, ...]:
    """Pictures, newest first, in groups; nothing where there are none."""
    if not pictures:
        return ()
    if len(pictures) < LEAST_FOR_YEARS:
        return (YearGroup(None, None, len(pictures), (MonthGroup(None, tuple(pictures)),)),)
    years = [(year, list(group)) for year, group in groupby(pictures, key=lambda p: p.finished.year)]
    return tuple(YearGroup(year, year_page(year), len(group), by_month(group)) for year, group in years)


def newest_by_year(pictures: Sequence[GalleryItem]) -> tuple[YearGroup, ...]:
    """Pictures, newest first, in groups; where they are many, of the older years the newest pictures alone.

    The first of them opens the page: it is in no group, and its year counts it.
    """
    opening, pictures = pictures[:1], pictures[1:]
    groups = by_year(pictures)
    if groups and groups[0].year == opening[0].finished.year:
        groups = (replace(groups[0], count=groups[0].count + 1, opening=1), *groups[1:])
    if len(pictures) <= MOST_AT_ONCE:
        return groups
    shown = 0
    shorter = []
    for group in groups:
        shorter.append(replace(group, months=_newest(group.months, NEWEST - shown)))
        shown += shorter[-1].shown
    return tuple(shorter)


def _newest(months: tuple[MonthGroup, ...], most: int) -> tuple[MonthGroup, ...]:
    """The newest months of a year that have so many pictures at most, or a few pictures where that is less."""
    counts = accumulate(len(month.pictures) for month in months)
    whole = months[: sum(count <= most for count in counts)]
    if whole == months or sum(len(month.pictures) for month in whole) >= NEWEST_OF_A_YEAR:
        return whole
    newest = [picture for month in months for picture in month.pictures][:NEWEST_OF_A_YEAR]
    return (MonthGroup(None, tuple(newest)),)


def by_month(pictures: Sequence[GalleryItem]) -> tuple[MonthGroup, ...]:
    """A year's pictures, newest first, by the months in which they were finished; in one group where they are few."""
    if not pictures:
        return ()
    if len(pictures) < LEAST_FOR_MONTHS:
        return (MonthGroup(None, tuple(pictures)),)
    months = groupby(pictures, key=lambda p: p.finished.month)
    return tuple(MonthGroup(month, tuple(group)) for month, group in months)
