"""Targets that belong together: a page for each constellation and one for each kind of object."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Literal

from noctuary.facts.exposure import total_of
from noctuary.facts.target import TargetFacts
from noctuary.pages.gallery import GalleryItem, gallery
from noctuary.pages.object_summary import ObjectNote, object_note
from noctuary.pages.page import Frame, Link, Page
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record


@plain_record
class GroupContext:
    """``name`` is the constellation's abbreviation or the kind; ``others`` are the other pages of its sort."""

    frame: Frame
    by: Literal["constellation", "kind"]
    name: str
    targets: tuple[tuple[ObjectNote, float | None], ...]
    pictures: tuple[GalleryItem, ...]
    total_s: float | None
    others: tuple[Link, ...]


def constellation_pages(model: SiteModel) -> list[Page]:
    return _pages(model, "constellation", model.addresses.constellations, lambda t: t.object.constellation)


def kind_pages(model: SiteModel) -> list[Page]:
    return _pages(model, "kind", model.addresses.kinds, lambda t: t.object.kind)


def _pages(
    model: SiteModel,
    by: Literal["constellation", "kind"],
    addresses: Mapping[str, str],
    of: Callable[[TargetFacts], str | None],
) -> list[Page]:
    members: dict[str, list[TargetFacts]] = {}
    for target in sorted(model.facts.targets, key=lambda t: t.name):
        if (name := of(target)) is not None:
            members.setdefault(name, []).append(target)
    links = [Link(name, addresses[name]) for name in sorted(members)]
    group_pages = []
    for name, targets in members.items():
        members_here = {t.identity for t in targets}
        pictures = (p for p in model.facts.listed if p.target is not None and p.target.name in members_here)
        context = GroupContext(
            frame=model.frame,
            by=by,
            name=name,
            targets=tuple((object_note(t.object, model), t.integration.total_s) for t in targets),
            pictures=gallery(pictures, model),
            total_s=total_of(t.integration.total_s for t in targets),
            others=tuple(link for link in links if link.text != name),
        )
        group_pages.append(Page(addresses[name], "group.html", context, by))
    return group_pages
