"""Pictures in a gallery: each with its name and the facts printed under it."""

from __future__ import annotations

from collections.abc import Iterable

from noctuary.facts.picture import PictureFacts
from noctuary.pages.gallery_item import GalleryItem
from noctuary.pages.light_note import light_note
from noctuary.pages.rig_parts import rig_parts
from noctuary.pages.site_model import SiteModel


def gallery_item(facts: PictureFacts, model: SiteModel) -> GalleryItem | None:
    """The picture with its facts, or ``None`` when there is nothing to show; worked out once for many galleries."""
    name = facts.picture.id
    shown = model.shown.get(name)
    if shown is None:
        return None
    known = model.gallery_items.get(name)
    if known is None:
        known = model.gallery_items[name] = GalleryItem(
            id=name,
            shown=shown,
            target=model.facts.names.of(facts.target) if facts.target else None,
            finished=facts.picture.finished,
            light=light_note(facts),
            rigs=rig_parts(facts.rigs),
        )
    return known


def gallery(pictures: Iterable[PictureFacts], model: SiteModel) -> tuple[GalleryItem, ...]:
    """Every picture that can be shown, in the order given."""
    return tuple(item for item in (gallery_item(p, model) for p in pictures) if item is not None)
