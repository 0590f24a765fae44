"""What machines read of a site with an address: the feed of new pictures, the map of the site, and robots.txt."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from noctuary.pages.addresses import picture_page
from noctuary.pages.page import Frame, Page
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


def pages(model: SiteModel, others: Iterable[Page]) -> list[Page]:
    """Feed (RFC 4287), site map (sitemaps.org 0.9) and robots.txt (RFC 9309); none without an address.

    ``others``: every page of the site; what is not listed is in none of the three.
    """
    site = model.facts.archive.address
    if site is None:
        return []
    feed_pages = []
    if entries := _entries(model, site):
        context = FeedContext(model.frame, site, site + FEED, max(e.day for e in entries), entries)
        feed_pages.append(Page(FEED, "feed.xml", context, "feed"))
    addresses = tuple(absolute(site, page.path) for page in others if page.listed)
    feed_pages.append(Page(SITE_MAP, "sitemap.xml", SiteMapContext(model.frame, addresses), "site map"))
    feed_pages.append(Page(ROBOTS, "robots.txt", RobotsContext(model.frame, site + SITE_MAP), "robots"))
    return feed_pages


def _entries(model: SiteModel, site: str) -> tuple[FeedEntry, ...]:
    entries = []
    for facts in model.facts.listed[:LONGEST]:
        picture, shown = facts.picture, model.shown.get(facts.picture.id)
        if shown is None:
            continue
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
