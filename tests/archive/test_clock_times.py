"""Clock times against the published rules of the clocks of three places."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.archive.clock import NotAClock, moment, read_clock, read_date


def utc(text: str, night: str, zone: str) -> str:
    return f"{moment(read_clock(text), date.fromisoformat(night), zone).astimezone(UTC):%Y-%m-%d %H:%M}"


def rule(text: str, night: str, zone: str) -> str:
    with pytest.raises(NotAClock) as caught:
        utc(text, night, zone)
    assert caught.value.hint
    return caught.value.rule


def test_a_time_before_noon_is_the_next_date() -> None:
    assert utc("19:40", "2025-01-18", "Europe/London") == "2025-01-18 19:40"
    assert utc("00:10", "2025-01-18", "Europe/London") == "2025-01-19 00:10"
    assert utc("11:59", "2025-01-18", "Europe/London") == "2025-01-19 11:59"
    assert utc("12:00", "2025-01-18", "Europe/London") == "2025-01-18 12:00"


def test_a_written_date_is_taken_as_written() -> None:
    # British Summer Time is one hour ahead of UTC (Summer Time Act 1972, section 1).
    assert utc("2025-06-21 09:30", "2025-06-21", "Europe/London") == "2025-06-21 08:30"
    assert utc("2025-06-21T21:30", "2025-06-20", "Europe/London") == "2025-06-21 20:30"


def test_the_british_clocks() -> None:
    # Summer Time Order 2002: from 01:00 GMT on the last Sunday of March to 01:00 GMT on the last Sunday
    # of October. In 2025: 30 March and 26 October.
    assert utc("00:59", "2025-03-29", "Europe/London") == "2025-03-30 00:59"
    assert rule("01:00", "2025-03-29", "Europe/London") == "clock-skipped"
    assert rule("01:59", "2025-03-29", "Europe/London") == "clock-skipped"
    assert utc("02:00", "2025-03-29", "Europe/London") == "2025-03-30 01:00"
    assert rule("01:30", "2025-10-25", "Europe/London") == "clock-repeated"
    assert utc("01:30+01:00", "2025-10-25", "Europe/London") == "2025-10-26 00:30"
    assert utc("01:30+00:00", "2025-10-25", "Europe/London") == "2025-10-26 01:30"
    assert utc("01:30Z", "2025-10-25", "Europe/London") == "2025-10-26 01:30"
    assert rule("01:30+02:00", "2025-10-25", "Europe/London") == "clock-offset"


def test_lord_howe_repeats_half_an_hour() -> None:
    # Standard Time Act 1987 (New South Wales), Lord Howe Island: UTC+10:30, in summer UTC+11, until 02:00
    # summer time on the first Sunday of April. In 2025: 6 April.
    assert rule("01:45", "2025-04-05", "Australia/Lord_Howe") == "clock-repeated"
    assert utc("01:45+11:00", "2025-04-05", "Australia/Lord_Howe") == "2025-04-05 14:45"
    assert utc("01:45+10:30", "2025-04-05", "Australia/Lord_Howe") == "2025-04-05 15:15"
    assert utc("02:30+10:30", "2025-04-05", "Australia/Lord_Howe") == "2025-04-05 16:00"
    assert utc("01:15", "2025-04-05", "Australia/Lord_Howe") == "2025-04-05 14:15"


def test_new_york_in_two_laws() -> None:
    # Energy Policy Act of 2005, section 110: second Sunday of March from 2007 (11 March), before that the
    # first Sunday of April (Uniform Time Act as amended in 1986; 2 April 2006).
    assert rule("02:30", "2007-03-10", "America/New_York") == "clock-skipped"
    assert utc("02:30", "2006-03-11", "America/New_York") == "2006-03-12 07:30"
    assert rule("02:30", "2006-04-01", "America/New_York") == "clock-skipped"


def test_a_session_across_the_change_lasts_as_long_as_it_lasted() -> None:
    night = date(2025, 3, 29)
    start = moment(read_clock("22:00"), night, "Europe/Berlin")
    end = moment(read_clock("04:00"), night, "Europe/Berlin")
    assert end.timestamp() - start.timestamp() == 5 * 3600


@pytest.mark.parametrize(
    "text", ["24:00", "19:60", "7 pm", "19.40", "1940", "19:40:61", "", "19:40+25:00", "noon", "-1:30"]
)
def test_what_no_clock_shows(text: str) -> None:
    with pytest.raises(NotAClock):
        read_clock(text)


@pytest.mark.parametrize(
    "text", ["2025-02-29", "2025-13-01", "18.01.2025", "2025", "0001-01-01", "9999-12-31", "today"]
)
def test_what_is_no_date(text: str) -> None:
    with pytest.raises(NotAClock):
        read_date(text)


@given(
    st.datetimes(datetime(1950, 1, 1), datetime(2060, 1, 1)),
    st.sampled_from(
        ["Europe/London", "Australia/Lord_Howe", "America/St_Johns", "Asia/Kathmandu", "Pacific/Apia", "UTC"]
    ),
)
def test_every_moment_can_be_written_down(naive: datetime, zone: str) -> None:
    # Whole minutes, from 1972 on, when the offsets of these zones have no seconds any more.
    there = naive.replace(second=0, microsecond=0, tzinfo=UTC).astimezone(ZoneInfo(zone))
    offset = there.utcoffset() or timedelta()
    if offset.total_seconds() % 60:
        return
    written = f"{there:%Y-%m-%d %H:%M}{there:%z}"
    assert moment(read_clock(written), there.date(), zone) == there
