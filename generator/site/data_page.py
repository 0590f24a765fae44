"""What the site offers as files of numbers, and what stands in them."""

from __future__ import annotations

from generator.plain import plain
from generator.site.edition import DATA, Edition
from generator.site.exports.acquisition import COLUMNS
from generator.site.exports.table import Column
from generator.site.page import Frame, Page


@plain
class DataContext:
    """``columns`` are those of the acquisition; the files themselves are the page's data."""

    frame: Frame
    columns: tuple[Column, ...]


def pages(edition: Edition) -> list[Page]:
    return [Page(DATA, "data.html", DataContext(edition.frame, COLUMNS), "data")]
