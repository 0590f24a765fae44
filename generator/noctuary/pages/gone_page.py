"""What is at the address of a picture that the archive lets go: a page that says so and leads on."""

from __future__ import annotations

from functools import partial

from noctuary.pages.addresses import picture_page
from noctuary.pages.gone_addresses import ids_let_go
from noctuary.pages.page import Frame, PagePlan
from noctuary.pages.picture_view import PictureView
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record


@plain_record
class GoneContext:
    """``words``: those of the address, to look for. ``newest``: the newest picture that is listed.

    Of the picture itself nothing is said, since it may be gone for a reason.
    """

    frame: Frame
    words: str
    newest: PictureView | None


def pages(model: SiteModel) -> list[PagePlan]:
    """A page for each picture that is let go, which nothing of the site leads to."""
    listed = (facts.picture.id for facts in model.facts.listed)
    newest = next((model.shown[name] for name in listed if name in model.shown), None)
    return [
        PagePlan(
            picture_page(name),
            "gone.html",
            "gone",
            partial(GoneContext, model.frame, name.replace("-", " "), newest),
            listed=False,
        )
        for name in ids_let_go(model.facts.archive)
    ]
