"""A picture's own page: the picture, one sentence, the table of acquisition, then everything else."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from functools import partial
from typing import TYPE_CHECKING

from noctuary.archive.partial_date import PartialDate
from noctuary.charts.overlay import MOST_OBJECTS, MarkedObject, Overlay
from noctuary.charts.zones import ZonesChart, zones_chart
from noctuary.facts.object_names import ObjectNames, well_known
from noctuary.facts.optics import Optics
from noctuary.facts.picture import PictureFacts
from noctuary.facts.target import has_fixed_place
from noctuary.pages.addresses import picture_page
from noctuary.pages.common_facts import CommonFacts, common_facts, varying_columns
from noctuary.pages.compare_page import overlay_links
from noctuary.pages.depth_note import DepthNote, depth_note
from noctuary.pages.light_note import LightNote, light_note
from noctuary.pages.object_summary import ObjectNote, object_note
from noctuary.pages.page import Frame, Link, PagePlan
from noctuary.pages.panel_list import PanelList, panel_list
from noctuary.pages.picture_label import PictureLabel, picture_label
from noctuary.pages.picture_view import PictureView
from noctuary.pages.rig_parts import RigParts, rig_parts
from noctuary.pages.session_rows import Entry, FilterTotal, PlaceNote, entry, filter_totals, place_note
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record

if TYPE_CHECKING:
    from noctuary.sky.catalogue import SkyObject


@plain_record
class PictureSummary:
    """What the one sentence under a picture says; ``places`` in the order of first use.

    ``sky_brightness`` (mag/arcsec²) is averaged by integration. What has no ``fixed`` place on the sky is spoken of
    with its date.
    """

    light: LightNote
    fixed: bool
    nights: int
    first_night: date | None
    last_night: date | None
    rigs: RigParts
    places: tuple[str, ...]
    sky_brightness: float | None


@plain_record
class PlacedNote:
    """Where the picture lies: its centre (ICRS degrees), its up from north through east, its parity."""

    ra_deg: float
    dec_deg: float
    position_angle_deg: float
    mirrored: bool


@plain_record
class PictureContext:
    """Everything that a picture's page says. Prose is Markdown; numbers carry their units in their names.

    ``columns`` are those of the table of acquisition in which some session has something to say; what all of them
    have in common is in ``common`` instead.
    """

    frame: Frame
    id: str
    title: str
    shown: PictureView
    summary: PictureSummary
    label: PictureLabel
    finished: PartialDate
    entries: tuple[Entry, ...]
    common: CommonFacts
    columns: tuple[str, ...]
    filters: tuple[FilterTotal, ...]
    kept: int | None
    taken: int | None
    kept_share: float | None
    total_s: float | None
    places: tuple[PlaceNote, ...]
    optics: Optics | None
    frame_fill: float | None
    light_m2_h: float | None
    depth: DepthNote | None
    reference_rig: str | None
    placed: PlacedNote | None
    objects: tuple[ObjectNote, ...]
    in_field: tuple[Link | str, ...]
    description: str | None
    processing: str | None
    tags: tuple[str, ...]
    credit: str | None
    accepted_doubts: tuple[tuple[str, str], ...]
    replaces: Link | None
    superseded_by: Link | None
    builds_on: tuple[Link, ...]
    part_of: tuple[Link, ...]
    overlays: tuple[Link, ...]
    newer: Link | None
    older: Link | None
    shows_the_sun: bool
    panels: PanelList | None
    overlay: Overlay | None
    zones: ZonesChart | None


#: From so many marks on a picture on only those objects are added that people speak of.
ENOUGH_OBJECTS = 40


def overlay_of(facts: PictureFacts, names: ObjectNames) -> Overlay | None:
    """What can be drawn over a picture, or ``None`` where nothing says where it lies; each as the archive calls it.

    Named first: the picture's own objects, then those that people speak of, the large and the bright before others.
    Of the rest no more than make :data:`ENOUGH_OBJECTS` marks in all, or a wide field would be full of numbers.
    """
    if facts.placement is None:
        return None
    own = {o.name for o in facts.objects}

    def weight(known: SkyObject) -> tuple[int, float, float, str]:
        size = known.size_arcmin[0] if known.size_arcmin else 0.0
        named = 0 if known.name in own else 1 if well_known(known) else 2
        return named, -size, known.magnitude if known.magnitude is not None else 99.0, known.name

    touching = _once_each(sorted(facts.touching, key=lambda touch: weight(touch[0])))
    spoken_of = sum(weight(known)[0] < 2 for known, _, _ in touching)
    touching = touching[: min(MOST_OBJECTS, max(ENOUGH_OBJECTS, spoken_of))]
    marked = tuple(
        MarkedObject(
            name=names.of(known),
            ra_deg=known.ra_deg or 0.0,
            dec_deg=known.dec_deg or 0.0,
            x=round(x, 1),
            y=round(y, 1),
            size_arcmin=known.size_arcmin,
            position_angle_deg=known.position_angle_deg,
            outline=known.outline,
            outline_centre_deg=known.outline_centre_deg,
            is_star=known.kind == "star",
            rank=rank,
        )
        for rank, (known, x, y) in enumerate(touching)
    )
    return Overlay(facts.placement.plain, marked)


def _once_each(touching: Iterable[tuple[SkyObject, float, float]]) -> list[tuple[SkyObject, float, float]]:
    """Objects without those that have the extent of one before them: a nebula with several numbers is drawn once.

    The first is drawn with the outline that any of them has.
    """
    kept: dict[object, tuple[SkyObject, float, float]] = {}
    for known, x, y in touching:
        middle = known.outline_centre_deg or (known.ra_deg, known.dec_deg)
        extent: object = (middle, known.size_arcmin) if known.size_arcmin else known.name
        if extent not in kept:
            kept[extent] = (known, x, y)
        elif known.outline and not kept[extent][0].outline:
            first, *at = kept[extent]
            kept[extent] = (replace(first, outline=True), at[0], at[1])
    return list(kept.values())


def _in_field(model: SiteModel, facts: PictureFacts) -> tuple[Link | str, ...]:
    """What else lies in the picture, what people speak of before the others, and the nearer to its middle first."""
    others = [o for o, _, _ in facts.in_field or () if o not in facts.objects]
    return tuple(map(model.object_link, sorted(others, key=lambda o: not well_known(o))))


def picture_summary(facts: PictureFacts) -> PictureSummary:
    return PictureSummary(
        light=light_note(facts),
        fixed=facts.target is None or has_fixed_place(facts.target),
        nights=facts.integration.nights,
        first_night=facts.integration.first_night,
        last_night=facts.integration.last_night,
        rigs=rig_parts(facts.rigs),
        places=tuple(facts.places),
        sky_brightness=facts.sky_brightness,
    )


def _is_sun(known: SkyObject | None) -> bool:
    return known is not None and known.name == "Sun"


def pages(model: SiteModel) -> list[PagePlan]:
    """A page for every picture but drafts; one that is not listed is linked from nowhere."""
    listed = [p.picture.id for p in model.facts.listed]
    place_in_order = {name: i for i, name in enumerate(listed)}
    newest = _newest_versions(model)
    over = overlay_links(model)
    parts: dict[str, list[str]] = {}
    for whole in model.facts.listed:
        for part in whole.picture.builds_on:
            parts.setdefault(part, []).append(whole.picture.id)
    picture_pages = []
    for facts in model.facts.pictures.values():
        shown = model.shown.get(facts.picture.id)
        if shown is None:
            continue
        at = place_in_order.get(facts.picture.id)
        picture = facts.picture
        others = _Others(
            newer=_listed_link(model, listed[at - 1] if at else None),
            older=_listed_link(model, listed[at + 1] if at is not None and at + 1 < len(listed) else None),
            replaces=_listed_link(model, picture.replaces),
            superseded_by=_listed_link(model, newest.get(picture.id)),
            builds_on=_listed_links(model, picture.builds_on),
            part_of=_listed_links(model, parts.get(picture.id, ())),
            overlays=over.get(picture.id, ()) if picture.listed else (),
            panels=panel_list(model, facts),
        )
        page = picture_page(picture.id)
        tell = partial(_context, model, facts, shown, others)
        told_from = model.told_from.all_of((facts,), others)
        picture_pages.append(
            PagePlan(page, "picture.html", "picture", tell, picture.listed, told_from=told_from)
        )
    return picture_pages


@plain_record
class _Others:
    """The way from a picture's page to those of the pictures that it has to do with, and its panels."""

    newer: Link | None
    older: Link | None
    replaces: Link | None
    superseded_by: Link | None
    builds_on: tuple[Link, ...]
    part_of: tuple[Link, ...]
    overlays: tuple[Link, ...]
    panels: PanelList | None


