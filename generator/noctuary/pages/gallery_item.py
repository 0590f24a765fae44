"""A picture in a gallery, as every page shows it that has galleries."""

from __future__ import annotations

from noctuary.archive.partial_date import PartialDate
from noctuary.pages.light_note import LightNote
from noctuary.pages.picture_view import PictureView
from noctuary.pages.rig_parts import RigParts
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
