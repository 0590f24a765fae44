"""Every page of the site. A new kind of page is one module, and one line in :data:`PAGES`."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.pages import (
    changes_page,
    compare_page,
    data_page,
    equipment_page,
    exhibit_page,
    feed,
    free_page,
    front,
    gone_page,
    group_page,
    night_page,
    nights_page,
    observing_card,
    picture_page,
    redirect_page,
    search_cards,
    sky_page,
    target_page,
    targets_page,
    year_page,
)
from noctuary.pages.exports.export import Export
from noctuary.pages.overlay_pairs import Layer, Pair
from noctuary.pages.page import Link, PagePlan, frame_of
from noctuary.pages.picture_view import PictureView, Source
from noctuary.pages.registered_picture import RegisteredPicture
from noctuary.pages.site_model import (
    DATA,
    EQUIPMENT,
    EXHIBITS,
    FRONT,
    NIGHTS,
    SKY,
    TARGETS,
    YEARS,
    SiteModel,
    addresses_of,
)
from noctuary.pages.social_metadata import sharing

#: What makes pages, in the order in which they are made.
PAGES: tuple[Callable[[SiteModel], list[PagePlan]], ...] = (
    front.pages,
    picture_page.pages,
    targets_page.pages,
    target_page.pages,
    compare_page.pages,
    changes_page.pages,
    observing_card.pages,
    nights_page.pages,
    night_page.pages,
    year_page.pages,
    exhibit_page.pages,
    sky_page.pages,
    equipment_page.pages,
    group_page.constellation_pages,
    group_page.kind_pages,
    group_page.rig_pages,
    free_page.pages,
    data_page.pages,
    redirect_page.pages,
    gone_page.pages,
)


def sections(facts: ArchiveFacts, shown: Mapping[str, PictureView]) -> tuple[Link, ...]:
    """The pages that every page leads to, with the theme's word for each."""
    all_sections = [
        Link("Pictures", FRONT),
        Link("Targets", TARGETS),
        Link("Nights", NIGHTS),
        Link("Sky", SKY),
        Link("Equipment", EQUIPMENT),
    ]
    if facts.years:
        all_sections.append(Link("Years", YEARS))
    if exhibit_page.shown_exhibits(facts, shown):
        all_sections.append(Link("Exhibits", EXHIBITS))
    return tuple(all_sections)


def site_model(
    facts: ArchiveFacts,
    shown: Mapping[str, PictureView],
    layers: Mapping[Pair, Layer] | None = None,
    frames: Mapping[str, tuple[RegisteredPicture, ...]] | None = None,
    cut_outs: Mapping[Pair, Source] | None = None,
) -> SiteModel:
    """All that pages are made from. A picture that ``shown`` lacks has no page and is in no gallery."""
    addresses = addresses_of(facts)
    free = tuple(Link(p.title, addresses.free_pages[p.id]) for p in facts.archive.pages)
    frame = frame_of(facts.archive, sections(facts, shown), free)
    return SiteModel(facts, shown, frame, addresses, layers or {}, frames or {}, cut_outs or {})


def pages(model: SiteModel, exports: Iterable[Export] = ()) -> list[PagePlan]:
    """Every page of the site, each at its own address; ``exports`` are linked from the pages they belong to."""
    data: dict[str, list[Link]] = {}
    for export in exports:
        data.setdefault(export.page or DATA, []).append(Link(export.format, export.path))
    share = sharing(model)
    placed = [
        replace(
            plan,
            data=tuple(data.get(plan.path, ())),
            share=None if plan.kind in ("redirect", "gone") else share,
        )
        for kind in PAGES
        for plan in kind(model)
    ]
    return [*placed, search_cards.page(model), *feed.pages(model, placed)]
