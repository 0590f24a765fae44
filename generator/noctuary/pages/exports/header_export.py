"""Where each placed picture lies on the sky, as a small FITS header without data."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

from noctuary.pages.exports.export import Export
from noctuary.pages.exports.outline import outline_deg
from noctuary.pages.product import digest
from noctuary.pages.site_model import SiteModel

if TYPE_CHECKING:
    from noctuary.facts.placement_summary import PlacementSummary


def exports(model: SiteModel) -> Iterator[Export]:
    """One file for each listed picture that is placed, for its full size; none where a corner has no place."""
    for facts in model.facts.listed:
        shown = model.shown.get(facts.picture.id)
        if shown is not None and facts.placement is not None and outline_deg(facts.placement):
            made_of = partial(digest, (facts.placement.key, shown.full.width, shown.full.height))
            tell = partial(_held, facts.placement, shown.full.width, shown.full.height)
            yield Export(f"data/placements/{facts.picture.id}.wcs", "FITS header", shown.page, made_of, tell, _header)


def _held(summary: PlacementSummary, width: int, height: int) -> tuple[PlacementSummary, int, int]:
    return summary, width, height


def _header(held: tuple[PlacementSummary, int, int]) -> bytes:
    summary, width, height = held
    from noctuary.sky.placement import scaled
    from noctuary.sky.written_header import header_text

    return header_text(scaled(summary.placement(), width, height))
