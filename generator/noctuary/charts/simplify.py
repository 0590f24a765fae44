"""Lines with no more points than one can see."""

from __future__ import annotations

import math
from collections.abc import Sequence

from noctuary.sky.map_projection import Point


def simplified(line: Sequence[Point], tolerance: float) -> list[Point]:
    """The points of a line without those that lie no further than ``tolerance`` from it without them.

    The first and the last stay (the algorithm of Ramer, 1972, and of Douglas and Peucker, 1973; from memory).
    """
    if len(line) < 3:
        return list(line)
    kept = {0, len(line) - 1}
    waiting = [(0, len(line) - 1)]
    while waiting:
        first, last = waiting.pop()
        away, at = max(
            ((_distance(line[i], line[first], line[last]), i) for i in range(first + 1, last)), default=(0.0, first)
        )
        if away > tolerance:
            kept.add(at)
            waiting += [(first, at), (at, last)]
    return [line[i] for i in sorted(kept)]


def _distance(point: Point, a: Point, b: Point) -> float:
    """From a point to the stretch between two others."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    square = dx * dx + dy * dy
    along = ((point[0] - a[0]) * dx + (point[1] - a[1]) * dy) / square if square else 0.0
    along = min(1.0, max(0.0, along))
    return math.hypot(point[0] - a[0] - along * dx, point[1] - a[1] - along * dy)
