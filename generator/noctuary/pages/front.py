"""The front page: the newest picture with its sentence, then all the others, newest first."""

from __future__ import annotations

from datetime import date

from noctuary.pages.gallery import GalleryItem, gallery
from noctuary.pages.page import Frame, Page
from noctuary.pages.picture_page import PictureSummary, picture_summary
from noctuary.pages.site_model import FRONT, SiteModel
from noctuary.plain_record import plain_record


@plain_record
class FrontContext:
    """``newest`` and its ``summary`` are ``None`` without any picture; ``kinds`` are those of the targets."""

    frame: Frame
    newest: GalleryItem | None
    summary: PictureSummary | None
    pictures: tuple[GalleryItem, ...]
    kinds: tuple[str, ...]
    total_s: float | None
    sessions_not_recorded: int
    nights: int
    first_night: date | None


def pages(model: SiteModel) -> list[Page]:
    facts = model.facts
    everything = gallery(facts.listed, model)
    newest = everything[0] if everything else None
    context = FrontContext(
        frame=model.frame,
        newest=newest,
        summary=picture_summary(facts.pictures[newest.id]) if newest else None,
        pictures=everything[1:],
        kinds=tuple(sorted({p.target.kind for p in facts.listed if p.target})),
        total_s=facts.integration.total_s,
        sessions_not_recorded=facts.integration.sessions_not_recorded,
        nights=facts.integration.nights,
        first_night=facts.integration.first_night,
    )
    return [Page(FRONT, "front.html", context, "front")]
