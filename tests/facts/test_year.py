"""A year looked back on: examples worked out by hand, and sums that must agree with the whole for any archive."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import ArchiveFacts, archive_facts
from noctuary.facts.year import YearReview, year_review

from tests.builders.records import archive, frames, picture, rig, session


def whole(*pictures) -> ArchiveFacts:
    records = archive(*pictures)
    return archive_facts(records, Almanac(records), {}, {})


def review(facts: ArchiveFacts, year: int) -> YearReview:
    return year_review(facts, next(y for y in facts.years if y.year == year))


def two_winters() -> ArchiveFacts:
    """2024: 4 h of session, 60 × 180 s kept of 70. 2025: 4 h and 6 h, 55 and 100 kept of 55 and 110, 300 s there."""
    old = session(0, night=date(2024, 3, 2), written_in="old", groups=(frames(180, 60, 70),))
    new = session(0, night=date(2025, 1, 18), written_in="new", groups=(frames(180, 55, 55),))
    far = session(
        0, night=date(2025, 11, 20), written_in="far", hours=10, target="M 33", rig=rig("reflector", focal=1000),
        groups=(frames(300, 100, 110),),
    )  # fmt: skip
    return whole(
        picture("old", (old,), finished=date(2024, 3, 9)),
        picture("new", (new,), builds_on=("old",), finished=date(2025, 2, 9)),
        picture("far", (far,), objects=("M 33",), finished=date(2025, 12, 1)),
    )


def test_the_best_month_is_the_one_with_most_light():
    facts = two_winters()
    assert review(facts, 2025).best_month == 11
    assert review(facts, 2024).best_month == 3


def test_an_object_is_new_in_the_year_of_its_first_picture_alone():
    facts = two_winters()
    assert [(t.name, p.picture.id) for t, p in review(facts, 2024).firsts] == [("NGC 2238", "old")]
    assert [(t.name, p.picture.id) for t, p in review(facts, 2025).firsts] == [("M 33", "far")]


def test_light_beyond_that_of_the_year_before():
    """2025: 55 × 180 s + 100 × 300 s = 39 900 s; 2024: 60 × 180 s = 10 800 s."""
    facts = two_winters()
    assert review(facts, 2025).more_s == 39_900 - 10_800
    assert review(facts, 2024).more_s is None


def test_a_lower_bound_is_compared_with_nothing():
    """A session of unknown exposures may be hours: no difference to the year before, no best month beside it."""
    known = session(0, night=date(2024, 3, 2), written_in="old", groups=(frames(180, 60, 60),))
    unknown = replace(session(1, night=date(2024, 5, 2), written_in="old"), frames=())
    more = session(0, night=date(2025, 3, 2), written_in="new", groups=(frames(180, 90, 90),))
    same_month = replace(session(1, night=date(2025, 3, 3), written_in="new"), frames=())
    facts = whole(
        picture("old", (known, unknown), finished=date(2024, 6, 1)),
        picture("new", (more, same_month), finished=date(2025, 4, 1)),
    )
    assert review(facts, 2025).more_s is None
    assert review(facts, 2024).best_month is None
    assert review(facts, 2025).best_month == 3


def test_the_shutter_was_open_for_a_share_of_the_time_that_the_sessions_lasted():
    """2025: (55 × 180 s + 110 × 300 s) / (4 h + 10 h) = 42 900 / 50 400."""
    found = review(two_winters(), 2025)
    assert found.session_s == 14 * 3600
    assert found.open_share == pytest.approx(42_900 / 50_400, abs=1e-12)
    assert 0 <= (found.dark_share or 0) <= 1


def test_without_clock_times_nothing_is_said_of_how_the_time_was_used():
    facts = whole(picture("old", (session(0, hours=None, written_in="old"),)))
    found = review(facts, 2025)
    assert (found.session_s, found.open_share, found.dark_share) == (0.0, None, None)


def test_a_year_of_processing_alone_has_no_best_month():
    facts = whole(picture("late", (session(0, night=date(2023, 5, 1), written_in="late", hours=None),)))
    assert [y.year for y in facts.years] == [2025, 2023]
    assert review(facts, 2025).best_month is None


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.dates(date(2019, 1, 1), date(2025, 12, 31)), st.integers(0, 40), st.sampled_from([30.0, 180.0])),
        min_size=1,
        max_size=12,
    )
)
def test_months_rigs_and_nights_of_a_year_all_add_up_to_it(nights):
    sessions = tuple(
        session(i, night=night, written_in="p", hours=None, groups=(frames(exposure, kept),), rig=rig(f"r{i % 3}"))
        for i, (night, kept, exposure) in enumerate(nights)
    )
    facts = whole(picture("p", sessions, finished=date(2026, 1, 1)))
    assert sum(y.integration.total_s or 0 for y in facts.years) == pytest.approx(facts.integration.total_s)
    for year in facts.years:
        total = year.integration.total_s or 0
        assert sum(year.by_month_s) == pytest.approx(total)
        assert sum(year.by_rig_s.values()) == pytest.approx(total)
        assert sum(n.integration.total_s for n in year.nights) == pytest.approx(total)
        best = year_review(facts, year).best_month
        assert best is None if not total else year.by_month_s[best - 1] == max(year.by_month_s)
