"""What pages say of how the nights went."""

from __future__ import annotations

import re
from datetime import date

from tests.builders.one_of_everything import facts, rendered


def section(path: str) -> str:
    found = re.search(r'<section[^>]*aria-labelledby="time-use">.*?</section>', rendered()[path], re.DOTALL)
    return " ".join(re.sub("<[^>]+>", " ", found[0]).split()).replace("\u202f", " ") if found else ""


def test_a_night_says_what_became_of_its_darkness_and_of_each_session() -> None:
    said = section("nights/2025-01-18.html")
    (use,) = next(n.use.darkness for n in facts().nights if n.night == date(2025, 1, 18))
    # 20:00 to 0:15 lie in the dark; 76 of 180 s were taken and 67 kept.
    assert use.used_s == 76 * 180
    assert f"{round(use.used_share * 100)} %" in said
    assert "3 h 48 min" in said
    assert "3 h 21 min of that were kept. 27 min went into frames that were not kept, 27 min went into pauses" in said
    assert "short refractor 4.25 4.25 89 % 88 % 0.45 0.45" in said


def test_nights_that_say_too_little_claim_nothing() -> None:
    assert section("nights/2023-03-12.html") == ""  # no clock times
    assert section("nights/2025-01-30.html") == ""  # clouded out
    by_day = section("nights/2024-06-18.html")  # the Sun: its session, and no darkness lost
    assert "wide lens 0.25 0.00" in by_day
    assert "passed unused" not in by_day


def test_a_year_adds_up_its_nights() -> None:
    said = section("years/2025.html")
    assert "Counted: the two nights with clock times of sessions in darkness." in said
    year = next(y for y in facts().years if y.year == 2025).dark_use
    assert year is not None
    assert f"In all {year.dark_s / 3600:.1f}" in said
    assert section("years/2023.html").count("Counted: the one night") == 1
