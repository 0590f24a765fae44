"""The person's own pages."""

from __future__ import annotations

from noctuary.pages.page import Frame, Page
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record


@plain_record
class FreeContext:
    """``prose`` is Markdown."""

    frame: Frame
    title: str
    prose: str


def pages(model: SiteModel) -> list[Page]:
    free_pages = []
    for p in model.facts.archive.pages:
        context = FreeContext(model.frame, p.title, _below_title(p.prose, p.title))
        free_pages.append(Page(model.addresses.free_pages[p.id], "free.html", context, "free"))
    return free_pages


def _below_title(prose: str, title: str) -> str:
    """The text without a first heading that only repeats the title."""
    first, _, rest = prose.lstrip("\n").partition("\n")
    return rest if first.startswith("# ") and first[2:].strip().rstrip("#").strip() == title.strip() else prose
