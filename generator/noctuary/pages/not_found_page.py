"""What a server shows at an address without a page: a page that finds the way back from any depth."""

from __future__ import annotations

from functools import partial
from urllib.parse import urlsplit

from noctuary.pages.page import Frame, PagePlan
from noctuary.pages.site_model import NOT_FOUND, SiteModel
from noctuary.plain_record import plain_record


@plain_record
class NotFoundContext:
    frame: Frame


def page(model: SiteModel) -> PagePlan:
    """The page, its links counted from the top of the host: it is shown at addresses of any depth.

    It is no page of the site that anything leads to, so it is beside them.
    """
    top = urlsplit(model.frame.address or "").path or "/"
    tell = partial(NotFoundContext, model.frame)
    return PagePlan(NOT_FOUND, "not_found.html", "not-found", tell, listed=False, top=top)
