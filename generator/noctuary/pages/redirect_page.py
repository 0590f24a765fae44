"""What is at an address that a page had before: a page that leads on to the present one."""

from __future__ import annotations

from collections.abc import Container, Iterator
from functools import partial

from noctuary.archive.records import Picture
from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.facts.object_names import made_even, usual_name
from noctuary.facts.target import TargetFacts
from noctuary.pages import observing_card as card_page
from noctuary.pages.addresses import Addresses, picture_page, slug
from noctuary.pages.page import Frame, Link, PagePlan
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record


@plain_record
class RedirectContext:
    frame: Frame
    now: Link


def pages(model: SiteModel) -> list[PagePlan]:
    """A page for every former address of a picture or a target that has a page; what is alive keeps its address."""
    facts = model.facts
    redirects = []
    for former, picture in former_pictures(facts, model.shown):
        redirects.append(_leads_on(model, former, Link(picture.title, picture_page(picture.id))))
    for former, target in former_targets(facts, model.addresses):
        page = model.addresses.targets[target.identity]
        now = card_page.address(model.addresses, target.identity) if former.startswith("cards/") else page
        redirects.append(_leads_on(model, former, Link(target.name, now)))
    return redirects


def former_pictures(facts: ArchiveFacts, shown: Container[str]) -> Iterator[tuple[str, Picture]]:
    """The address of every former id of a picture that is shown, with the picture."""
    taken = set(facts.archive.pictures)
    for picture_id, of in facts.pictures.items():
        for former in of.picture.former_ids if picture_id in shown else ():
            if former not in taken:
                taken.add(former)
                yield picture_page(former), of.picture


def former_targets(facts: ArchiveFacts, addresses: Addresses) -> Iterator[tuple[str, TargetFacts]]:
    """The addresses of a target's page and card by every name that it may have had: the catalogue's first.

    So a target may be called otherwise from one day to the next, and no link to it is lost.
    """
    written: dict[str, list[str]] = {}
    for name, known in facts.names.meant.items():
        written.setdefault(known.name, []).append(slug(made_even(name, known.name)))
    stems = [(t, stem) for t in facts.targets for stem in (addresses.stems[t.identity], slug(usual_name(t.object)))]
    stems += [(t, stem) for t in facts.targets for stem in written.get(t.identity, ())]
    taken = set(addresses.targets.values())
    for target, stem in stems:
        former = f"targets/{stem}.html"
        if former in taken:
            continue
        taken.add(former)
        yield former, target
        if card_page.has_card(target):
            yield f"cards/{stem}.html", target


def _leads_on(model: SiteModel, former: str, now: Link) -> PagePlan:
    return PagePlan(former, "redirect.html", "redirect", partial(RedirectContext, model.frame, now), listed=False)
