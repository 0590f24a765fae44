"""What the site offers as files of numbers, and what is in them."""

from __future__ import annotations

from noctuary.pages.exports.acquisition import COLUMNS
from noctuary.pages.exports.table import Column
from noctuary.pages.page import Frame, Page
from noctuary.pages.site_model import DATA, SiteModel
from noctuary.plain_record import plain_record


@plain_record
class DataContext:
    """``columns`` are those of the acquisition; the files themselves are the page's data."""

    frame: Frame
    columns: tuple[Column, ...]


def pages(model: SiteModel) -> list[Page]:
    return [Page(DATA, "data.html", DataContext(model.frame, COLUMNS), "data")]
