"""Pictures that belong together: a page for each constellation, each kind of object and each rig with many."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Literal

from noctuary.facts.archive_facts import RigFacts
from noctuary.facts.exposure import total_of
from noctuary.facts.picture import PictureFacts
from noctuary.facts.target import TargetFacts
from noctuary.pages.gallery import gallery
from noctuary.pages.gallery_years import YearGroup, by_year
from noctuary.pages.object_summary import ObjectNote, object_note
from noctuary.pages.page import Frame, Link, PagePlan
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record


@plain_record
class GroupContext:
    """``name`` is the constellation's abbreviation, the kind or the rig; ``others`` are the other pages of its sort.

    ``targets`` come with their light (seconds), which is ``None`` for those of a rig too.
    """

    frame: Frame
    by: Literal["constellation", "kind", "rig"]
    name: str
    targets: tuple[tuple[ObjectNote, float | None], ...]
    years: tuple[YearGroup, ...]
    total_s: float | None
    others: tuple[Link, ...]


def constellation_pages(model: SiteModel) -> list[PagePlan]:
    return _pages(model, "constellation", model.addresses.constellations, lambda t: t.object.constellation)


def kind_pages(model: SiteModel) -> list[PagePlan]:
    return _pages(model, "kind", model.addresses.kinds, lambda t: t.object.kind)


def rig_pages(model: SiteModel) -> list[PagePlan]:
    """All pictures of each rig that has more than the page of the equipment shows."""
    addresses = model.addresses.rigs
    links = [Link(name, page) for name, page in addresses.items()]
    rigs = [facts for facts in model.facts.rigs if facts.rig.name in addresses]
    return [
        PagePlan(
            addresses[f.rig.name],
            "group.html",
            "rig",
            partial(_of_rig, model, f, links),
            # Of its pictures the sessions with this rig alone count, as far as listed pictures hold them.
            told_from=model.told_from.all_of(f.pictures, f.rig.name, f.integration, links),
        )
        for f in rigs
    ]


def _of_rig(model: SiteModel, facts: RigFacts, links: Sequence[Link]) -> GroupContext:
    targets = {p.target.name: p.target for p in facts.pictures if p.target}
    notes = sorted((object_note(target, model) for target in targets.values()), key=lambda note: note.name)
    return GroupContext(
        frame=model.frame,
        by="rig",
        name=facts.rig.name,
        targets=tuple((note, None) for note in notes),
        years=by_year(gallery(facts.pictures, model)),
        total_s=facts.integration.total_s,
        others=tuple(link for link in links if link.text != facts.rig.name),
    )


def _pages(
    model: SiteModel,
    by: Literal["constellation", "kind"],
    addresses: Mapping[str, str],
    of: Callable[[TargetFacts], str | None],
) -> list[PagePlan]:
    members: dict[str, list[TargetFacts]] = {}
    for target in sorted(model.facts.targets, key=lambda t: t.name):
        if (name := of(target)) is not None:
            members.setdefault(name, []).append(target)
    links = [Link(name, addresses[name]) for name in sorted(members)]
    pictures: dict[str, list[PictureFacts]] = {name: [] for name in members}
    group_of = {t.identity: name for name, targets in members.items() for t in targets}
    for p in model.facts.listed:
        if p.target is not None and p.target.name in group_of:
            pictures[group_of[p.target.name]].append(p)
    return [
        PagePlan(
            addresses[name],
            "group.html",
            by,
            partial(_context, model, by, name, targets, pictures[name], links),
            told_from=model.told_from.all_of(pictures[name], name, [t.identity for t in targets], links),
        )
        for name, targets in members.items()
    ]


def _context(
    model: SiteModel,
    by: Literal["constellation", "kind"],
    name: str,
    targets: Sequence[TargetFacts],
    pictures: Sequence[PictureFacts],
    links: Sequence[Link],
) -> GroupContext:
    return GroupContext(
        frame=model.frame,
        by=by,
        name=name,
        targets=tuple((object_note(t.object, model), t.integration.total_s) for t in targets),
        years=by_year(gallery(pictures, model)),
        total_s=total_of(t.integration.total_s for t in targets),
        others=tuple(link for link in links if link.text != name),
    )
