"""The panels of a mosaic as its page lists them, and where they lie on it."""

from __future__ import annotations

from noctuary.charts.panels import PanelOutline, PanelsChart
from noctuary.facts.picture import PictureFacts
from noctuary.pages.picture_view import PictureView
from noctuary.pages.site_model import SiteModel
from noctuary.plain_record import plain_record


@plain_record
class PanelLine:
    """One panel: its number, its title, its seconds (``None``: not recorded).

    ``shown`` is the picture where it is made, ``page`` its page where lists may lead to it.
    """

    number: int
    title: str
    total_s: float | None
    shown: PictureView | None
    page: str | None


@plain_record
class PanelList:
    """The panels in the order of the record; ``chart`` where the mosaic and some panel are placed."""

    lines: tuple[PanelLine, ...]
    chart: PanelsChart | None


def panel_list(model: SiteModel, facts: PictureFacts) -> PanelList | None:
    """The panels of a picture, ``None`` if it is no mosaic. One that is not listed is shown and not linked."""
    if not facts.panels:
        return None
    lines, outlines = [], []
    for number, panel in enumerate(facts.panels, 1):
        record = model.facts.archive.pictures[panel.picture_id]
        shown = model.shown.get(panel.picture_id)
        page = shown.page if shown is not None and record.listed else None
        lines.append(PanelLine(number, record.title, panel.total_s, shown, page))
        own = model.facts.pictures.get(panel.picture_id)
        if own is not None and own.placement is not None:
            outlines.append(PanelOutline(number, record.title, own.placement.corners_deg))
    placed = facts.placement is not None and outlines
    chart = PanelsChart(facts.placement.plain, tuple(outlines)) if placed and facts.placement else None
    return PanelList(tuple(lines), chart)
