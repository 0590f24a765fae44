"""The chart of star shapes: what it draws and what it says."""

from __future__ import annotations

import re

from hypothesis import given
from hypothesis import strategies as st
from noctuary.archive.star_file import PATTERNS, StarShapes, StarZone
from noctuary.charts.zones import HEIGHTS, WIDTH, zones_chart
from noctuary.pages.typography import Typography

VOICE = Typography("en")
ROUND = StarZone(90, 2.5, 0.2, 1.01, 0.1, 77.0)
LONG = StarZone(90, 5.0, 0.2, 1.5, 0.1, 30.0)
NONE = StarZone(2, None, None, None, None, None)


def shapes(*zones: StarZone, pattern: str = "one side") -> StarShapes:
    return StarShapes("", pattern, (*zones, *(ROUND,) * (9 - len(zones))))


def ellipses(svg: str) -> list[tuple[float, ...]]:
    found = re.findall(r'cx="([\d.]+)" cy="([\d.]+)" rx="([\d.]+)" ry="([\d.]+)" transform="rotate\((-?[\d.]+) ', svg)
    return [tuple(map(float, one)) for one in found]


def test_nine_zones_say_what_they_are() -> None:
    chart = zones_chart(shapes(ROUND, ROUND, LONG), 1.5)
    assert chart is not None
    svg = chart.svg(VOICE)
    drawn = ellipses(svg)
    assert len(drawn) == 9
    x, y, longer, shorter, turned = drawn[2]
    assert x > 2 * WIDTH / 3
    assert y < drawn[8][1]
    # Anticlockwise for the eye is minus for SVG, whose y runs down; longer than it was.
    assert turned == -30
    assert longer / shorter > 1.5
    assert longer * shorter > 1.5 * drawn[0][2] * drawn[0][3]
    assert "Worse on one side than on the other" in svg
    assert "top right: 5.0\u202fpx, 1.50 times as long as wide, at 30°" in svg
    # The direction of a round star is noise, and not told.
    assert "top left: 2.5\u202fpx;" in svg
    assert ">5.0\u202fpx<" in svg
    # A width on the sky belongs to a session: a finished picture's is in its own pixels, and says so.
    assert "measured on the finished picture: FWHM in px" in svg
    assert "″" not in svg


def test_no_chart_where_too_little_was_measured() -> None:
    assert zones_chart(None, 1.5) is None
    assert zones_chart(shapes(NONE, NONE, NONE, NONE), 1.5) is None
    chart = zones_chart(shapes(NONE, NONE, NONE), 1.5)
    assert chart is not None
    assert len(ellipses(chart.svg(VOICE))) == 6
    assert "top left: —" in chart.svg(VOICE)


@given(
    st.lists(st.tuples(st.floats(0.1, 1000), st.floats(1, 100), st.floats(0, 180)), min_size=9, max_size=9),
    st.floats(0.01, 100), st.sampled_from(PATTERNS),
)  # fmt: skip
def test_every_ellipse_stays_in_its_zone(zones: list[tuple[float, float, float]], ratio: float, pattern: str) -> None:
    kept = shapes(*(StarZone(9, w, 0.1, long, 0.1, turned) for w, long, turned in zones), pattern=pattern)
    chart = zones_chart(kept, ratio)
    assert chart is not None
    height = min(max(WIDTH / ratio, HEIGHTS[0]), HEIGHTS[1])
    for number, (x, y, longer, shorter, _) in enumerate(ellipses(chart.svg(VOICE))):
        row, column = divmod(number, 3)
        assert longer >= shorter > 0
        assert column * WIDTH / 3 <= x - longer <= x + longer <= (column + 1) * WIDTH / 3 + 2
        assert row * height / 3 <= y - longer <= y + longer <= (row + 1) * height / 3 + 2