def _context(model: SiteModel, facts: PictureFacts, shown: PictureView, others: _Others) -> PictureContext:
    archive, picture, whole = model.facts.archive, facts.picture, facts.integration
    placement = facts.placement
    objects = tuple(object_note(o, model) for o in facts.objects)
    entries = tuple(entry(s, model) for s in facts.sessions)
    common = common_facts(entries)
    return PictureContext(
        frame=model.frame,
        id=picture.id,
        title=picture.title,
        shown=shown,
        summary=picture_summary(facts),
        label=picture_label(facts, model),
        finished=picture.finished,
        entries=entries,
        common=common,
        columns=varying_columns(entries, common),
        filters=filter_totals(facts.sessions),
        kept=whole.kept,
        taken=whole.taken,
        kept_share=whole.kept_share,
        total_s=whole.total_s,
        places=tuple(place_note(place) for place in facts.places.values()),
        optics=facts.optics,
        frame_fill=facts.frame_fill,
        light_m2_h=facts.light_m2_h,
        depth=depth_note(facts.depth),
        reference_rig=archive.reference_rig.name if archive.reference_rig else None,
        placed=PlacedNote(
            *placement.centre, position_angle_deg=placement.position_angle_deg, mirrored=placement.mirrored
        )
        if placement
        else None,
        objects=objects,
        in_field=_in_field(model, facts),
        description=picture.description,
        processing=picture.processing,
        tags=picture.tags,
        credit=picture.credit,
        accepted_doubts=tuple(picture.accepted_doubts.items()),
        replaces=others.replaces,
        superseded_by=others.superseded_by,
        builds_on=others.builds_on,
        part_of=others.part_of,
        overlays=others.overlays,
        newer=others.newer,
        older=others.older,
        shows_the_sun=any(map(_is_sun, facts.objects)),
        panels=others.panels,
        overlay=overlay_of(facts, model.facts.names),
        zones=zones_chart(facts.stars, shown.ratio),
    )


def _listed_link(model: SiteModel, picture_id: str | None) -> Link | None:
    """A link to a picture that lists may speak of; the others are linked from nowhere."""
    facts = model.facts.pictures.get(picture_id) if picture_id else None
    if facts is None or not facts.picture.listed or facts.picture.id not in model.shown:
        return None
    return Link(facts.picture.title, picture_page(facts.picture.id))


def _listed_links(model: SiteModel, picture_ids: Iterable[str]) -> tuple[Link, ...]:
    return tuple(link for picture_id in picture_ids if (link := _listed_link(model, picture_id)) is not None)


def _newest_versions(model: SiteModel) -> dict[str, str]:
    """For each replaced picture the listed one at the end of the chain of those that replace it."""
    following = {p.picture.replaces: p.picture.id for p in reversed(model.facts.listed) if p.picture.replaces}
    newest = {}
    for replaced in following:
        at, visited = replaced, {replaced}
        while (after := following.get(at)) is not None and after not in visited:
            visited.add(after)
            newest[replaced] = at = after
    return newest
