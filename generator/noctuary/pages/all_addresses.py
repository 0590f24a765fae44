"""The address of every page of a site, before a page is made."""

from __future__ import annotations

from collections.abc import Container

from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.pages import changes_page, observing_card, overlay_pairs
from noctuary.pages.addresses import exhibit_page, picture_page, slides_page, year_page
from noctuary.pages.exhibit_page import shown_exhibits
from noctuary.pages.feed import ROBOTS, SITE_MAP
from noctuary.pages.redirect_page import former_pictures, former_targets
from noctuary.pages.search_cards import SEARCH_CARDS
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


def all_addresses(facts: ArchiveFacts, shown: Container[str]) -> set[str]:
    """The address of every page, relative to the site's root; ``shown`` are the ids of pictures that can be shown."""
    addresses = addresses_of(facts)
    every = {FRONT, SEARCH_CARDS, TARGETS, NIGHTS, SKY, EQUIPMENT, DATA}
    every |= {*addresses.free_pages.values(), *addresses.nights.values()}
    every |= {*addresses.targets.values(), *addresses.constellations.values(), *addresses.kinds.values()}
    every |= set(addresses.rigs.values())
    every |= {picture_page(name) for name in facts.pictures if name in shown}
    every |= {former for former, _ in former_pictures(facts, shown)}
    every |= {former for former, _ in former_targets(facts, addresses)}
    cards = [t for t in facts.targets if observing_card.has_card(t)]
    every |= {observing_card.address(addresses, target.identity) for target in cards}
    changed = [t for t in facts.targets if changes_page.has_changes(t, shown)]
    every |= {changes_page.address(addresses, target.identity) for target in changed}
    for target in facts.targets:
        for older, newer in overlay_pairs.pairs(target, shown):
            every.add(overlay_pairs.address(addresses, target.identity, older.picture.id, newer.picture.id))
    if facts.years:
        every |= {YEARS, *(year_page(year.year) for year in facts.years)}
    for exhibit, _ in shown_exhibits(facts, shown):
        every |= {EXHIBITS, exhibit_page(exhibit.id), slides_page(exhibit.id)}
    if facts.archive.address is not None:
        every |= {FEED, SITE_MAP, ROBOTS}
    return every
