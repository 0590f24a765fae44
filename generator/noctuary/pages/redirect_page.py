"""What lies at an address that a picture had before: a page that leads on to the present one."""

from __future__ import annotations

from noctuary.pages.addresses import picture_page
from noctuary.pages.page import Frame, Link, Page
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record


@plain_record
class RedirectContext:
    frame: Frame
    now: Link


def pages(edition: SiteModel) -> list[Page]:
    """A page for every former id of a picture that has a page; what is alive keeps its address."""
    taken = set(edition.facts.archive.pictures)
    found = []
    for picture_id, facts in edition.facts.pictures.items():
        if picture_id not in edition.shown:
            continue
        for former in facts.picture.former_ids:
            if former not in taken:
                taken.add(former)
                now = Link(facts.picture.title, picture_page(picture_id))
                context = RedirectContext(edition.frame, now)
                found.append(Page(picture_page(former), "redirect.html", context, "redirect", listed=False))
    return found
