"""Charts of sums: months, rigs and the calendar of nights, by the numbers in their drawing and in their text."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.charts.months import MonthsChart
from noctuary.charts.nights_calendar import CalendarNight, NightsCalendar
from noctuary.charts.rigs import RigsChart
from noctuary.pages.typography import Typography

WORDS = Typography("en")
HOUR = 3600.0


def bars(svg: ET.Element, measure: str) -> list[float]:
    found = [bar for bar in svg.iter("rect") if (bar.get("class") or "").startswith("bar")]
    return [float(bar.get(measure) or "nan") for bar in found]


def text_of(svg: ET.Element) -> str:
    return (svg.get("aria-label") or "").replace("\N{NARROW NO-BREAK SPACE}", " ").replace("\N{NO-BREAK SPACE}", " ")


def test_months_are_bars_in_proportion_to_their_hours_on_one_scale_for_all_years() -> None:
    older, newer = [0.0] * 12, [0.0] * 12
    older[0], older[11], newer[3] = 10 * HOUR, 5 * HOUR, 20 * HOUR
    svg = ET.fromstring(MonthsChart(((2025, tuple(newer)), (2024, tuple(older)))).svg(WORDS))
    april, january, december = bars(svg, "height")
    assert january / april == pytest.approx(0.5, abs=0.01)
    assert december / april == pytest.approx(0.25, abs=0.01)
    x = bars(svg, "x")
    assert x[1] < x[0] < x[2]  # January, April, December
    said = text_of(svg)
    assert "2025: 20 h, most in Apr" in said
    assert "2024: 15 h, most in Jan" in said


def test_a_year_without_light_has_no_bar_and_says_so() -> None:
    svg = ET.fromstring(MonthsChart(((2025, (0.0,) * 12),)).svg(WORDS))
    assert bars(svg, "height") == []
    assert "2025: nothing" in text_of(svg)


def test_a_month_with_little_light_can_still_be_seen() -> None:
    light = (100 * HOUR, 60.0, *[0.0] * 10)
    assert min(bars(ET.fromstring(MonthsChart(((2025, light),)).svg(WORDS)), "height")) >= 1


@given(st.lists(st.floats(600, 3e5), min_size=1, max_size=8))
def test_rigs_are_bars_in_proportion_to_their_hours_and_stay_in_the_drawing(light: list[float]) -> None:
    rigs = tuple((f"Rig <{i}>", ((2025, seconds), (2024, seconds / 2))) for i, seconds in enumerate(light))
    svg = ET.fromstring(RigsChart(2025, rigs).svg(WORDS))
    widths = bars(svg, "width")
    assert len(widths) == 2 * len(light)
    longest, most = max(widths), max(light)
    for width, seconds in zip(widths[::2], light, strict=True):
        assert width == pytest.approx(max(1.5, longest * seconds / most), abs=0.11)
    _, _, across, down = map(float, (svg.get("viewBox") or "").split())
    for rect in svg.iter("rect"):
        x, y, width, height = (float(rect.get(name) or "nan") for name in ("x", "y", "width", "height"))
        assert 0 <= x <= x + width <= across
        assert 0 <= y <= y + height <= down
    assert all(f"Rig <{i}>:" in text_of(svg) for i in range(len(light)))


def test_the_year_of_a_page_is_heavier_among_a_rigs_years() -> None:
    svg = ET.fromstring(RigsChart(2024, (("Lens", ((2025, HOUR), (2024, HOUR))),)).svg(WORDS))
    of_2025, of_2024 = bars(svg, "height")
    assert of_2024 > of_2025


NIGHTS = (
    CalendarNight(date(2024, 2, 29), 4 * HOUR, ("M 42",), "../nights/2024-02-29.html"),
    CalendarNight(date(2024, 12, 31), 2 * HOUR, ("M 31", "M 45"), None),
    CalendarNight(date(2024, 7, 1), None, (), "../nights/2024-07-01.html"),
)


def test_a_calendar_has_a_cell_for_every_day_and_the_shade_follows_the_light() -> None:
    svg = ET.fromstring(NightsCalendar(2024, NIGHTS).svg(WORDS))
    cells = list(svg.iter("rect"))
    assert len(cells) == 366
    lit = [cell for cell in cells if cell.get("class") == "cell lit"]
    shades = [float(re.findall(r"[\d.]+", cell.get("style") or "")[0]) for cell in lit]
    assert shades == [1.0, 0.61]  # 29 February, the best night, before 31 December with half of it
    assert [cell.get("class") for cell in cells].count("cell noted") == 1
    february, december = lit
    assert float(february.get("x") or 0) < float(december.get("x") or 0)
    assert float(february.get("y") or 0) < float(december.get("y") or 0)


def test_a_calendars_nights_lead_to_their_pages_and_say_what_they_hold() -> None:
    svg = ET.fromstring(NightsCalendar(2024, NIGHTS).svg(WORDS))
    links = {link.get("href"): link.get("aria-label") or "" for link in svg.iter("a")}
    assert set(links) == {"../nights/2024-02-29.html", "../nights/2024-07-01.html"}
    assert "M 42" in links["../nights/2024-02-29.html"]
    titles = [title.text or "" for title in svg.iter("title")]
    assert any("M 31, M 45" in title for title in titles)
    assert "2 nights with exposures" in text_of(svg)


def test_a_calendar_tells_what_nobody_recorded_from_a_night_without_light() -> None:
    nights = (
        CalendarNight(date(2024, 5, 1), None, ("M 31",), None, sessions_not_recorded=1),
        CalendarNight(date(2024, 5, 2), 2 * HOUR, ("M 31",), None, sessions_not_recorded=1),
        CalendarNight(date(2024, 5, 3), None, (), None),
    )
    said = [title.text or "" for title in ET.fromstring(NightsCalendar(2024, nights).svg(WORDS)).iter("title")]
    assert "exposures not recorded" in said[0]
    assert "at least 2" in said[1]
    assert ["no exposures, a note" in text for text in said] == [False, False, True]


def test_little_light_is_no_zero_beside_its_bar() -> None:
    film = RigsChart(2024, (("Lens", ((2024, HOUR),)), ("Planets", ((2024, 0.5),)))).svg(WORDS)
    assert "&lt;0.1" in film
    assert "0.0" not in re.sub(r'"[^"]*"', "", film)


def test_a_calendar_without_light_says_so() -> None:
    svg = ET.fromstring(NightsCalendar(2023, NIGHTS[2:]).svg(WORDS))
    assert len(list(svg.iter("rect"))) == 365
    assert "no night with exposures" in text_of(svg)
