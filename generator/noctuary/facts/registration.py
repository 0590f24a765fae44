"""The placed pictures of a target in the frame of the newest: how much of it each covers, and its outline there."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from noctuary.plain_record import plain_record

if TYPE_CHECKING:
    from noctuary.facts.placement_summary import PlacementSummary

#: Pictures that share less of the smaller field than this show two pieces of sky, not one over the years.
LEAST_SHARED = 0.1
#: A picture that reaches all but this share of the frame is taken to fill it: no outline is drawn for a hair.
HAIR = 0.005
#: Points along each edge of an outline; cells along each side of the grid by which areas are compared.
_EDGE_POINTS = 9
_CELLS = 40


@plain_record
class Registration:
    """How a picture is placed in the frame of another.

    ``covers`` is the share of the frame that it reaches, 0 to 1. ``outline`` is its edge as (x, y) in units of the
    frame's width and height from the frame's top left corner, clockwise or counter-clockwise, in the frame or beyond
    it; empty where the picture fills the frame.
    """

    covers: float
    outline: tuple[tuple[float, float], ...]

    @property
    def fills(self) -> bool:
        return not self.outline


def registration(frame: PlacementSummary, other: PlacementSummary) -> Registration | None:
    """How the picture placed by ``other`` is placed in ``frame``; ``None`` where they share too little sky."""
    import numpy as np

    onto, of = frame.placement(), other.placement()
    # Middles of equal cells: a point on an edge would be inside or outside by the last digit.
    cells = (np.arange(_CELLS) + 0.5) / _CELLS
    u, v = (side.ravel() for side in np.meshgrid(cells, cells))
    covers = float(np.mean(of.contains(*of.pixel(*onto.sky(u * onto.width_px - 0.5, v * onto.height_px - 0.5)))))
    within = float(np.mean(onto.contains(*onto.pixel(*of.sky(u * of.width_px - 0.5, v * of.height_px - 0.5)))))
    if max(covers, within) < LEAST_SHARED:
        return None
    outline: tuple[tuple[float, float], ...] = ()
    if covers < 1 - HAIR:
        along = np.linspace(0, 1, _EDGE_POINTS)[:-1]
        u = np.concatenate([along, np.ones_like(along), 1 - along, np.zeros_like(along)])
        v = np.concatenate([np.zeros_like(along), along, np.ones_like(along), 1 - along])
        x, y = onto.pixel(*of.sky(u * of.width_px - 0.5, v * of.height_px - 0.5))
        # A very wide picture may reach behind the frame's projection; what lies there is not drawn.
        outline = tuple(
            (round((float(px) + 0.5) / onto.width_px, 5), round((float(py) + 0.5) / onto.height_px, 5))
            for px, py in zip(x, y, strict=True)
            if math.isfinite(px) and math.isfinite(py)
        )
    return Registration(round(covers, 4), outline)
