"""A card to take outside: what to set to add to a target."""

from __future__ import annotations

import posixpath
from collections.abc import Sequence
from functools import partial

from noctuary.archive.records import Session
from noctuary.charts.season import SeasonChart
from noctuary.facts.continue_target import Continuation, Setting, continuation, with_darks
from noctuary.facts.object_names import common_name_beside, designations_beside
from noctuary.facts.optics import aperture_mm, f_ratio, focal_length_mm
from noctuary.facts.target import TargetFacts
from noctuary.pages.addresses import Addresses, picture_page
from noctuary.pages.page import Frame, Link, PagePlan
from noctuary.pages.product import digest
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record


@plain_record
class RigLine:
    """A rig in one line; lengths in mm."""

    name: str
    optic: str | None
    camera: str | None
    focal_length_mm: float | None
    aperture_mm: float | None
    f_ratio: float | None


@plain_record
class ObservingCardContext:
    """``season``: from the place of the last session, for the best month.

    ``picture_to_match``: the one whose field and angle new frames should have. ``wanted`` are the filters
    that lack light, those that lack most first; where nobody knows how much to add, all. ``enough`` are the others.
    """

    frame: Frame
    target: Link
    common_name: str | None
    designations: tuple[str, ...]
    continuation: Continuation
    wanted: tuple[Setting, ...]
    enough: tuple[Setting, ...]
    rig: RigLine
    place: str | None
    picture_to_match: Link | None
    season: SeasonChart | None


def address(addresses: Addresses, identity: str) -> str:
    """The address of a target's card."""
    return f"cards/{posixpath.basename(addresses.targets[identity])}"


def has_card(target: TargetFacts) -> bool:
    """Whether a target has a card: it is known with which rig it was photographed.

    What has no fixed place has none: it is another thing the next time.
    """
    return any(f.session.rig is not None for f in target.sessions) and target.fixed


def _card_of(target: TargetFacts, darks: Sequence[Session]) -> Continuation:
    """What to set to add to a target that has a card."""
    known = target.object
    centre = (known.ra_deg, known.dec_deg) if known.ra_deg is not None and known.dec_deg is not None else None
    card = continuation([f.session for f in target.sessions], target.pictures, centre, darks, target.fields)
    assert card is not None
    return card


def pages(model: SiteModel) -> list[PagePlan]:
    darks = with_darks(f.session for t in model.facts.targets for f in t.sessions)
    all_darks = digest(darks)
    return [
        PagePlan(
            address(model.addresses, t.identity),
            "observing_card.html",
            "card",
            partial(_context, model, t, darks),
            told_from=model.told_from.all_of(t.pictures, t.identity, all_darks),
        )
        for t in model.facts.targets
        if has_card(t)
    ]


def _context(model: SiteModel, target: TargetFacts, darks: Sequence[Session]) -> ObservingCardContext:
    card = _card_of(target, darks)
    known, rig, place = target.object, card.rig, card.place
    season = None
    where = place.published if place is not None else None
    if place is not None and where is not None and known.ra_deg is not None and known.dec_deg is not None:
        latitude, longitude, _ = where
        limit, year = model.facts.archive.horizon_deg, target.sessions[-1].session.night.year
        season = SeasonChart(place.name, latitude, longitude, known.ra_deg, known.dec_deg, limit, year)
    matched = card.pointing.picture_id if card.pointing else None
    return ObservingCardContext(
        frame=model.frame,
        target=model.target_link(target),
        common_name=common_name_beside(known, target.name),
        designations=designations_beside(known, target.name),
        continuation=card,
        wanted=tuple(sorted((s for s in card.settings if s.next_subs != 0), key=lambda s: -(s.next_s or 0.0))),
        enough=tuple(s for s in card.settings if s.next_subs == 0),
        rig=RigLine(
            rig.name,
            rig.optic.name if rig.optic else None,
            rig.camera.name if rig.camera else None,
            focal_length_mm(rig),
            aperture_mm(rig),
            f_ratio(rig),
        ),
        place=place.name if place else None,
        picture_to_match=Link(model.facts.pictures[matched].picture.title, picture_page(matched))
        if matched is not None and matched in model.shown
        else None,
        season=season,
    )
