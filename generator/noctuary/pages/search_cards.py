"""Every listed picture as the results of a search show it, set by the theme and asked for when someone searches.

A long archive has most of its pictures on pages of years, so a result cannot be copied from the front page. Each is
set here once, in the order of the search index. It is a script for the reason for which the index is one.
"""

from __future__ import annotations

from functools import partial

from noctuary.pages.gallery import gallery
from noctuary.pages.gallery_item import GalleryItem
from noctuary.pages.page import Frame, PagePlan
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record

#: The path of the results in the site. Addresses in them hold for pages beside it, such as the front page.
SEARCH_CARDS = "search-cards.js"


@plain_record
class SearchCardsContext:
    """All listed pictures, newest first, in the order of the search index."""

    frame: Frame
    pictures: tuple[GalleryItem, ...]


def page(model: SiteModel) -> PagePlan:
    """The script that hands them over: one call of ``loadSearchCards`` with the HTML of each."""
    return PagePlan(SEARCH_CARDS, "search_cards.js", "search cards", partial(_context, model))


def _context(model: SiteModel) -> SearchCardsContext:
    return SearchCardsContext(model.frame, gallery(model.facts.listed, model))
