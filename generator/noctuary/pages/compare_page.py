"""Two pictures of a target over each other, so that the same stars lie on the same spot; or side by side."""

from __future__ import annotations

from functools import partial
from typing import Literal

from noctuary.archive.partial_date import PartialDate
from noctuary.archive.records import Picture
from noctuary.facts.alignment import Alignment
from noctuary.facts.picture import PictureFacts
from noctuary.facts.target import TargetFacts, growth
from noctuary.pages.depth_note import GrowthNote, growth_note
from noctuary.pages.light_note import LightNote, light_note
from noctuary.pages.overlay_pairs import address, pairs, shown_width
from noctuary.pages.page import Frame, Link, PagePlan
from noctuary.pages.picture_view import PictureView, Source
from noctuary.pages.product import digest
from noctuary.pages.rig_parts import RigParts, rig_parts
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record

#: Why two pictures cannot be overlaid: one of them has no place on the sky, or they share no sky.
NotOverlaid = Literal["unplaced", "no common sky"]


@plain_record
class Side:
    """One of the two pictures; ``drawn_again`` is used instead where it is overlaid on the other."""

    shown: PictureView
    finished: PartialDate
    light: LightNote
    rigs: RigParts
    drawn_again: Source | None


@plain_record
class OverlayView:
    """One shown over the other by the matrix of :class:`Alignment`; ``misses_px`` of ``width_px``, the widest."""

    alignment: Alignment
    matrix: tuple[float, ...]
    ratio: float
    width_px: int
    misses_px: float


@plain_record
class Choice:
    """Another picture that may take a side: its title, its date, and the page on which it does."""

    title: str
    finished: PartialDate
    page: str


@plain_record
class CompareContext:
    frame: Frame
    target: Link
    older: Side
    newer: Side
    grown: GrowthNote
    overlay: OverlayView | None
    not_overlaid: NotOverlaid | None
    unplaced: tuple[str, ...]
    older_choices: tuple[Choice, ...]
    newer_choices: tuple[Choice, ...]


def pages(model: SiteModel) -> list[PagePlan]:
    all_pages = []
    for target in model.facts.targets:
        pairs_of_target = pairs(target, model.shown)
        # For each picture the choices beside it, made once: many pages have the same.
        older_choices: dict[str, list[Choice]] = {}
        newer_choices: dict[str, list[Choice]] = {}
        for a, b in pairs_of_target:
            page = address(model.addresses, target.identity, a.picture.id, b.picture.id)
            older_choices.setdefault(b.picture.id, []).append(Choice(a.picture.title, a.picture.finished, page))
            newer_choices.setdefault(a.picture.id, []).append(Choice(b.picture.title, b.picture.finished, page))
        beside = {name: tuple(choices) for name, choices in older_choices.items()}
        after = {name: tuple(choices) for name, choices in newer_choices.items()}
        digests = {
            f.picture.id: tuple(digest(choices.get(f.picture.id)) for choices in (beside, after))
            for f in target.pictures
        }
        for a, b in pairs_of_target:
            path = address(model.addresses, target.identity, a.picture.id, b.picture.id)
            tell = partial(_context, model, target, a, b, beside[b.picture.id], after[a.picture.id])
            layer = model.layers.get((a.picture.id, b.picture.id))
            choices = digests[b.picture.id][0], digests[a.picture.id][1]
            told_from = model.told_from.all_of((a, b), target.identity, target.fixed, layer, choices)
            all_pages.append(PagePlan(path, "compare.html", "compare", tell, told_from=told_from))
    return all_pages


def _context(
    model: SiteModel,
    target: TargetFacts,
    older: PictureFacts,
    newer: PictureFacts,
    older_choices: tuple[Choice, ...],
    newer_choices: tuple[Choice, ...],
) -> CompareContext:
    layer = model.layers.get((older.picture.id, newer.picture.id))
    again = layer.drawn_again if layer else None
    overlay: OverlayView | None = None
    not_overlaid: NotOverlaid | None = None
    unplaced = tuple(f.picture.title for f in (older, newer) if f.placement is None)
    if layer is not None:
        base = model.shown[(older if layer.alignment.base == "older" else newer).picture.id]
        width = shown_width(base)
        overlay = OverlayView(
            alignment=layer.alignment,
            matrix=(1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0) if again is not None else layer.alignment.matrix,
            ratio=base.ratio,
            width_px=width,
            misses_px=layer.alignment.misses_px(width),
        )
    else:
        not_overlaid = "unplaced" if unplaced else "no common sky"

    def side(facts: PictureFacts, which: str) -> Side:
        return Side(
            shown=model.shown[facts.picture.id],
            finished=facts.picture.finished,
            light=light_note(facts),
            rigs=rig_parts(facts.rigs),
            drawn_again=again if layer is not None and layer.alignment.other == which else None,
        )

    return CompareContext(
        frame=model.frame,
        target=model.target_link(target),
        older=side(older, "older"),
        newer=side(newer, "newer"),
        grown=growth_note(growth((older, newer), target.fixed)[1]),
        overlay=overlay,
        not_overlaid=not_overlaid,
        unplaced=unplaced,
        older_choices=older_choices,
        newer_choices=newer_choices,
    )


def overlay_links(model: SiteModel) -> dict[str, tuple[Link, ...]]:
    """For each picture the pages on which it lies over another, each with the other's title, newest first."""
    links: dict[str, list[tuple[Picture, str]]] = {}
    for pair in model.layers:
        for this, that in (pair, pair[::-1]):
            other = model.facts.pictures[that]
            assert other.target is not None  # only pictures of one target make a pair
            links.setdefault(this, []).append((other.picture, address(model.addresses, other.target.name, *pair)))
    for beside in links.values():
        beside.sort(key=lambda each: (each[0].finished, each[0].id), reverse=True)
    return {this: tuple(Link(p.title, page) for p, page in beside) for this, beside in links.items()}
