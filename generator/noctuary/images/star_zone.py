"""A ninth of a picture, and what the shapes of its stars measure."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Zone:
    """A ninth of the picture. Widths are full widths at half maximum; what cannot be measured is ``None``.

    ``width_px`` is the geometric mean of the longer and the shorter axis and ``elongation`` their quotient, 1 or
    more. ``direction_deg`` is that of the longer axis, anticlockwise from the picture's right as one looks at it,
    0 ≤ direction < 180. Each ``…_scatter`` is the standard deviation from star to star (robust), not of the mean.
    """

    row: int
    column: int
    count: int
    width_px: float | None
    width_scatter_px: float | None
    width_arcsec: float | None
    width_scatter_arcsec: float | None
    elongation: float | None
    elongation_scatter: float | None
    direction_deg: float | None
    direction_scatter_deg: float | None
