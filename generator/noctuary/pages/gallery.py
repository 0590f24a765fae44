"""Pictures in a gallery: each with its name and the facts printed under it."""

from __future__ import annotations

from collections.abc import Iterable

from noctuary.archive.partial_date import PartialDate
from noctuary.facts.picture import PictureFacts
from noctuary.pages.light_note import LightNote, light_note
from noctuary.pages.picture_view import PictureView
from noctuary.pages.rig_parts import RigParts, rig_parts
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record


@plain_record
class GalleryItem:
    """A picture in a gallery, with its light and the rigs that it was taken with."""

    id: str
    shown: PictureView
    target: str | None
    finished: PartialDate
    light: LightNote
    rigs: RigParts


def gallery_item(facts: PictureFacts, model: SiteModel) -> GalleryItem | None:
    """The picture with its facts, or ``None`` when there is nothing to show."""
    shown = model.shown.get(facts.picture.id)
    if shown is None:
        return None
    return GalleryItem(
        id=facts.picture.id,
        shown=shown,
        target=model.facts.names.of(facts.target) if facts.target else None,
        finished=facts.picture.finished,
        light=light_note(facts),
        rigs=rig_parts(facts.rigs),
    )


def gallery(pictures: Iterable[PictureFacts], model: SiteModel) -> tuple[GalleryItem, ...]:
    """Every picture that can be shown, in the order given."""
    return tuple(item for item in (gallery_item(p, model) for p in pictures) if item is not None)
