"""What lies at the address of a picture that is gone: a page that says so and leads to what is nearest to it."""

from __future__ import annotations

from noctuary.pages.addresses import picture_page
from noctuary.pages.page import Frame, Link, Page
from noctuary.pages.picture_view import PictureView
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record


@plain_record
class GoneContext:
    """``now``: the same picture under another name. ``newest``: of the pictures of its ``target``, else of all.

    Of the picture itself nothing is said, since it may be gone for a reason.
    """

    frame: Frame
    now: Link | None
    target: Link | None
    newest: PictureView | None


def pages(model: SiteModel) -> list[Page]:
    """A page for each picture that is gone, which nothing of the site leads to."""
    targets = {t.identity: t for t in model.facts.targets}
    newest = next((model.shown[p.picture.id] for p in model.facts.listed if p.picture.id in model.shown), None)
    gone_pages = []
    for gone in model.gone:
        target, now = targets.get(gone.target), model.shown.get(gone.now)
        context = GoneContext(
            frame=model.frame,
            now=Link(now.title, now.page) if now and model.facts.pictures[gone.now].picture.listed else None,
            target=model.target_link(target) if target else None,
            newest=(model.picture_of(target) if target else None) or newest,
        )
        gone_pages.append(Page(picture_page(gone.id), "gone.html", context, "gone", listed=False))
    return gone_pages
