"""How low and how high a target stands over a whole session, against another engine that looks every minute."""

from __future__ import annotations

import math
import random
from datetime import UTC, datetime, timedelta

import ephem
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.sky.ephemeris import Observation, sky_during
from noctuary.sky.horizon import BODIES
from noctuary.sky.session_sky import SkyDuring


def _observer(session: Observation) -> ephem.Observer:
    place = ephem.Observer()
    place.lat, place.lon = math.radians(session.latitude_deg), math.radians(session.longitude_deg)
    place.elevation, place.pressure = session.elevation_m, 0
    return place


def _body(session: Observation) -> ephem.Body:
    if session.body:
        return getattr(ephem, session.body)()
    target = ephem.FixedBody()
    target._ra, target._dec = math.radians(session.ra_deg or 0), math.radians(session.dec_deg or 0)
    return target


def _range(session: Observation) -> tuple[float, float]:
    """Least and greatest altitude by PyEphem (XEphem's engine), every minute and at every transit it finds."""
    place, body = _observer(session), _body(session)
    minutes = int((session.end_utc - session.start_utc) / timedelta(minutes=1))
    moments = [ephem.Date(session.start_utc.replace(tzinfo=None) + timedelta(minutes=m)) for m in range(minutes + 1)]
    for find in (place.next_transit, place.next_antitransit):
        at = ephem.Date(session.start_utc.replace(tzinfo=None))
        while (at := find(body, start=at + ephem.second)) <= moments[-1]:
            moments.append(at)
    altitudes = []
    for moment in moments:
        place.date = moment
        body.compute(place)
        altitudes.append(math.degrees(body.alt))
    return min(altitudes), max(altitudes)


def _ours(sky: SkyDuring) -> tuple[float, float]:
    assert sky.target_altitude_least_deg is not None
    assert sky.target_altitude_greatest_deg is not None
    return sky.target_altitude_least_deg, sky.target_altitude_greatest_deg


def _ends(sky: SkyDuring) -> tuple[float, ...]:
    seen = sky.target_altitude_start_deg, sky.target_altitude_middle_deg, sky.target_altitude_end_deg
    return tuple(a for a in seen if a is not None)


def test_andromeda_through_the_zenith_and_a_polar_session_through_both_culminations() -> None:
    # Andromeda (ICRS 10.685°, +41.269°) from 42° north: the ends and the middle of the session miss the zenith.
    evening, night = datetime(2025, 9, 25, 20, tzinfo=UTC), datetime(2025, 9, 26, 2, 30, tzinfo=UTC)
    andromeda = Observation(42.0, 2.0, 0.0, evening, night, 10.685, 41.269)
    # A target at 69° north for 23 hours of the polar night: it culminates above and below.
    begun = datetime(2024, 12, 20, 17, tzinfo=UTC)
    polar = Observation(69.0, 19.0, 0.0, begun, begun + timedelta(hours=23), 83.8, 41.5)
    for session, sky in zip((andromeda, polar), sky_during([andromeda, polar]), strict=True):
        least, greatest = _range(session)
        assert _ours(sky) == pytest.approx((least, greatest), abs=0.02)
        assert max(_ends(sky)) < greatest - 5
    assert _ours(sky_during([andromeda])[0])[1] > 89
    polar_sky = sky_during([polar])[0]
    assert _ours(polar_sky)[0] == pytest.approx(69 + 41.5 - 90, abs=0.1)
    assert _ours(polar_sky)[1] == pytest.approx(90 - (69 - 41.5), abs=0.1)


def test_sixty_random_sessions_agree_with_pyephem() -> None:
    chance = random.Random(7)
    sessions = []
    for number in range(60):
        start = datetime(1980, 1, 1, tzinfo=UTC) + timedelta(days=chance.random() * 70 * 365.25)
        body = (*BODIES, None)[number % (len(BODIES) + 1)] if number % 2 else None
        where = (chance.uniform(-78, 78), chance.uniform(-180, 180), 0.0)
        fixed = () if body else (chance.uniform(0, 360), math.degrees(math.asin(chance.uniform(-1, 1))))
        end = start + timedelta(hours=chance.choice((2, 5, 9, 23)))
        sessions.append(Observation(*where, start, end, *(fixed or (None, None)), body=body))
    for session, sky in zip(sessions, sky_during(sessions), strict=True):
        assert _ours(sky) == pytest.approx(_range(session), abs=0.1), session


@pytest.mark.slow
@settings(max_examples=40, deadline=None)
@given(
    st.floats(-90, 90), st.floats(0, 360), st.floats(-90, 90), st.floats(0, 60),
    st.sampled_from([None, "Moon", "Sun"]),
    st.datetimes(datetime(1950, 1, 2), datetime(2060, 12, 25), timezones=st.just(UTC)),
)  # fmt: skip
def test_no_moment_of_a_session_is_outside_of_its_range(
    lat: float, ra: float, dec: float, hours: float, body: str | None, when: datetime
) -> None:
    target = {"body": body} if body else {"ra_deg": ra, "dec_deg": dec}
    end = when + timedelta(hours=hours)
    (whole,) = sky_during([Observation(lat, 10.0, 0.0, when, end, **target)])
    least, greatest = _ours(whole)
    assert least <= min(_ends(whole)) <= max(_ends(whole)) <= greatest
    moments = [when + timedelta(hours=hours * k / 13) for k in range(14)]
    for sky in sky_during([Observation(lat, 10.0, 0.0, m, m, **target) for m in moments]):
        assert least - 0.1 <= _ends(sky)[1] <= greatest + 0.1
