"""Properties of the ephemerides, and astropy's own transforms as a second opinion."""

from __future__ import annotations

import math
import os
import subprocess
import sys
import warnings
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from noctuary.sky.ephemeris import Observation, illuminated_fraction, night_curves, sky_during
from noctuary.sky.horizon import BODIES


def _observation(when: datetime, hours: float = 4.0, **more: object) -> Observation:
    values: dict[str, object] = {"latitude_deg": 47.0, "longitude_deg": 8.0, "elevation_m": 500.0}
    return Observation(start_utc=when, end_utc=when + timedelta(hours=hours), **(values | more))  # type: ignore[arg-type]


def test_astropy_agrees_for_fixed_targets_moon_sun_and_planets() -> None:
    from astropy.coordinates import AltAz, EarthLocation, SkyCoord, get_body
    from astropy.time import Time
    from astropy.utils import iers

    when = [datetime(1995 + 4 * i, 1 + i, 3, 20, tzinfo=UTC) for i in range(7)]
    bodies = [None, "Venus", "Jupiter", "Saturn", "Mars", "Moon", "Sun"]
    sessions = [
        _observation(
            t, 0.0, latitude_deg=60.0 - 17 * i, longitude_deg=50.0 * i - 170, body=b, ra_deg=80.0, dec_deg=-5.0
        )
        for i, (t, b) in enumerate(zip(when, bodies, strict=True))
    ]
    seen = sky_during(sessions)
    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("auto_max_age", None):
        for session, sky in zip(sessions, seen, strict=True):
            place = EarthLocation.from_geodetic(session.longitude_deg, session.latitude_deg, session.elevation_m)
            time = Time(session.start_utc)
            frame = AltAz(obstime=time, location=place)
            target = get_body(session.body, time, place) if session.body else SkyCoord(80.0, -5.0, unit="deg")
            target, moon = target.transform_to(frame), get_body("moon", time, place).transform_to(frame)
            assert sky.target_altitude_middle_deg == pytest.approx(target.alt.deg, abs=0.003)
            assert sky.target_azimuth_middle_deg == pytest.approx(target.az.deg, abs=0.02)
            assert sky.moon_altitude_middle_deg == pytest.approx(moon.alt.deg, abs=0.003)
            if session.body != "Moon":
                assert sky.moon_separation_deg == pytest.approx(moon.separation(target).deg, abs=0.003)


def test_many_at_once_are_the_same_as_one_by_one() -> None:
    sessions = [
        _observation(
            datetime(2024, 3, 1 + i, 19, tzinfo=UTC), 1.0 + i, body=body, ra_deg=10.0 * i, dec_deg=5.0 * i - 30
        )
        for i, body in enumerate((None, "Moon", None, "Sun", "Jupiter", None, "Moon"))
    ]
    sessions.append(_observation(datetime(2024, 3, 1, 19, tzinfo=UTC)))
    assert sky_during(sessions) == [sky_during([s])[0] for s in sessions]
    assert sky_during([]) == []


def test_a_session_without_a_target_still_has_sun_and_moon() -> None:
    (sky,) = sky_during([_observation(datetime(2025, 1, 18, 19, tzinfo=UTC))])
    assert sky.target_altitude_start_deg is None
    assert sky.transit_utc is None
    assert sky.crosses_transit is None
    assert sky.airmass_middle is None
    assert sky.moon_separation_deg is None
    assert -90 <= sky.moon_altitude_middle_deg <= 90
    assert sky.dark_share == pytest.approx(1.0, abs=1e-3)


def test_a_target_below_the_horizon_has_no_airmass() -> None:
    (sky,) = sky_during([_observation(datetime(2025, 1, 18, 19, tzinfo=UTC), ra_deg=80.0, dec_deg=-80.0)])
    assert sky.target_altitude_middle_deg is not None
    assert sky.target_altitude_middle_deg < 0
    assert sky.airmass_middle is None


def test_the_moon_has_no_distance_from_itself() -> None:
    (sky,) = sky_during([_observation(datetime(2025, 1, 13, 22, tzinfo=UTC), body="Moon")])
    assert sky.moon_separation_deg is None
    assert sky.target_altitude_start_deg == pytest.approx(sky.moon_altitude_start_deg, abs=1e-6)


