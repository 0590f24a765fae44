"""What machines read of a site with an address: the feed of new pictures, the map of the site, and robots.txt."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from functools import partial

from noctuary.facts.picture import PictureFacts
from noctuary.pages.addresses import picture_page
from noctuary.pages.page import Frame, PagePlan
from noctuary.pages.picture_page import PictureSummary, picture_summary
from noctuary.pages.picture_view import PictureView
from noctuary.pages.site_model import SiteModel
from noctuary.pages.social_metadata import FEED, absolute
from noctuary.plain_record import plain_record

SITE_MAP = "sitemap.xml"
ROBOTS = "robots.txt"
#: Pictures in the feed, the newest.
LONGEST = 30


@plain_record
class FeedEntry:
    """A picture in the feed. ``id`` stays when the picture gets another id; addresses are absolute.

    ``day`` is the first on which the picture can have been finished, since a feed must name one for each entry, and
    ``published`` the day on which it was, where that is known;
    ``description`` is Markdown.
    """

    id: str
    address: str
    picture: str
    title: str
    day: date
    published: date | None
    shown: PictureView
    summary: PictureSummary
    objects: tuple[str, ...]
    description: str | None


@plain_record
class FeedContext:
    frame: Frame
    site: str
    address: str
    updated: date
    entries: tuple[FeedEntry, ...]


@plain_record
class SiteMapContext:
    """Absolute addresses of the pages that are listed."""

    frame: Frame
    addresses: tuple[str, ...]


@plain_record
class RobotsContext:
    frame: Frame
    site_map: str


def pages(model: SiteModel, others: Sequence[PagePlan]) -> list[PagePlan]:
    """Feed (RFC 4287), site map (sitemaps.org 0.9) and robots.txt (RFC 9309); none without an address.

    ``others``: every page of the site; what is not listed is in none of the three.
    """
    site = model.facts.archive.address
    if site is None:
        return []
    site_map = PagePlan(SITE_MAP, "sitemap.xml", "site map", partial(_site_map, model, site, others))
    robots = PagePlan(ROBOTS, "robots.txt", "robots", partial(RobotsContext, model.frame, site + SITE_MAP))
    if not (newest := [f for f in model.facts.listed[:LONGEST] if f.picture.id in model.shown]):
        return [site_map, robots]
    return [PagePlan(FEED, "feed.xml", "feed", partial(_feed, model, site, newest)), site_map, robots]


def _site_map(model: SiteModel, site: str, pages: Iterable[PagePlan]) -> SiteMapContext:
    return SiteMapContext(model.frame, tuple(absolute(site, page.path) for page in pages if page.listed))


def _feed(model: SiteModel, site: str, newest: Iterable[PictureFacts]) -> FeedContext:
    entries = _entries(model, site, newest)
    return FeedContext(model.frame, site, site + FEED, max(e.day for e in entries), entries)


def _entries(model: SiteModel, site: str, newest: Iterable[PictureFacts]) -> tuple[FeedEntry, ...]:
    entries = []
    for facts in newest:
        picture, shown = facts.picture, model.shown[facts.picture.id]
        first_id = picture.former_ids[0] if picture.former_ids else picture.id
        entries.append(
            FeedEntry(
                id=site + picture_page(first_id),
                address=site + picture_page(picture.id),
                picture=site + shown.about(960).file,
                title=_xml(picture.title),
                day=picture.finished.first,
                published=picture.finished.exact,
                shown=shown,
                summary=picture_summary(facts),
                objects=tuple(_xml(model.facts.names.of(o)) for o in facts.objects),
                description=said_in_feed(picture.description),
            )
        )
    return tuple(entries)


def said_in_feed(description: str | None) -> str | None:
    """What a feed can say of a picture."""
    return _xml(description) if description else None


def _xml(text: str) -> str:
    """Text without the characters that XML 1.0 cannot hold, not even escaped."""
    return "".join(
        c for c in text if c in "\t\n\r" or " " <= c < "\ud800" or "\ue000" <= c < "\ufffe" or c > "\uffff"
    )
