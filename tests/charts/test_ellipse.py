"""The ellipse that a ring of points lies on, and none where they lie on none."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.charts.ellipse import ellipse_through

TURN = [math.tau * n / 24 for n in range(24)]


def ring(x: float, y: float, major: float, minor: float, angle_deg: float) -> list[tuple[float, float]]:
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    flat = [(major * math.cos(t), minor * math.sin(t)) for t in TURN]
    return [(x + u * c - v * s, y + u * s + v * c) for u, v in flat]


@given(
    st.floats(-5000, 5000),
    st.floats(-5000, 5000),
    st.floats(5, 3000),
    st.floats(0.1, 1.0),
    st.floats(0, 179.9),
)
def test_the_points_of_an_ellipse_give_it_back(x: float, y: float, major: float, flat: float, angle: float) -> None:
    found = ellipse_through(ring(x, y, major, flat * major, angle), 0.1)
    assert found
    assert (found.x, found.y) == pytest.approx((x, y), abs=0.01)
    assert found.major == pytest.approx(major, rel=1e-6)
    assert found.minor == pytest.approx(flat * major, rel=1e-6)
    if flat < 0.99:  # a circle has no longer axis
        assert abs((found.angle_deg - angle + 90) % 180 - 90) < 0.01


def test_a_ring_that_is_no_ellipse_is_not_taken_for_one() -> None:
    egg = [(x + 0.02 * (x - 100) ** 2 / 50, y) for x, y in ring(100, 100, 50, 30, 0)]
    assert ellipse_through(egg, 0.24) is None
    assert ellipse_through(egg, 5) is not None


@pytest.mark.parametrize(
    "points", [[], [(1.0, 1.0)] * 12, [(float(n), 2.0 * n) for n in range(12)], ring(0, 0, 5, 5, 0)[:7]]
)
def test_too_few_points_or_a_line_are_no_ellipse(points: list[tuple[float, float]]) -> None:
    assert ellipse_through(points, 0.1) is None
