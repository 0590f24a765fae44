"""Everything that the pages of one build are made from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import field
from functools import cached_property
from typing import TYPE_CHECKING

from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.facts.picture import SessionFacts
from noctuary.facts.target import TargetFacts
from noctuary.pages.addresses import Addresses, free_page, night_page, slugs, slugs_of
from noctuary.pages.overlay_pairs import Layer, Pair
from noctuary.pages.page import Frame, Link
from noctuary.pages.picture_view import PictureView, Source
from noctuary.pages.registered_picture import RegisteredPicture
from noctuary.pages.told_from import ToldFrom
from noctuary.plain_record import plain_record

if TYPE_CHECKING:
    from noctuary.pages.gallery_item import GalleryItem
    from noctuary.sky.sky_object import SkyObject

FRONT = "index.html"
TARGETS = "targets.html"
NIGHTS = "nights.html"
EQUIPMENT = "equipment.html"
SKY = "sky.html"
YEARS = "years.html"
EXHIBITS = "exhibits.html"
DATA = "data.html"
#: What a host of static pages shows at an address without a page.
NOT_FOUND = "404.html"
#: So many of a rig's pictures are on the page of the equipment; a rig with more has a page of its own.
MOST_OF_A_RIG = 6
#: Names at the root of the site that are not for free pages.
OWN_NAMES = frozenset({FRONT, TARGETS, NIGHTS, EQUIPMENT, SKY, YEARS, EXHIBITS, DATA, NOT_FOUND})


@plain_record
class SiteModel:
    """Facts, pictures as they can be shown (by id), what every page carries, and where pages lie.

    ``layers``: how two pictures of a target, (older, newer), lie over each other, where they can. ``frames``: by a
    target's identity its pictures in the frame of the newest, oldest first, where there are two or more.
    ``cut_outs``: by (older, newer) what changed on the sky.
    """

    facts: ArchiveFacts
    shown: Mapping[str, PictureView]
    frame: Frame
    addresses: Addresses
    layers: Mapping[Pair, Layer] = field(default_factory=dict)
    frames: Mapping[str, tuple[RegisteredPicture, ...]] = field(default_factory=dict)
    cut_outs: Mapping[Pair, Source] = field(default_factory=dict)

    @cached_property
    def gallery_items(self) -> dict[str, GalleryItem]:
        """Pictures as galleries show them, by id, as far as they have been worked out."""
        return {}

    @cached_property
    def told_from(self) -> ToldFrom:
        """What pages are told from, as digests."""
        return ToldFrom(self.facts, self.shown, self.frame, self.addresses)

    def object_link(self, known: SkyObject) -> Link | str:
        """An object by the archive's name for it; what is a target leads to its page."""
        name, page = self.facts.names.of(known), self.addresses.targets.get(known.name)
        return Link(name, page) if page else name

    def object_link_as(self, written: str) -> Link | str:
        """Likewise the object that a record names so."""
        return self.object_link(self.facts.names.meant[written])

    def targets_of(self, sessions: Iterable[SessionFacts]) -> tuple[Link | str, ...]:
        """What sessions were for, each once, in their order; sessions that do not say it left out."""
        written = (f.session.target for f in sessions)
        return tuple(dict.fromkeys(self.object_link_as(name) for name in written if name is not None))

    def picture_of(self, target: TargetFacts) -> PictureView | None:
        """The newest listed picture of a target that can be shown."""
        return next((self.shown[p.picture.id] for p in target.pictures if p.picture.id in self.shown), None)

    def target_link(self, target: TargetFacts) -> Link:
        """The way to a target's page, by its name."""
        return Link(target.name, self.addresses.targets[target.identity])


def addresses_of(facts: ArchiveFacts) -> Addresses:
    """The address of every target, constellation, kind, rig, night and free page that gets a page."""
    oldest_first = tuple(reversed(facts.targets))
    targets = slugs_of((t.identity, t.name) for t in oldest_first)
    constellations = slugs(t.object.constellation for t in oldest_first if t.object.constellation)
    kinds = slugs(t.object.kind for t in oldest_first)
    rigs = slugs(r.rig.name for r in facts.rigs)
    return Addresses(
        targets={identity: f"targets/{s}.html" for identity, s in targets.items()},
        stems=slugs(t.identity for t in oldest_first),
        constellations={name: f"constellations/{s}.html" for name, s in constellations.items()},
        kinds={name: f"kinds/{s}.html" for name, s in kinds.items()},
        rigs={r.rig.name: f"rigs/{rigs[r.rig.name]}.html" for r in facts.rigs if len(r.pictures) > MOST_OF_A_RIG},
        nights={n.night: night_page(n.night) for n in facts.nights},
        free_pages={p.id: free_page(p.id, OWN_NAMES) for p in facts.archive.pages},
    )