@pytest.mark.parametrize("body", BODIES)
def test_at_its_transit_a_target_is_due_south_or_north(body: str) -> None:
    (sky,) = sky_during([_observation(datetime(2025, 6, 1, 12, tzinfo=UTC), 6, body=body)])
    assert sky.transit_utc is not None
    (then,) = sky_during([_observation(sky.transit_utc, 0, body=body)])
    assert then.target_azimuth_middle_deg == pytest.approx(180, abs=0.01)


def test_a_session_crosses_the_transit_that_lies_in_it() -> None:
    fixed = {"ra_deg": 83.8, "dec_deg": -5.4}
    (sky,) = sky_during([_observation(datetime(2025, 1, 18, 19, tzinfo=UTC), 6, **fixed)])
    assert sky.transit_utc is not None
    before, around, after = sky_during(
        [_observation(sky.transit_utc + timedelta(hours=h), 2, **fixed) for h in (-2.1, -1, 0.1)]
    )
    assert (before.crosses_transit, around.crosses_transit, after.crosses_transit) == (False, True, False)
    assert around.target_altitude_middle_deg == max(
        s.target_altitude_middle_deg for s in (before, around, after) if s.target_altitude_middle_deg is not None
    )


@settings(max_examples=30, deadline=None)
@given(
    st.floats(-89, 89), st.floats(-180, 180), st.floats(0, 24),
    st.datetimes(datetime(1950, 1, 2), datetime(2060, 12, 30), timezones=st.just(UTC)),
)  # fmt: skip
def test_darkness_is_the_share_of_time_with_a_low_sun(lat: float, lon: float, hours: float, when: datetime) -> None:
    (sky,) = sky_during([Observation(lat, lon, 0.0, when, when + timedelta(hours=hours))])
    curves = night_curves(lat, lon, 0.0, when, when + timedelta(hours=hours), max(hours, 0.1) * 60 / 2000, [])
    dark = np.array(curves.sun_deg) < -18
    assert 0 <= sky.dark_share <= 1
    assert sky.dark_share == pytest.approx(dark.mean(), abs=2.5e-3)


def test_midsummer_in_the_north_is_never_dark_and_polar_night_always() -> None:
    summer, winter = sky_during(
        [
            _observation(datetime(2025, 6, 21, 20, tzinfo=UTC), 6, latitude_deg=55.0),
            _observation(datetime(2025, 12, 21, 20, tzinfo=UTC), 6, latitude_deg=86.0),
        ]
    )
    assert summer.dark_share == 0
    assert winter.dark_share == 1


def test_no_warning_from_1950_to_2060() -> None:
    sessions = [_observation(datetime(y, 7, 1, 22, tzinfo=UTC), ra_deg=10.0, dec_deg=40.0) for y in range(1950, 2061)]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        seen = sky_during(sessions)
        fractions = illuminated_fraction([s.start_utc for s in sessions])
    # One place, one date: the target's height drifts with precession and the calendar's leap day only.
    heights = [s.target_altitude_middle_deg for s in seen if s.target_altitude_middle_deg is not None]
    assert len(heights) == len(sessions)
    assert max(abs(a - b) for a, b in zip(heights, heights[4:], strict=False)) < 0.2
    assert all(0 <= f <= 1 for f in fractions)


