"""The map of the sky: every placed picture's outline and every target, each leading to its page."""

from __future__ import annotations

from functools import partial

from noctuary.charts.sky_map import Outline, SkyMap, Spot
from noctuary.facts.picture import PictureFacts
from noctuary.pages.addresses import picture_page
from noctuary.pages.page import Frame, Link, PagePlan
from noctuary.pages.site_model import SKY, SiteModel
from noctuary.plain_record import plain_record


@plain_record
class SkyContext:
    """``placed`` are the pictures outlined, ``unplaced`` those of which nothing says where they lie."""

    frame: Frame
    chart: SkyMap
    placed: tuple[Link, ...]
    unplaced: tuple[Link, ...]


def outline_of(facts: PictureFacts, href: str) -> Outline | None:
    """A picture's outline on the sky, or ``None`` where nothing says where it lies."""
    if facts.placement is None:
        return None
    return Outline(facts.picture.title, href, facts.placement.corners_deg)


def pages(model: SiteModel) -> list[PagePlan]:
    return [PagePlan(SKY, "sky.html", "sky", partial(_context, model))]


def _context(model: SiteModel) -> SkyContext:
    listed = [p for p in model.facts.listed if p.picture.id in model.shown]
    links = {p.picture.id: Link(p.picture.title, picture_page(p.picture.id)) for p in listed}
    outlines = tuple(o for p in listed if (o := outline_of(p, links[p.picture.id].page)) is not None)
    spots = tuple(
        Spot(t.name, model.addresses.targets[t.identity], t.object.ra_deg, t.object.dec_deg)
        for t in model.facts.targets
        if t.object.ra_deg is not None and t.object.dec_deg is not None
    )
    return SkyContext(
        frame=model.frame,
        chart=SkyMap(outlines, spots),
        placed=tuple(links[p.picture.id] for p in listed if p.placement is not None),
        unplaced=tuple(links[p.picture.id] for p in listed if p.placement is None),
    )
