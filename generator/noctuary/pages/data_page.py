"""What the site offers as files of numbers, and what is in them."""

from __future__ import annotations

from functools import partial

from noctuary.pages.exports import coverage_export
from noctuary.pages.exports.acquisition import COLUMNS
from noctuary.pages.exports.table import Column
from noctuary.pages.page import Frame, Link, PagePlan
from noctuary.pages.site_model import DATA, SiteModel
from noctuary.plain_record import plain_record


@plain_record
class DataContext:
    """``columns`` are those of the acquisition; the files themselves are the page's data, but for ``coverage``, the
    files of the sky map's page."""

    frame: Frame
    columns: tuple[Column, ...]
    coverage: tuple[Link, ...]


def pages(model: SiteModel) -> list[PagePlan]:
    return [PagePlan(DATA, "data.html", "data", partial(_context, model))]


def _context(model: SiteModel) -> DataContext:
    coverage = tuple(Link(export.format, export.path) for export in coverage_export.exports(model))
    return DataContext(model.frame, COLUMNS, coverage)
