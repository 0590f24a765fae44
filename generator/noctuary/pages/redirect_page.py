"""What lies at an address that a page had before: a page that leads on to the present one."""

from __future__ import annotations

import posixpath
from collections.abc import Iterator

from noctuary.facts.object_names import made_even, usual_name
from noctuary.facts.target import TargetFacts
from noctuary.pages import observing_card as card_page
from noctuary.pages.addresses import picture_page, slug
from noctuary.pages.page import Frame, Link, Page
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record


@plain_record
class RedirectContext:
    frame: Frame
    now: Link


def pages(edition: SiteModel) -> list[Page]:
    """A page for every former address of a picture or a target that has a page; what is alive keeps its address."""
    return [*_of_pictures(edition), *_of_targets(edition)]


def _of_pictures(edition: SiteModel) -> Iterator[Page]:
    """Of every former id."""
    taken = set(edition.facts.archive.pictures)
    for picture_id, facts in edition.facts.pictures.items():
        if picture_id not in edition.shown:
            continue
        for former in facts.picture.former_ids:
            if former not in taken:
                taken.add(former)
                now = Link(facts.picture.title, picture_page(picture_id))
                yield _leads_on(edition, picture_page(former), now)


def _of_targets(edition: SiteModel) -> Iterator[Page]:
    """Of every name by which a target may have been called: the catalogue's first, then what records wrote.

    So a target may be called otherwise from one day to the next, and no link to it is lost.
    """
    taken = set(edition.addresses.targets.values())
    others = (
        (target, stem)
        for names in (_of_catalogue, _of_records)
        for target in edition.facts.targets
        for stem in names(edition, target)
    )
    for target, stem in others:
        former = f"targets/{stem}.html"
        if former in taken:
            continue
        taken.add(former)
        now = edition.target_link(target)
        yield _leads_on(edition, former, now)
        if card_page.has_card(target):
            card = Link(target.name, card_page.address(edition, target.identity))
            yield _leads_on(edition, f"cards/{posixpath.basename(former)}", card)


def _of_catalogue(edition: SiteModel, target: TargetFacts) -> Iterator[str]:
    yield edition.addresses.stems[target.identity]
    yield slug(usual_name(target.object))


def _of_records(edition: SiteModel, target: TargetFacts) -> Iterator[str]:
    for written, known in edition.facts.names.meant.items():
        if known.name == target.identity:
            yield slug(made_even(written, known.name))


def _leads_on(edition: SiteModel, former: str, now: Link) -> Page:
    return Page(former, "redirect.html", RedirectContext(edition.frame, now), "redirect", listed=False)
