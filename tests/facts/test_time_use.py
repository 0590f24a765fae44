"""How sessions and nights went, worked by hand; darkness against an independent ephemeris."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import ephem
import pytest
from hypothesis import given
from hypothesis import strategies as st
from noctuary.facts.almanac import Almanac
from noctuary.facts.archive_facts import archive_facts
from noctuary.facts.time_use import DarkUse, dark_sum, night_use, session_use
from noctuary.memo import Memo
from noctuary.sky.darkness import darkness

from tests.builders.records import archive, frames, picture, place, rig, session

NIGHT = date(2025, 1, 18)
EIGHT = datetime(2025, 1, 18, 20, tzinfo=UTC)
HOUR = timedelta(hours=1)
#: Ten hours of darkness, 19:00 to 5:00.
DARK = {("garden", NIGHT): (EIGHT - HOUR, EIGHT + 9 * HOUR)}


def test_a_session_by_hand() -> None:
    # 20:00 to 24:00; 60 of 180 s are 3 h, 55 kept are 2 h 45 min; it gets dark at 21:00.
    use = session_use(session(groups=(frames(180, 55, 60),)), (EIGHT + HOUR, EIGHT + 9 * HOUR))
    assert use is not None
    assert (use.length_s, use.kept_s, use.rejected_s, use.paused_s) == (14400, 9900, 900, 3600)
    assert use.dark_s == 3 * 3600
    assert use.open_share == 0.75
    assert use.kept_share == pytest.approx(55 / 60)


def test_what_a_session_does_not_say_is_absent() -> None:
    assert session_use(session(hours=None), None) is None
    assert session_use(session(hours=0), None) is None
    use = session_use(session(groups=(frames(60, 0, 0),)), None)
    assert use is not None
    assert use.kept_share is None
    assert (use.open_share, use.dark_s) == (0, 0)


def test_a_night_by_hand() -> None:
    # Two targets, 18:00 to 22:00 with half of the time exposed and 23:00 to 24:00 wholly, nothing kept of that.
    early = session(start=EIGHT - 2 * HOUR, groups=(frames(60, 100, 120),))
    late = session(1, start=EIGHT + 3 * HOUR, hours=1, groups=(frames(60, 0, 60),))
    (use,) = night_use([early, late], DARK).darkness
    # Of the first session, three of four hours were dark.
    assert use.dark_s == 36000
    assert use.kept_s == pytest.approx(0.75 * 6000)
    assert use.rejected_s == pytest.approx(0.75 * 1200 + 3600)
    assert use.paused_s == pytest.approx(0.75 * 7200)
    assert use.unused_s == 6 * 3600
    assert use.used_share == pytest.approx((0.75 * 7200 + 3600) / 36000)


def test_two_rigs_at_once_use_an_hour_once() -> None:
    # 20:00 to 24:00 at 90 % and 22:00 to 24:00 at 50 %: the first has all of it; 1:00 to 2:00 only the second rig.
    first = session(groups=(frames(60, 216, 216),))
    second = session(1, start=EIGHT + 2 * HOUR, hours=2, rig=rig("other"), groups=(frames(60, 60, 60),))
    third = session(2, start=EIGHT + 5 * HOUR, hours=1, rig=rig("other"), groups=(frames(60, 60, 60),))
    (use,) = night_use([first, second, third], DARK).darkness
    assert use.used_s == pytest.approx(0.9 * 4 * 3600 + 3600)
    assert use.unused_s == 5 * 3600


def test_darkness_is_told_only_where_it_can_be() -> None:
    clocked, unclocked = session(), session(1, hours=None)
    assert night_use([clocked, unclocked], DARK).darkness == ()
    elsewhere = session(1, hours=None, place=place("hill"))
    assert [a.place for a in night_use([clocked, elsewhere], DARK).darkness] == ["garden"]
    # No darkness in summer, and a session by day loses no night.
    assert night_use([clocked], {("garden", NIGHT): None}).darkness == ()
    assert night_use([session(start=EIGHT - 10 * HOUR)], DARK).darkness == ()


def test_sums() -> None:
    assert dark_sum([]) is None
    one = DarkUse("garden", 1, 10.0, 4.0, 1.0, 2.0, 3.0)
    assert dark_sum([one, DarkUse("hill", 1, 20.0, 5.0, 5.0, 5.0, 5.0)]) == DarkUse(None, 2, 30.0, 9.0, 6.0, 7.0, 8.0)


@given(
    st.lists(
        st.tuples(st.floats(-6, 12), st.floats(0.1, 8), st.integers(0, 500), st.floats(0, 1)), min_size=1, max_size=6
    )
)
def test_nothing_is_lost_and_nothing_is_counted_twice(told: list[tuple[float, float, int, float]]) -> None:
    sessions = [
        session(n, start=EIGHT + at * HOUR, hours=long, groups=(frames(60, round(kept * taken), taken),))
        for n, (at, long, taken, kept) in enumerate(told)
    ]
    use = night_use(sessions, DARK)
    for part in use.sessions:
        assert part.kept_s + part.rejected_s + part.paused_s == pytest.approx(part.length_s)
        assert min(part.kept_s, part.rejected_s, part.paused_s, part.dark_s) >= -1e-6
    for account in use.darkness:
        parts = account.kept_s, account.rejected_s, account.paused_s, account.unused_s
        assert sum(parts) == pytest.approx(account.dark_s) == 36000
        assert min(parts) >= -1e-6
        # No more than the sessions exposed, and no less than the busiest of them did in the dark.
        exposed = [(s.kept_s + s.rejected_s, s.open_share * s.dark_s) for s in use.sessions]
        assert max(e[1] for e in exposed) - 1e-6 <= account.used_s <= sum(e[0] for e in exposed) + 1e-6


@pytest.mark.parametrize(
    ("latitude", "longitude", "noon"),
    [
        (51.0, -3.0, datetime(2025, 1, 18, 12, tzinfo=UTC)),
        (28.0, -17.0, datetime(2024, 6, 21, 13, tzinfo=UTC)),
        (-33.0, 149.0, datetime(2023, 4, 2, 2, tzinfo=UTC)),
        (1.0, -157.0, datetime(2023, 10, 15, 22, tzinfo=UTC)),
        (69.0, 19.0, datetime(2022, 12, 20, 11, tzinfo=UTC)),
    ],
)
def test_darkness_against_ephem(latitude: float, longitude: float, noon: datetime) -> None:
    # PyEphem: the Sun's centre through −18°, without refraction.
    there = ephem.Observer()
    there.lat, there.lon, there.pressure, there.horizon = str(latitude), str(longitude), 0, "-18"
    there.date = noon.replace(tzinfo=None)
    sun = ephem.Sun()
    dusk = there.next_setting(sun, use_center=True).datetime().replace(tzinfo=UTC)
    dawn = there.next_rising(sun, use_center=True).datetime().replace(tzinfo=UTC)
    (found,) = darkness([(latitude, longitude, noon)])
    assert found is not None
    assert abs(found[0] - dusk) < timedelta(seconds=20)
    assert abs(found[1] - dawn) < timedelta(seconds=20)


def test_nights_without_darkness_and_without_day() -> None:
    midsummer, midwinter = datetime(2025, 6, 21, 12, tzinfo=UTC), datetime(2025, 12, 21, 12, tzinfo=UTC)
    assert darkness([(52.0, 0.0, midsummer), (90.0, 0.0, midsummer)]) == [None, None]
    ((dusk, dawn),) = [d for d in darkness([(89.0, 0.0, midwinter)]) if d]
    assert dawn - dusk == pytest.approx(timedelta(days=1), abs=timedelta(minutes=1))
    assert darkness([]) == []


def test_a_year_adds_up_its_nights_and_asks_the_sky_once() -> None:
    sessions = (session(), session(1, night=date(2025, 1, 20)), session(2, night=date(2024, 3, 1)))
    whole = archive(picture(sessions=sessions))
    memory = Memo()
    facts = archive_facts(whole, Almanac(whole, memory), {}, {})
    year = facts.years[0].dark_use
    assert year is not None
    assert year.nights == 2
    nights = [n.use.darkness[0] for n in facts.nights if n.night.year == 2025]
    assert year.dark_s == pytest.approx(sum(a.dark_s for a in nights))
    assert all(11 * 3600 < a.dark_s < 12 * 3600 for a in nights)  # a long night, as the ephemerides above
    assert year.kept_s == pytest.approx(2 * 9900)
    # A second build knows the answers.
    again = Memo(dict(memory.kept()))
    assert archive_facts(whole, Almanac(whole, again), {}, {}).years == facts.years
    assert not again.changed


def test_the_place_counts_as_it_is_published() -> None:
    def dark_of(publish: str) -> float:
        whole = archive(picture(sessions=(session(place=place(latitude_deg=51.4, publish=publish)),)))
        return archive_facts(whole, Almanac(whole), {}, {}).nights[0].use.darkness[0].dark_s

    (exact, whole_degree) = darkness([(51.4, -3.1, EIGHT - 8 * HOUR), (51.0, -3.0, EIGHT - 8 * HOUR)])
    assert exact is not None
    assert whole_degree is not None
    assert dark_of("name") == dark_of("rounded")
    assert dark_of("name") == pytest.approx((whole_degree[1] - whole_degree[0]).total_seconds(), abs=1e-3)
    assert dark_of("exact") == pytest.approx((exact[1] - exact[0]).total_seconds(), abs=1e-3)
    assert abs(dark_of("exact") - dark_of("name")) > 10
