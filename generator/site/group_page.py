"""Targets that belong together: a page for each constellation and one for each kind of object."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Literal

from generator.facts.target import TargetFacts
from generator.plain import plain
from generator.site.edition import Edition
from generator.site.heavens import ObjectNote, object_note
from generator.site.page import Frame, Link, Page
from generator.site.wall import Hung, wall


@plain
class GroupContext:
    """``name`` is the constellation's abbreviation or the kind; ``others`` are the other pages of its sort."""

    frame: Frame
    by: Literal["constellation", "kind"]
    name: str
    targets: tuple[tuple[ObjectNote, float], ...]
    pictures: tuple[Hung, ...]
    total_s: float
    others: tuple[Link, ...]


def constellation_pages(edition: Edition) -> list[Page]:
    return _pages(edition, "constellation", edition.addresses.constellations, lambda t: t.object.constellation)


def kind_pages(edition: Edition) -> list[Page]:
    return _pages(edition, "kind", edition.addresses.kinds, lambda t: t.object.kind)


def _pages(
    edition: Edition,
    by: Literal["constellation", "kind"],
    addresses: Mapping[str, str],
    of: Callable[[TargetFacts], str | None],
) -> list[Page]:
    members: dict[str, list[TargetFacts]] = {}
    for target in sorted(edition.facts.targets, key=lambda t: t.name):
        if (name := of(target)) is not None:
            members.setdefault(name, []).append(target)
    links = [Link(name, addresses[name]) for name in sorted(members)]
    found = []
    for name, targets in members.items():
        names = {t.name for t in targets}
        pictures = (p for p in edition.facts.listed if p.target is not None and p.target.name in names)
        context = GroupContext(
            frame=edition.frame,
            by=by,
            name=name,
            targets=tuple((object_note(t.object, edition.addresses), t.integration.total_s) for t in targets),
            pictures=wall(pictures, edition),
            total_s=sum(t.integration.total_s for t in targets),
            others=tuple(link for link in links if link.text != name),
        )
        found.append(Page(addresses[name], "group.html", context, by))
    return found
