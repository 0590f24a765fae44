"""Where every page of a site will lie, told before a page is made."""

from __future__ import annotations

from collections.abc import Container

from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.pages import observing_card, overlay_pairs
from noctuary.pages.addresses import exhibit_page, picture_page, slides_page, year_page
from noctuary.pages.exhibit_page import shown_exhibits
from noctuary.pages.feed import ROBOTS, SITE_MAP
from noctuary.pages.redirect_page import former_pictures, former_targets
from noctuary.pages.site_model import (
    DATA,
    EQUIPMENT,
    EXHIBITS,
    FRONT,
    NIGHTS,
    SKY,
    TARGETS,
    YEARS,
    addresses_of,
)
from noctuary.pages.social_metadata import FEED


def page_addresses(facts: ArchiveFacts, shown: Container[str]) -> set[str]:
    """The address of every page, relative to the site's root; ``shown`` are the ids of pictures that can be shown."""
    addresses = addresses_of(facts)
    found = {FRONT, TARGETS, NIGHTS, SKY, EQUIPMENT, DATA}
    found |= {*addresses.free_pages.values(), *addresses.nights.values()}
    found |= {*addresses.targets.values(), *addresses.constellations.values(), *addresses.kinds.values()}
    found |= {picture_page(name) for name in facts.pictures if name in shown}
    found |= {former for former, _ in former_pictures(facts, shown)}
    found |= {former for former, _ in former_targets(facts, addresses)}
    cards = [t for t in facts.targets if observing_card.has_card(t)]
    found |= {observing_card.address(addresses, target.identity) for target in cards}
    for target in facts.targets:
        for older, newer in overlay_pairs.pairs(target, shown):
            found.add(overlay_pairs.address(addresses, target.identity, older.picture.id, newer.picture.id))
    if facts.years:
        found |= {YEARS, *(year_page(year.year) for year in facts.years)}
    for exhibit, _ in shown_exhibits(facts, shown):
        found |= {EXHIBITS, exhibit_page(exhibit.id), slides_page(exhibit.id)}
    if facts.archive.address is not None:
        found |= {FEED, SITE_MAP, ROBOTS}
    return found
