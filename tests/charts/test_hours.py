"""The chart of hours: every night a step, every picture at its date with its name, nothing over anything else."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from datetime import date, timedelta

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from noctuary.charts.hours import LETTER, MOST_ROWS, WIDTH, axis_steps, hours_chart
from noctuary.facts.target import steps
from noctuary.pages.typography import Typography

from tests.builders.records import frames, session

VOICE = Typography("en")


def chart_of(nights: list[date], pictures: list[tuple[date, str]]) -> ET.Element:
    group = (frames(600, 6, filter="OIII"),)
    line = tuple(session(i, night=night, groups=group) for i, night in enumerate(nights))
    chart = hours_chart(steps(line), tuple(pictures))
    assert chart is not None
    return ET.fromstring(chart.svg(VOICE))


def names(svg: ET.Element, titles: list[str]) -> list[tuple[float, float, str]]:
    return [
        (float(t.get("x")), float(t.get("y")), t.text)
        for t in svg.iter("text")
        if t.text in titles or (t.text or "").endswith("…")
    ]


def test_every_night_and_every_picture_has_its_mark():
    nights = [date(2023, 1, 21), date(2024, 2, 6), date(2026, 1, 18)]
    pictures = [(date(2023, 2, 5), "First try"), (date(2024, 2, 25), "Second winter"), (date(2026, 2, 8), "Third")]
    svg = chart_of(nights, pictures)
    ticks = next(p.get("d") for p in svg.iter("path") if p.get("class") == "end")
    assert ticks is not None
    assert ticks.count("M") == 3
    marks = [p for p in svg.iter("path") if p.get("class") == "mark"]
    assert [next(iter(p)).text.split(",")[0] for p in marks] == [title for _, title in pictures]
    assert [name for *_, name in names(svg, [t for _, t in pictures])] == [title for _, title in pictures]
    said = svg.get("aria-label") or ""
    assert all(title in said for _, title in pictures)


@given(st.lists(st.tuples(st.integers(0, 400), st.integers(3, 60)), min_size=1, max_size=9, unique_by=lambda p: p[0]))
@example([(0, 16), (9, 16), (18, 16), (27, 16), (36, 16)])
@example([(0, 30), (390, 27), (400, 31)])
def test_names_stand_clear_of_each_other_and_of_the_lines(places):
    first = date(2023, 1, 1)
    pictures = [(first + timedelta(days=day), f"{i} {'n' * (length - 2)}") for i, (day, length) in enumerate(places)]
    svg = chart_of([first, first + timedelta(days=400)], pictures)
    lines = [
        tuple(map(float, re.findall(r"-?[\d.]+", p.get("d") or "")))
        for p in svg.iter("path") if p.get("class") == "limit"
    ]  # fmt: skip
    there = []
    for t in svg.iter("text"):
        if (t.text or "")[:2] in {title[:2] for _, title in pictures}:
            before = LETTER * len(t.text) if t.get("text-anchor") == "end" else 0
            there.append((float(t.get("x")) - before, float(t.get("y")), t.text))
    assert len(there) == len(lines)
    for x, y, text in there:
        end = x + LETTER * len(text)
        assert x >= 0
        assert end <= WIDTH
        assert not any(x < other_x < end and other_y == y for other_x, other_y, _ in there)
        assert not any(x < line_x < end and top < y - 8 for line_x, top, _ in lines)


def test_a_name_at_the_end_of_the_chart_is_whole_where_there_is_room_before_it():
    nights = [date(2012, 10, 13), date(2023, 11, 18)]
    titles = ["A nebula seen through an old lens", "A nebula under a known dark sky"]
    svg = chart_of(nights, [(date(2012, 10, 20), titles[0]), (date(2023, 12, 1), titles[1])])
    assert [text for *_, text in names(svg, titles)] == titles


def test_a_name_too_long_is_cut_and_too_many_leave_their_marks():
    first = date(2023, 1, 1)
    pictures = [(first + timedelta(days=i), f"The very same long name of a picture {i}" * 3) for i in range(12)]
    svg = chart_of([first, first + timedelta(days=20)], pictures)
    there = names(svg, [t for _, t in pictures])
    assert len(there) == MOST_ROWS
    kinds = [p.get("class") for p in svg.iter("path")]
    assert kinds.count("mark") == 12
    assert kinds.count("limit") == MOST_ROWS  # a line without a name would say nothing
    assert all(x + LETTER * len(text) <= WIDTH for x, _, text in there)


@pytest.mark.parametrize("greatest", [0.3, 1, 4.2, 19.75, 140, 999, 1000])
def test_the_axis_ends_at_or_above_the_total(greatest):
    ticks = axis_steps(greatest)
    assert ticks[0] == 0
    assert ticks[-2] < greatest <= ticks[-1] + 1e-9
    assert 4 <= len(ticks) <= 8
