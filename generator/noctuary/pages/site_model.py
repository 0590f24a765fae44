"""Everything that the pages of one build are made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field

from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.pages.addresses import Addresses, free_page, night_page, slugs
from noctuary.pages.overlay_pairs import Layer, Pair
from noctuary.pages.page import Frame
from noctuary.pages.picture_view import Shown
from noctuary.plain_record import plain_record

FRONT = "index.html"
TARGETS = "targets.html"
NIGHTS = "nights.html"
EQUIPMENT = "equipment.html"
SKY = "sky.html"
YEARS = "years.html"
EXHIBITS = "exhibits.html"
DATA = "data.html"
#: Names at the root of the site that are not for free pages.
OWN_NAMES = frozenset({FRONT, TARGETS, NIGHTS, EQUIPMENT, SKY, YEARS, EXHIBITS, DATA, "404.html"})


@plain_record
class SiteModel:
    """Facts, pictures as they can be shown (by id), what stands on every page, and where pages lie.

    ``layers``: how two pictures of a target, (older, newer), lie over each other, where they can.
    """

    facts: ArchiveFacts
    shown: Mapping[str, Shown]
    frame: Frame
    addresses: Addresses
    layers: Mapping[Pair, Layer] = field(default_factory=dict)


def addresses_of(facts: ArchiveFacts) -> Addresses:
    """The address of every target, constellation, kind, night and free page that gets a page."""
    oldest_first = tuple(reversed(facts.targets))
    targets = slugs(t.name for t in oldest_first)
    constellations = slugs(t.object.constellation for t in oldest_first if t.object.constellation)
    kinds = slugs(t.object.kind for t in oldest_first)
    return Addresses(
        targets={name: f"targets/{s}.html" for name, s in targets.items()},
        constellations={name: f"constellations/{s}.html" for name, s in constellations.items()},
        kinds={name: f"kinds/{s}.html" for name, s in kinds.items()},
        nights={n.night: night_page(n.night) for n in facts.nights},
        free_pages={p.id: free_page(p.id, OWN_NAMES) for p in facts.archive.pages},
    )
