"""The person's own pages."""

from __future__ import annotations

from functools import partial

from noctuary.archive.records import FreePage
from noctuary.pages.page import Frame, PagePlan
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record


@plain_record
class FreeContext:
    """``prose`` is Markdown."""

    frame: Frame
    title: str
    prose: str


def pages(model: SiteModel) -> list[PagePlan]:
    return [
        PagePlan(model.addresses.free_pages[p.id], "free.html", "free", partial(_context, model, p))
        for p in model.facts.archive.pages
    ]


def _context(model: SiteModel, page: FreePage) -> FreeContext:
    return FreeContext(model.frame, page.title, _below_title(page.prose, page.title))


def _below_title(prose: str, title: str) -> str:
    """The text without a first heading that only repeats the title."""
    first, _, rest = prose.lstrip("\n").partition("\n")
    return rest if first.startswith("# ") and first[2:].strip().rstrip("#").strip() == title.strip() else prose
