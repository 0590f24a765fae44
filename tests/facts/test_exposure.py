from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.archive.records import Picture
from noctuary.facts.exposure import integration, shutter_open_share

from tests.builders.records import archive, frames, picture, session


def test_a_night_of_two_filters_adds_up():
    night = session(groups=(frames(180, 55, 62, filter="H-alpha"), frames(300, 10, 12, filter="OIII")))
    total = integration([night])
    assert total.total_s == 55 * 180 + 10 * 300
    assert total.by_filter_s == {"H-alpha": 9900, "OIII": 3000}
    assert (total.kept, total.taken) == (65, 74)
    assert total.kept_share == pytest.approx(65 / 74)


def test_frames_without_a_filter_are_unfiltered():
    assert integration([session()]).by_filter_s == {"unfiltered": 9900}


def test_two_sessions_of_one_evening_are_one_night():
    total = integration([session(0), session(1), session(2, night=date(2025, 1, 20))])
    assert total.nights == 2
    assert (total.first_night, total.last_night) == (date(2025, 1, 18), date(2025, 1, 20))


def test_nothing_taken_has_no_kept_share():
    assert integration([session(groups=(frames(60, 0, 0),))]).kept_share is None
    assert integration([]).first_night is None


def test_pauses_of_a_camera_timer_leave_the_shutter_open_for_most_of_the_time():
    # Common practice: 5 to 10 s between 60 s sub-exposures, so 86 to 92 % of the time at best.
    shares = [
        shutter_open_share(session(hours=100 * (60 + p) / 3600, groups=(frames(60, 90, 100),))) for p in (10, 5)
    ]
    assert shares == [pytest.approx(0.857, abs=0.001), pytest.approx(0.923, abs=0.001)]


def test_without_clock_times_the_shutter_share_is_not_known():
    assert shutter_open_share(session(hours=None)) is None


@st.composite
def families(draw):
    """Pictures that build on earlier ones in any pattern: chains, diamonds, repeats."""
    count = draw(st.integers(1, 7))
    pictures: list[Picture] = []
    for number in range(count):
        own = tuple(
            session(
                index,
                written_in=f"p{number}",
                night=date(2020, 1, 1) + timedelta(days=draw(st.integers(0, 40))),
                groups=(frames(draw(st.sampled_from([30, 60, 180])), draw(st.integers(0, 90))),),
            )
            for index in range(draw(st.integers(0, 3)))
        )
        earlier = [p.id for p in pictures]
        on = draw(st.lists(st.sampled_from(earlier), max_size=4)) if earlier else []
        pictures.append(picture(f"p{number}", own, builds_on=tuple(on)))
    return archive(*pictures)


@given(families())
def test_a_session_counts_once_however_it_is_reached(whole):
    for shown in whole.pictures.values():
        reached, waiting = set(), [shown.id]
        while waiting:
            name = waiting.pop()
            reached.add(name)
            waiting += [n for n in whole.pictures[name].builds_on if n not in reached]
        expected = sum(
            g.kept * g.exposure_s for name in reached for s in whole.pictures[name].own_sessions for g in s.frames
        )
        total_s = integration(whole.sessions_of(shown)).total_s
        assert total_s == (pytest.approx(expected) if whole.sessions_of(shown) else None)
    everything = [s for p in whole.pictures.values() for s in whole.sessions_of(p)]
    once = [s for p in whole.pictures.values() for s in p.own_sessions]
    assert integration(everything).total_s == integration(once).total_s
    assert sum(integration(everything).by_filter_s.values()) == pytest.approx(integration(once).total_s or 0)
    assert sum(integration(everything).by_year_s.values()) == pytest.approx(integration(once).total_s or 0)
