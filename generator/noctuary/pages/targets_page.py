"""The list of targets: a table that script can sort and that reads as well without."""

from __future__ import annotations

from datetime import date
from functools import partial

from noctuary.pages.depth_note import DepthNote, depth_note
from noctuary.pages.object_summary import ObjectNote, object_note
from noctuary.pages.page import Frame, PagePlan
from noctuary.pages.picture_view import PictureView
from noctuary.pages.site_model import TARGETS, SiteModel
from noctuary.plain_record import plain_record


@plain_record
class TargetLine:
    """One target with its totals (seconds, evenings, listed pictures); ``shown`` is the newest of its pictures."""

    object: ObjectNote
    shown: PictureView | None
    total_s: float | None
    nights: int
    pictures: int
    first_night: date | None
    last_night: date | None
    depth: DepthNote | None


@plain_record
class TargetsContext:
    """Targets by name, as a person would look them up; ``columns`` are those in which some target has something.

    ``reference_rig`` is ``None`` where no target has a depth against it.
    """

    frame: Frame
    targets: tuple[TargetLine, ...]
    columns: tuple[str, ...]
    reference_rig: str | None


def pages(model: SiteModel) -> list[PagePlan]:
    return [PagePlan(TARGETS, "targets.html", "targets", partial(_context, model))]


def _context(model: SiteModel) -> TargetsContext:
    lines = tuple(
        TargetLine(
            object=object_note(t.object, model),
            shown=model.picture_of(t),
            total_s=t.integration.total_s,
            nights=t.integration.nights,
            pictures=len(t.pictures),
            first_night=t.integration.first_night,
            last_night=t.integration.last_night,
            depth=depth_note(t.depth),
        )
        for t in sorted(model.facts.targets, key=lambda t: _by_number(t.name))
    )
    reference = model.facts.archive.reference_rig
    optional = ("nights", "total_s", "depth", "last_night")
    columns = tuple(name for name in optional if any(getattr(line, name) not in (None, 0) for line in lines))
    name = reference.name if reference and "depth" in columns else None
    return TargetsContext(model.frame, lines, columns, name)


def _by_number(name: str) -> tuple[str, float, str]:
    """IC 434 before IC 1805: the word first, then the number."""
    words = name.rsplit(maxsplit=1)
    if len(words) == 2 and words[1].isascii() and words[1].isdigit() and len(words[1]) < 16:
        return words[0].casefold(), float(words[1]), name
    return name.casefold(), -1.0, name
