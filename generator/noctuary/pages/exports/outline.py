"""A picture's outline on the sky, as the Virtual Observatory writes regions."""

from __future__ import annotations

import math
from collections.abc import Sequence

from noctuary.facts.placement_summary import PlacementSummary

#: Decimals of a degree: 0.0036″, less than any picture's pixel.
DECIMALS = 6


def outline_deg(placement: PlacementSummary) -> tuple[tuple[float, float], ...]:
    """The four outer corners (ICRS, degrees), anticlockwise on the sky as it is seen, the top left one first.

    Anticlockwise (from north through east) is the winding that IVOA DALI 1.1, section 3.3.7, asks of a polygon.
    Empty where a corner is outside what the projection can say.
    """
    if not all(math.isfinite(angle) for corner in placement.corners_deg for angle in corner):
        return ()
    first, *others = placement.corners_deg
    turned = others if placement.mirrored else reversed(others)
    return tuple((round(ra % 360, DECIMALS) % 360, round(dec, DECIMALS)) for ra, dec in (first, *turned))


def stc_s(corners_deg: Sequence[tuple[float, float]]) -> str:
    """A polygon in STC-S (IVOA Note 1.33, 2007): ``Polygon ICRS 98.1 5.2 …``, degrees."""
    return "Polygon ICRS " + " ".join(f"{angle:.{DECIMALS}f}" for corner in corners_deg for angle in corner)
