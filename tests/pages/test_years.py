"""The pages of the years: every year beside those before it, a cell a night, and every number in a table too."""

from __future__ import annotations

import re
from datetime import date

from noctuary.charts.months import MonthsChart
from noctuary.charts.nights_calendar import CalendarNight, NightsCalendar
from noctuary.charts.rigs import RigsChart
from noctuary.pages.typography import Typography

from tests.builders.one_of_everything import facts, rendered

from .test_pages import parsed

VOICE = Typography("en")


def test_there_is_a_page_for_every_year_and_one_of_all():
    pages = rendered()
    for year in (2023, 2024, 2025):
        assert f'href="years/{year}.html"' in pages["years.html"]
        assert f"years/{year}.html" in pages
    assert "years/2022.html" not in pages
    assert 'href="years.html"' in pages["index.html"]


def test_a_year_says_its_hours_nights_targets_and_what_was_new():
    """2025, by hand: 55 × 180 s + 12 × 180 s + 40 × 180 s = 5 h 21 min on two nights, both in January."""
    text = parsed("years/2025.html").text
    assert "5 h 21 min in two nights on one target" in text
    assert "The best month was January 2025" in text
    assert "more than the year before" in text
    assert "New targets" not in text  # the ring was, in 2023
    first = parsed("years/2023.html").text
    assert "New targets" in first
    assert "NGC 2238" in first
    assert "NGC 2264" in first


def test_every_night_is_a_cell_with_its_number_and_a_row_of_the_table():
    html = rendered()["years/2025.html"]
    svg = re.search(r'<svg class="chart calendar".*?</svg>', html, re.DOTALL)[0]
    assert svg.count('class="cell') == 365
    assert svg.count('class="cell lit"') == 2
    assert svg.count('class="cell noted"') == 1  # clouded out
    assert 'href="../nights/2025-01-18.html"' in svg
    assert "<title>18 January 2025: 3\u202fh 21\u202fmin, NGC 2238</title>" in svg
    table = html[html.index('class="year-nights"') :]
    for night in facts().nights:
        if night.night.year == 2025:
            assert f'href="../nights/{night.night}.html"' in table


def test_the_year_of_a_leap_day_has_366_cells_and_the_best_night_the_deepest_shade():
    nights = (
        CalendarNight(date(2024, 2, 29), 7200.0, ("M 1",), None),
        CalendarNight(date(2024, 3, 1), 60.0, (), None),
    )
    svg = NightsCalendar(2024, nights).svg(VOICE)
    assert svg.count('class="cell') == 366
    assert [float(x) for x in re.findall(r"fill-opacity:([\d.]+)", svg)] == [1.0, 0.23]
    assert "2 nights with exposures, most on 29 February 2024" in svg


def test_bars_are_to_one_scale_and_said_in_words():
    months = [0.0] * 12
    before, now = list(months), list(months)
    now[0], now[5], before[5] = 3600.0, 7200.0, 14400.0
    svg = MonthsChart(((2025, tuple(now)), (2024, tuple(before)))).svg(VOICE)
    tall = [float(h) for h in re.findall(r'<rect class="bar[^>]*height="([\d.]+)"', svg)]
    assert tall[2] / tall[0] == 4
    assert tall[2] / tall[1] == 2
    assert "2025: 3\u202fh, most in Jun, 2\u202fh; 2024: 4\u202fh" in svg


def test_rigs_have_a_bar_for_each_year_that_they_were_used_in():
    svg = RigsChart(2025, (("<short>", ((2025, 7200.0), (2023, 3600.0))), ("lens", ((2024, 1800.0),)))).svg(VOICE)
    wide = [float(w) for w in re.findall(r'<rect class="bar[^>]*width="([\d.]+)"', svg)]
    assert wide[0] / wide[1] == 2
    assert len(wide) == 3
    assert svg.count('class="bar now"') == 1
    assert "&lt;short&gt;: 2\u202fh (2025), 1\u202fh (2023)" in svg


def test_other_years_numbers_stand_beside_in_the_table():
    html = rendered()["years/2025.html"]
    table = re.search(r'<table class="year-figures">.*?</table>', html, re.DOTALL)[0]
    assert re.findall(r'<th scope="col" class="n">(\d+)</th>', table) == ["2025", "2024", "2023"]
