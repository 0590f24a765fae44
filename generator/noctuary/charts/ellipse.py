"""The ellipse that a ring of points lies on."""

from __future__ import annotations

import math
from collections.abc import Sequence

from noctuary.plain_record import plain_record
from noctuary.sky.map_projection import Point

#: The five numbers of a conic need five points; a ring of fewer than this is drawn as it is.
LEAST_POINTS = 8


@plain_record
class Ellipse:
    """Centre, half axes with the longer first, and the angle from the x axis to it in degrees, as SVG turns."""

    x: float
    y: float
    major: float
    minor: float
    angle_deg: float


def ellipse_through(points: Sequence[Point], tolerance: float) -> Ellipse | None:
    """The ellipse that no point is further from than ``tolerance``, in units of the points; none where there is none.

    The conic of least squares (a x² + b xy + c y² + d x + e y = 1, about the mean of the points), and its principal
    axes, as textbooks of analytic geometry give them; from memory.
    """
    import numpy as np

    if len(points) < LEAST_POINTS:
        return None
    xy = np.array(points, dtype=float)
    middle = xy.mean(axis=0)
    scale = float(np.abs(xy - middle).max())
    if not scale > 0:
        return None
    x, y = ((xy - middle) / scale).T
    (a, b, c, d, e), *_ = np.linalg.lstsq(np.column_stack((x * x, x * y, y * y, x, y)), np.ones(len(xy)), rcond=None)
    whole = 4 * a * c - b * b
    if whole <= 0:
        return None
    x0, y0 = (b * e - 2 * c * d) / whole, (b * d - 2 * a * e) / whole
    level = 1 + a * x0 * x0 + b * x0 * y0 + c * y0 * y0
    half, spread = (a + c) / 2, math.hypot((a - c) / 2, b / 2)
    if level <= 0 or half - spread <= 0:
        return None
    major, minor = math.sqrt(level / (half - spread)), math.sqrt(level / (half + spread))
    angle = math.atan2(b, a - c) / 2 + math.pi / 2
    along = (x - x0) * math.cos(angle) + (y - y0) * math.sin(angle)
    across = (y - y0) * math.cos(angle) - (x - x0) * math.sin(angle)
    # Along the minor axis this is more than a point is away: it errs on the safe side.
    away = float(np.abs(np.hypot(along / major, across / minor) - 1).max()) * major * scale
    if away > tolerance:
        return None
    turned = math.degrees(angle) % 180
    return Ellipse(
        float(middle[0] + x0 * scale), float(middle[1] + y0 * scale), major * scale, minor * scale, float(turned)
    )
