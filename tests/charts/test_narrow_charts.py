"""Charts drawn a second time for narrow pages: all of it inside, nothing left out that the first drawing has."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import pytest
from noctuary.charts.drawing import NARROW, DrawnTwice
from noctuary.charts.hours import hours_chart
from noctuary.charts.months import MonthsChart
from noctuary.charts.night import Curve, NightChart
from noctuary.charts.nights_calendar import CalendarNight, NightsCalendar
from noctuary.charts.rigs import RigsChart
from noctuary.charts.season import SeasonChart
from noctuary.charts.sky_map import Outline, SkyMap, Spot
from noctuary.facts.target import steps
from noctuary.pages.typography import Typography

from tests.builders.records import frames, session

WORDS = Typography("en")
HOUR = 3600.0
#: Width of a letter of the theme at 13.5 px, on the generous side.
LETTER = 6.4


def _hours() -> DrawnTwice:
    lights = ("H-alpha", "OIII", "SII", None)
    nights = [session(i, night=date(2023 + i, 1, 20), groups=(frames(600, 9 + i, filter=name),))
              for i, name in enumerate(lights)]  # fmt: skip
    titles = tuple((date(2023 + i, 2, 5), f"The Rosette, winter number {i}") for i in range(4))
    chart = hours_chart(steps(tuple(nights)), titles)
    assert chart is not None
    return chart


START = datetime(2026, 1, 18, 21, tzinfo=UTC)
CURVE = Curve("NGC 2238, the Rosette", 98.0, 4.9, None, ((START, START + timedelta(hours=4)),))
EVERY: dict[str, DrawnTwice] = {
    "hours": _hours(),
    "months": MonthsChart(((2025, tuple(HOUR * m for m in range(12))), (2024, (12.4 * HOUR,) * 12))),
    "months of many hours": MonthsChart(((2025, (1010.4 * HOUR, *(0.0,) * 10, 312.6 * HOUR)),)),
    "night": NightChart("Hill", 51.0, -3.0, 60.0, "UTC", 30.0, (CURVE,)),
    "calendar": NightsCalendar(2025, (CalendarNight(date(2025, 12, 31), HOUR, ("M 42",), "../n.html"),)),
    "rigs": RigsChart(2025, (("A rig of a rather long name", ((2025, 100 * HOUR), (2024, HOUR))),)),
    "sky": SkyMap(
        (Outline("A picture", "p.html", ((359.0, 60.0), (1.0, 60.0), (1.0, 61.0), (359.0, 61.0))),),
        (Spot("M 42", "a.html", 83.8, -5.4), Spot("A name of a target near the edge", "b.html", 0.5, 0.5),
         Spot("NGC 7000", "c.html", 314.7, 44.3), Spot("Polaris", "d.html", 37.9, 89.3)),
    ),
    "season": SeasonChart("Hill", 51.0, -3.0, 98.0, 4.9, 30.0, 2025),
}


@pytest.mark.parametrize("name", EVERY)
def test_the_narrow_drawing_is_whole_and_says_what_the_other_says(name: str) -> None:
    chart = EVERY[name]
    wide, narrow = ET.fromstring(chart.svg(WORDS)), ET.fromstring(chart.narrow_svg(WORDS))
    assert narrow.get("class") == f"{wide.get('class')} narrow"
    assert narrow.get("aria-label") == wide.get("aria-label")
    left, top, across, down = map(float, (narrow.get("viewBox") or "").split())
    assert (left, across) == (0, NARROW)
    for text in narrow.iter("text"):
        x, y = float(text.get("x") or 0), float(text.get("y") or 0)
        longest = max(map(len, [text.text or "", *(span.text or "" for span in text)]))
        length = LETTER * longest
        start = x - {"end": length, "middle": length / 2}.get(text.get("text-anchor") or "start", 0.0)
        assert start >= -1, ET.tostring(text)
        assert start + length <= NARROW + 2, ET.tostring(text)
        assert top <= y <= top + down
    for kind in ("line", "session", "height", "bar", "bar now", "cell lit", "mark"):
        drawn = [sum(e.get("class", "").startswith(kind) for e in svg.iter()) for svg in (wide, narrow)]
        assert drawn[0] == drawn[1], kind


def test_a_night_too_small_for_a_finger_leads_nowhere_in_the_narrow_calendar() -> None:
    svg = ET.fromstring(EVERY["calendar"].narrow_svg(WORDS))
    assert not list(svg.iter("a"))
    assert svg.get("role") == "img"


@pytest.mark.parametrize("years", [1, 4, 9, 18, 40])
def test_the_years_under_the_hours_stand_clear_of_each_other(years: int) -> None:
    nights = tuple(session(i, night=date(2026 - years + i, 6, 1)) for i in range(years + 1))
    chart = hours_chart(steps(nights), ())
    assert chart is not None
    for drawn in (chart.svg(WORDS), chart.narrow_svg(WORDS)):
        texts = [text for text in ET.fromstring(drawn).iter("text") if text.get("text-anchor") is None]
        figures = {text.text: float(text.get("x") or 0) for text in texts if (text.text or "").isdecimal()}
        assert "2026" in figures
        places = sorted(figures.values())
        assert all(b - a >= 4 * LETTER for a, b in pairwise(places))


def test_of_many_pictures_the_newest_are_named() -> None:
    nights = tuple(session(i, night=date(2010 + i, 6, 1)) for i in range(17))
    chart = hours_chart(steps(nights), tuple((date(2010 + i, 6, 9), f"Crab {2010 + i}") for i in range(17)))
    assert chart is not None
    for drawn in (chart.svg(WORDS), chart.narrow_svg(WORDS)):
        named = {text.text for text in ET.fromstring(drawn).iter("text") if (text.text or "").startswith("Crab")}
        assert "Crab 2026" in named

    assert named == {f"Crab {year}" for year in range(2021, 2027)}
