"""A target's page: its history, years running down, newest first, with the chart of hours beside them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import date
from functools import partial

from noctuary.archive.partial_date import PartialDate
from noctuary.charts.drawing import Drawing
from noctuary.charts.hours import hours_chart
from noctuary.charts.season import SeasonChart
from noctuary.charts.sky_map import Finder, Outline
from noctuary.facts.exposure import total_of
from noctuary.facts.target import TargetFacts
from noctuary.pages import changes_page
from noctuary.pages import observing_card as card_page
from noctuary.pages.addresses import picture_page
from noctuary.pages.depth_note import DepthNote, GrowthNote, depth_note, growth_notes
from noctuary.pages.gallery import gallery_item
from noctuary.pages.gallery_item import GalleryItem
from noctuary.pages.light_note import LightNote, light_note
from noctuary.pages.neighbour_notes import NeighbourNote, neighbour_notes
from noctuary.pages.object_summary import ObjectNote, object_note
from noctuary.pages.overlay_pairs import address
from noctuary.pages.page import Frame, Link, PagePlan, relative
from noctuary.pages.session_rows import FilterTotal, filter_totals, places_of
from noctuary.pages.site_model import SiteModel
from noctuary.pages.years_in_frame import YearsInFrame, years_in_frame
from noctuary.plain_record import plain_record

_Where = tuple[date, str | None, str | None]
"""A night, a place, a rig: what one line tells of."""


@plain_record
class NightLine:
    """What one night brought for the target: seconds through each filter (``None``: no filter).

    ``rig`` is named where the night brought light through another too.
    """

    night: date
    page: str | None
    place: str | None
    rig: str | None
    filters: tuple[str | None, ...]
    integration_s: float | None


@plain_record
class Version:
    """One picture in the line of a target's pictures; ``compare``: the page of it and the one before it.

    ``overlaid``: on that page they are over each other.
    """

    title: str
    page: str
    finished: PartialDate
    growth: GrowthNote
    compare: str | None
    overlaid: bool


@plain_record
class TargetYear:
    """A calendar year of evenings and of pictures finished, each newest first."""

    year: int
    pictures: tuple[tuple[GalleryItem, GrowthNote], ...]
    nights: tuple[NightLine, ...]
    night_count: int
    integration_s: float | None
    sessions_not_recorded: int


@plain_record
class TargetContext:
    """``half_magnitude_h``: hours still needed on the latest rig, ``latest_rig``, for another 0.5 mag."""

    frame: Frame
    object: ObjectNote
    years_in_frame: YearsInFrame | None
    history: tuple[Version, ...]
    card: str | None
    changes: str | None
    years: tuple[TargetYear, ...]
    filters: tuple[FilterTotal, ...]
    light_note: LightNote
    fixed: bool
    total_s: float | None
    sessions_not_recorded: int
    nights: int
    first_night: date | None
    last_night: date | None
    light_m2_h: float | None
    depth: DepthNote | None
    half_magnitude_h: float | None
    latest_rig: str | None
    reference_rig: str | None
    neighbours: tuple[NeighbourNote, ...]
    same_constellation: tuple[Link, ...]
    same_kind: tuple[Link, ...]
    growth: Drawing | None
    seasons: tuple[Drawing, ...]
    finder: Drawing | None
    shows_the_sun: bool


def pages(model: SiteModel) -> list[PagePlan]:
    targets = model.facts.targets
    in_constellation: dict[str, list[Link]] = {}
    of_kind: dict[str, list[Link]] = {}
    for t in sorted(targets, key=lambda t: t.name):
        link = model.target_link(t)
        of_kind.setdefault(t.object.kind, []).append(link)
        if t.object.constellation:
            in_constellation.setdefault(t.object.constellation, []).append(link)
    near = neighbour_notes(model)
    target_pages = []
    for t in targets:
        here = model.addresses.targets[t.identity]
        same_place = in_constellation.get(t.object.constellation or "", [])
        beside = near.get(t.identity, ()), same_place, of_kind[t.object.kind]
        layers = [(g.before_id, g.picture_id) in model.layers for g in t.growth]
        # All else that is known of a target follows from its pictures.
        told_from = model.told_from.all_of(t.pictures, layers, model.frames.get(t.identity), beside)
        tell = partial(_context, model, t, *beside)
        target_pages.append(PagePlan(here, "target.html", "target", tell, told_from=told_from))
    return target_pages


def _context(
    model: SiteModel,
    target: TargetFacts,
    near: tuple[NeighbourNote, ...],
    same_constellation: Sequence[Link],
    same_kind: Sequence[Link],
) -> TargetContext:
    whole, here = target.integration, model.addresses.targets[target.identity]
    reference = model.facts.archive.reference_rig
    # The chart runs by days: a picture of which only the month or the year is known has no place on it.
    made = tuple((day, p.picture.title) for p in target.pictures if (day := p.picture.finished.exact) is not None)
    return TargetContext(
        frame=model.frame,
        object=object_note(target.object, model),
        years_in_frame=years_in_frame(target, model.frames.get(target.identity, ()), model.shown),
        history=_history(model, target),
        card=card_page.address(model.addresses, target.identity) if card_page.has_card(target) else None,
        changes=changes_page.address(model.addresses, target.identity)
        if changes_page.has_changes(target, model.shown)
        else None,
        years=_years(model, target),
        filters=filter_totals(target.sessions),
        light_note=light_note(target),
        fixed=target.fixed,
        total_s=whole.total_s,
        sessions_not_recorded=whole.sessions_not_recorded,
        nights=whole.nights,
        first_night=whole.first_night,
        last_night=whole.last_night,
        light_m2_h=target.light_m2_h,
        depth=depth_note(target.depth),
        half_magnitude_h=target.half_magnitude_h,
        latest_rig=next((f.session.rig.name for f in reversed(target.sessions) if f.session.rig), None),
        reference_rig=reference.name if reference else None,
        neighbours=near,
        same_constellation=tuple(link for link in same_constellation if link.page != here),
        same_kind=tuple(link for link in same_kind if link.page != here),
        growth=None if target.film else hours_chart(target.steps, made),
        seasons=_seasons(model, target),
        finder=_finder(model, target),
        shows_the_sun=target.identity == "Sun",
    )


def _seasons(model: SiteModel, target: TargetFacts) -> tuple[SeasonChart, ...]:
    """The season of a target with a fixed place, from each place that it was shot at, the latest first."""
    known = target.object
    if known.ra_deg is None or known.dec_deg is None or target.integration.last_night is None:
        return ()
    places = places_of(reversed(target.sessions))
    charts = []
    for place in places.values():
        if place.published is None:
            continue
        latitude, longitude, _ = place.published
        limit, year = model.facts.archive.horizon_deg, target.integration.last_night.year
        charts.append(SeasonChart(place.name, latitude, longitude, known.ra_deg, known.dec_deg, limit, year))
    return tuple(charts)


def _finder(model: SiteModel, target: TargetFacts) -> Finder | None:
    """The sky around a target with a fixed place, with the outlines of its pictures that are placed."""
    known = target.object
    if known.ra_deg is None or known.dec_deg is None:
        return None
    here = model.addresses.targets[target.identity]
    outlines = tuple(
        Outline(p.picture.title, relative(here, picture_page(p.picture.id)), p.placement.corners_deg)
        for p in target.pictures
        if p.placement is not None and p.picture.id in model.shown
    )
    return Finder(
        target.name,
        known.ra_deg,
        known.dec_deg,
        outlines,
        known.size_arcmin,
        known.position_angle_deg,
        known.outline,
        known.outline_centre_deg,
    )


def _history(model: SiteModel, target: TargetFacts) -> tuple[Version, ...]:
    """The target's pictures that can be shown, newest first, each with what it added since the one before."""
    titles = {p.picture.id: p.picture for p in target.pictures if p.picture.id in model.shown}
    notes = growth_notes(target)
    versions = []
    for g in reversed(target.growth):
        picture = titles.get(g.picture_id)
        if picture is None:
            continue
        pair = (g.before_id, g.picture_id) if g.before_id in titles else None
        versions.append(
            Version(
                title=picture.title,
                page=picture_page(picture.id),
                finished=picture.finished,
                growth=notes[g.picture_id],
                compare=address(model.addresses, target.identity, *pair) if pair else None,
                overlaid=pair in model.layers,
            )
        )
    return tuple(versions)


