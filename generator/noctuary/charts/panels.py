"""Where the panels of a mosaic lie: their outlines over the mosaic, numbered as its page lists them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from html import escape
from typing import Any

from noctuary.charts.drawing import Formatter
from noctuary.plain_record import plain_record

#: Size of the numbers, as a share of the mosaic's longer side.
LETTER_SHARE = 0.045


@plain_record
class PanelOutline:
    """One panel: its number on the page, its title, and its corners in ICRS degrees in order around it."""

    number: int
    title: str
    corners_deg: tuple[tuple[float, float], ...]


@plain_record
class PanelsChart:
    """The outlines of a mosaic's placed panels; ``plain`` is the mosaic's own placement as plain numbers."""

    plain: Mapping[str, Any]
    outlines: tuple[PanelOutline, ...]

    def svg(self, formatter: Formatter) -> str:
        from noctuary.sky.placement import from_plain

        placement = from_plain(self.plain)
        width, height = placement.width_px, placement.height_px
        size = LETTER_SHARE * max(width, height)
        parts, named = [], []
        for outline in self.outlines:
            xs, ys = placement.pixel(*zip(*outline.corners_deg, strict=True))
            points = [(float(x), float(y)) for x, y in zip(xs, ys, strict=True)]
            if not all(math.isfinite(value) for point in points for value in point):
                continue
            named.append(f"{outline.number} {outline.title}")
            x, y = (sum(values) / len(points) for values in zip(*points, strict=True))
            around = "L".join(f"{a:.1f} {b:.1f}" for a, b in points)
            parts.append(
                f'<path d="M{around}z"><title>{escape(outline.title)}</title></path>'
                f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:.1f}" text-anchor="middle" '
                f'dominant-baseline="central">{outline.number}</text>'
            )
        label = escape(formatter.gettext("Positions of the panels: {names}").format(names=", ".join(named)))
        return (
            f'<svg class="panel-outlines" viewBox="-0.5 -0.5 {width} {height}" role="img" aria-label="{label}">'
            + "".join(parts)
            + "</svg>"
        )
