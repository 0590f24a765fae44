"""Lines with no more points than one can see."""

from __future__ import annotations

import math
import re
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st
from noctuary.charts.simplify import path, simplified

coordinates = st.floats(-1000, 1000).map(lambda v: round(v, 2))
lines = st.lists(st.tuples(coordinates, coordinates), max_size=40)


def away(point: tuple[float, float], a: tuple[float, float], b: tuple[float, float]) -> float:
    """The distance of a point from a stretch, looked for along it."""
    steps = [(a[0] + (b[0] - a[0]) * t / 400, a[1] + (b[1] - a[1]) * t / 400) for t in range(401)]
    return min(math.dist(point, step) for step in steps)


@given(lines, st.floats(0.1, 50))
def test_no_point_is_further_from_the_line_than_allowed(line: list[tuple[float, float]], tolerance: float) -> None:
    kept = simplified(line, tolerance)
    assert kept[:1] == line[:1]
    assert kept[-1:] == line[-1:]
    rest = iter(line)
    assert all(point in rest for point in kept)  # in their order
    coarse = max((math.dist(a, b) for a, b in pairwise(kept)), default=0.0) / 400
    for point in line if len(kept) > 1 else []:
        assert min(away(point, a, b) for a, b in pairwise(kept)) <= tolerance + coarse


def test_a_straight_line_is_its_ends_and_a_corner_stays() -> None:
    assert simplified([(x, 2.0 * x) for x in range(50)], 0.01) == [(0, 0.0), (49, 98.0)]
    assert simplified([(0, 0), (1, 0.001), (2, 0), (2, 1), (2, 2)], 0.01) == [(0, 0), (2, 0), (2, 2)]


@given(lines.filter(bool))
def test_a_path_comes_by_every_point_to_half_a_tenth(line: list[tuple[float, float]]) -> None:
    found = re.fullmatch(r"M([^l]+)(?:l(.+))?", path(line))
    assert found
    numbers = [[float(n) for n in re.findall(r"-?[\d.]+", part or "")] for part in found.groups()]
    at = [(numbers[0][0], numbers[0][1])]
    for x, y in zip(numbers[1][::2], numbers[1][1::2], strict=True):
        at.append((at[-1][0] + x, at[-1][1] + y))
    assert len(at) == len(line)
    for (x, y), (is_x, is_y) in zip(at, line, strict=True):
        assert abs(x - is_x) <= 0.0501
        assert abs(y - is_y) <= 0.0501