def _years(model: SiteModel, target: TargetFacts) -> tuple[TargetYear, ...]:
    growth = growth_notes(target)
    pictures: dict[int, list[tuple[GalleryItem, GrowthNote]]] = {}
    for p in target.pictures:
        if (picture := gallery_item(p, model)) is not None:
            pictures.setdefault(p.picture.finished.year, []).append((picture, growth[p.picture.id]))
    nights: dict[int, dict[_Where, list[tuple[tuple[str | None, ...], float | None]]]] = {}
    for f in reversed(target.sessions):
        s = f.session
        key = s.night, s.place.name if s.place else None, s.rig.name if s.rig else None
        filters = tuple(g.filter for g in s.frames)
        nights.setdefault(s.night.year, {}).setdefault(key, []).append((filters, f.integration_s))
    years = []
    for year in sorted(pictures.keys() | nights.keys(), reverse=True):
        of_night = Counter(night for night, _, _ in nights.get(year, {}))
        lines = tuple(
            NightLine(
                night=night,
                page=model.addresses.nights.get(night),
                place=place,
                rig=rig if of_night[night] > 1 else None,
                filters=tuple(dict.fromkeys(name for filters, _ in parts for name in filters)),
                integration_s=total_of(light for _, light in parts),
            )
            for (night, place, rig), parts in nights.get(year, {}).items()
        )
        light = total_of(line.integration_s for line in lines)
        unknown = sum(f.integration_s is None for f in target.sessions if f.session.night.year == year)
        years.append(TargetYear(year, tuple(pictures.get(year, ())), lines, len(of_night), light, unknown))
    return tuple(years)
