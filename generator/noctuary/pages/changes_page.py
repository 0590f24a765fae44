"""What changed on the sky between pictures of a target, as it was found and kept, with the cut-outs of both."""

from __future__ import annotations

from collections.abc import Container
from datetime import date
from functools import partial

from noctuary.archive.changes_file import KeptChange
from noctuary.archive.partial_date import PartialDate
from noctuary.facts.changes import kept_changes
from noctuary.facts.picture import PictureFacts
from noctuary.facts.target import TargetFacts
from noctuary.pages.addresses import Addresses, picture_page
from noctuary.pages.change_cut_outs import HEIGHT_PX, WIDTH_PX
from noctuary.pages.page import Frame, Link, PagePlan
from noctuary.pages.picture_view import Source
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record
from noctuary.portable_name import portable


@plain_record
class ComparedPicture:
    """A picture with its first and last night, ``None`` where no session is recorded."""

    link: Link
    finished: PartialDate
    first_night: date | None
    last_night: date | None


@plain_record
class Candidate:
    """A candidate and where its cut-outs are: their top in the strip, pixels.

    ``once_in``: in how many comparisons chance would show as much, 10,000 at most.
    """

    found: KeptChange
    top_px: int
    once_in: int


@plain_record
class ComparedPair:
    """``more``: candidates that are less sure and not kept."""

    older: ComparedPicture
    newer: ComparedPicture
    tried: int
    common: int
    candidates: tuple[Candidate, ...]
    more: int
    strip: Source | None


@plain_record
class ChangesContext:
    """``pair_width_px`` and ``pair_height_px`` are the size of one pair of cut-outs."""

    frame: Frame
    target: Link
    compared: tuple[ComparedPair, ...]
    pair_width_px: int
    pair_height_px: int


def address(addresses: Addresses, identity: str) -> str:
    """The address of the page of a target's changes, whatever the target is called."""
    return portable(f"changes/{addresses.stems[identity]}.html")


def has_changes(target: TargetFacts, shown: Container[str]) -> bool:
    """Whether anything was kept of the target's pictures that can be shown."""
    return any(True for _ in kept_changes(target, shown))


def pages(model: SiteModel) -> list[PagePlan]:
    return [
        PagePlan(address(model.addresses, t.identity), "changes.html", "changes", partial(_context, model, t))
        for t in model.facts.targets
        if has_changes(t, model.shown)
    ]


def _context(model: SiteModel, target: TargetFacts) -> ChangesContext:
    compared = []
    for older, newer, kept in kept_changes(target, model.shown):
        compared.append(
            ComparedPair(
                older=_picture(older),
                newer=_picture(newer),
                tried=kept.tried,
                common=kept.common,
                candidates=tuple(
                    Candidate(each, number * HEIGHT_PX, _once_in(each.chance))
                    for number, each in enumerate(kept.candidates)
                ),
                more=max(kept.found - len(kept.candidates), 0),
                strip=model.cut_outs.get((older.picture.id, newer.picture.id)),
            )
        )
    return ChangesContext(model.frame, model.target_link(target), tuple(reversed(compared)), WIDTH_PX, HEIGHT_PX)


def _picture(facts: PictureFacts) -> ComparedPicture:
    nights = sorted(f.session.night for f in facts.sessions)
    return ComparedPicture(
        link=Link(facts.picture.title, picture_page(facts.picture.id)),
        finished=facts.picture.finished,
        first_night=nights[0] if nights else None,
        last_night=nights[-1] if nights else None,
    )


def _once_in(chance: float) -> int:
    """In how many comparisons chance would show as much, of one figure, 10,000 at most."""
    times = min(1.0 / max(chance, 1e-4), 10_000.0)
    unit: int = 10 ** (len(str(int(times))) - 1)
    return int(times) // unit * unit
