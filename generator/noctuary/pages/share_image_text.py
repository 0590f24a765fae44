"""The share picture of every picture's page: what its lines say, and what it is drawn from."""

from __future__ import annotations

from noctuary.pages.object_summary import ObjectNote, object_note
from noctuary.pages.page import Frame, Page
from noctuary.pages.picture_page import PictureSummary, picture_summary
from noctuary.pages.site_model import SiteModel
from noctuary.pages.social_metadata import share_picture
from noctuary.plain_record import plain_record


@plain_record
class ShareImageContext:
    """What the lines below the picture may say; ``id`` is the picture's."""

    frame: Frame
    id: str
    title: str
    objects: tuple[ObjectNote, ...]
    summary: PictureSummary


def share_image_pages(model: SiteModel) -> list[Page]:
    """The lines of each share picture as a text to be set; none where the site has no address."""
    if model.facts.archive.address is None:
        return []
    return [
        Page(
            share_picture(picture_id),
            "share_lines.txt",
            ShareImageContext(
                frame=model.frame,
                id=picture_id,
                title=" ".join(facts.picture.title.split()),
                objects=tuple(object_note(o, model) for o in facts.objects),
                summary=picture_summary(facts),
            ),
            "share picture",
            facts.picture.listed,
        )
        for picture_id, facts in model.facts.pictures.items()
        if picture_id in model.shown
    ]