@pytest.mark.slow
def test_nothing_is_printed_and_no_network_is_needed() -> None:
    program = (
        "import socket\n"
        "def refuse(*a, **k): raise OSError('no network')\n"
        "socket.socket.connect = refuse; socket.create_connection = refuse; socket.getaddrinfo = refuse\n"
        "from datetime import datetime, UTC\n"
        "from noctuary.sky.ephemeris import Observation, sky_during\n"
        "for y in (1950, 2026, 2060):\n"
        "    t = datetime(y, 3, 1, tzinfo=UTC)\n"
        "    sky_during([Observation(47, 8, 500, t, t, 10, 10), Observation(47, 8, 500, t, t, body='Mars')])\n"
        "import sys\n"
        "assert 'astropy' not in sys.modules, 'a small build would wait for it'\n"
    )
    done = subprocess.run(
        [sys.executable, "-W", "always", "-c", program], capture_output=True, text=True, timeout=600, check=False,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
    )  # fmt: skip
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_a_placement_written_in_numbers_and_an_import_need_no_astropy() -> None:
    program = (
        "import sys, noctuary.sky.ephemeris\n"
        "from noctuary.sky.graticule import graticule, north_east, scale_bar\n"
        "from noctuary.sky.avm import avm_fields\n"
        "from noctuary.sky.picture_transform import transform\n"
        "from noctuary.sky.placement import from_centre\n"
        "p = from_centre(10, 20, 2, 30, False, 1000, 800)\n"
        "p.corners_deg, p.field_deg, graticule(p), north_east(p), scale_bar(p)\n"
        "avm_fields(p, 500, 400), transform(p, p)\n"
        "print('astropy' in sys.modules)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=600, check=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
    )  # fmt: skip
    assert done.stdout == "False\n"


@pytest.mark.parametrize("lat", [-90.0, 90.0])
@pytest.mark.parametrize("hours", [0.0, 30.0, 72.0, -1.0])
def test_the_poles_of_the_earth_and_odd_lengths_have_numbers_too(lat: float, hours: float) -> None:
    t = datetime(2024, 12, 1, tzinfo=UTC)
    fixed, moon = sky_during(
        [_observation(t, hours, latitude_deg=lat, longitude_deg=180.0, **more) for more in (
            {"ra_deg": 0.0, "dec_deg": 40.0}, {"body": "Moon"})]
    )  # fmt: skip
    for sky in (fixed, moon):
        assert 0 <= sky.dark_share <= 1
        assert sky.target_altitude_start_deg is not None
        assert math.isfinite(sky.target_altitude_start_deg)
    assert fixed.target_altitude_start_deg == pytest.approx(math.copysign(40, lat), abs=0.2)
    assert fixed.dark_share == (1 if lat > 0 else 0)


def test_a_time_in_another_zone_is_the_same_instant() -> None:
    zone = timezone(timedelta(hours=10, minutes=30))
    t = datetime(2025, 1, 18, 19, tzinfo=UTC)
    here, there = sky_during(
        [_observation(t, ra_deg=1, dec_deg=2), _observation(t.astimezone(zone), ra_deg=1, dec_deg=2)]
    )
    assert here == there


def test_wrong_input_is_refused() -> None:
    t = datetime(2025, 1, 18, 19, tzinfo=UTC)
    with pytest.raises(ValueError, match="Vulcan"):
        sky_during([_observation(t, body="Vulcan")])
    with pytest.raises(ValueError, match="zone"):
        sky_during([_observation(t.replace(tzinfo=None))])
    with pytest.raises(ValueError, match="step"):
        night_curves(0, 0, 0, t, t + timedelta(hours=1), 0, [])


def test_night_curves_hold_both_ends_and_match_the_sessions() -> None:
    t = datetime(2025, 1, 18, 17, tzinfo=UTC)
    curves = night_curves(47.0, 8.0, 500.0, t, t + timedelta(hours=12), 7, [(83.8, -5.4), "Jupiter"])
    assert curves.times_utc[0] == t
    assert curves.times_utc[-1] == t + timedelta(hours=12)
    assert max(b - a for a, b in zip(curves.times_utc, curves.times_utc[1:], strict=False)) <= timedelta(minutes=7)
    one, two = sky_during([_observation(t, 12, ra_deg=83.8, dec_deg=-5.4), _observation(t, 12, body="Jupiter")])
    assert curves.targets_deg[0][0] == pytest.approx(one.target_altitude_start_deg, abs=1e-6)
    assert curves.targets_deg[1][-1] == pytest.approx(two.target_altitude_end_deg, abs=1e-6)
    assert curves.sun_deg[-1] == pytest.approx(one.sun_altitude_end_deg, abs=1e-6)
    assert curves.moon_illuminated_fraction == pytest.approx(one.moon_illuminated_fraction, abs=1e-6)
