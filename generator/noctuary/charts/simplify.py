"""Lines with no more points than one can see, and no more letters than their points need."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

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


def path(line: Sequence[Point]) -> str:
    """The line as SVG writes one, to a tenth of a unit: a point, then every step from there.

    Steps are of few digits, and two thirds as long as points; they are taken between rounded points, so that what is
    rounded away does not add up.
    """
    tenths = [(round(10 * x), round(10 * y)) for x, y in line]
    steps = [(x - last_x, y - last_y) for (last_x, last_y), (x, y) in pairwise(tenths)]
    return f"M{_pairs(tenths[:1])}" + (f"l{_pairs(steps)}" if steps else "")


def _pairs(tenths: Sequence[tuple[int, int]]) -> str:
    """Numbers one after the other; a minus parts two of them as well as a space does."""
    return " ".join(f"{number / 10:.1f}".removesuffix(".0") for pair in tenths for number in pair).replace(" -", "-")


def _distance(point: Point, a: Point, b: Point) -> float:
    """From a point to the stretch between two others."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    square = dx * dx + dy * dy
    along = ((point[0] - a[0]) * dx + (point[1] - a[1]) * dy) / square if square else 0.0
    along = min(1.0, max(0.0, along))
    return math.hypot(point[0] - a[0] - along * dx, point[1] - a[1] - along * dy)
