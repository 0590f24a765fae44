"""The ephemerides against published examples and definitions, and against an independent engine."""

from __future__ import annotations

import math
import random
from datetime import UTC, datetime, timedelta

import ephem
import pytest
from noctuary.charts.night import TWILIGHTS
from noctuary.sky.darkness import ASTRONOMICAL_NIGHT_DEG
from noctuary.sky.ephemeris import (
    Observation,
    airmass,
    illuminated_fraction,
    night_curves,
    pole_altitude_deg,
    sky_during,
)


def test_moon_illuminated_fraction_meeus_48a() -> None:
    # Meeus, Astronomical Algorithms, example 48.a: 1992 April 12, 0h TD: k = 0.6786 (value from memory,
    # reproduced by PyEphem to 0.001 below).
    instant = datetime(1992, 4, 12, tzinfo=UTC) - timedelta(seconds=59)  # TD − UT in 1992
    assert illuminated_fraction([instant])[0] == pytest.approx(0.6786, abs=5e-5)
    moon = ephem.Moon(ephem.Date("1992/4/12"))
    assert moon.phase / 100 == pytest.approx(0.6786, abs=1e-3)


def test_moon_place_meeus_47a() -> None:
    # Meeus, example 47.a, same instant: apparent longitude 133.167°, latitude −3.229°, distance 368 409.7 km
    # (from memory). The place it gives: α = 134.688°, δ = +13.768° of date. Where the Moon stands in the
    # zenith, parallax vanishes, so a place under it must see it at 90°.
    instant = datetime(1992, 4, 12, tzinfo=UTC) - timedelta(seconds=59)
    ra, dec = 134.688, 13.768
    tilt = 23.440636
    lon, lat = math.radians(133.167), math.radians(-3.229)
    e = math.radians(tilt)
    assert math.degrees(
        math.asin(math.sin(lat) * math.cos(e) + math.cos(lat) * math.sin(e) * math.sin(lon))
    ) == pytest.approx(dec, abs=2e-3)
    # Apparent sidereal time at Greenwich, by Meeus' ch. 12, puts the sub-lunar point on the map. At its zenith,
    # longitude and geocentric latitude follow; the geodetic latitude is larger by 0.1924° · sin 2φ.
    days = (instant - datetime(2000, 1, 1, 12, tzinfo=UTC)).total_seconds() / 86400
    sidereal = (280.46061837 + 360.98564736629 * days) % 360
    east = (ra - sidereal + 180) % 360 - 180
    geodetic = dec + 0.1924 * math.sin(math.radians(2 * dec))
    curves = night_curves(geodetic, east, 0.0, instant, instant + timedelta(seconds=1), 1.0, ["Moon"])
    assert curves.moon_deg[0] > 89.9
    # Three degrees of offset must show as three degrees and the parallax for that height and distance.
    curves = night_curves(geodetic - 60, east, 0.0, instant, instant + timedelta(seconds=1), 1.0, ["Moon"])
    parallax = math.degrees(math.asin(6378.14 / 368409.7 * math.sin(math.radians(60))))
    assert curves.moon_deg[0] == pytest.approx(30 - parallax, abs=0.2)


def test_venus_over_washington_meeus_13b() -> None:
    # Meeus, example 13.b: Venus, 1987 April 10, 19:21:00 UT, Washington (−77°03′56″, +38°55′17″): azimuth
    # from the south 68.034°, altitude 15.125° (from memory), geocentric, ±0.01°.
    instant = datetime(1987, 4, 10, 19, 21, tzinfo=UTC)
    washington = (38 + 55 / 60 + 17 / 3600, -(77 + 3 / 60 + 56 / 3600))
    seen = sky_during([Observation(*washington, 0.0, instant, instant, body="Venus")])[0]
    assert seen.target_altitude_middle_deg == pytest.approx(15.125, abs=0.01)
    assert seen.target_azimuth_middle_deg is not None
    assert seen.target_azimuth_middle_deg - 180 == pytest.approx(68.034, abs=0.01)


@pytest.mark.parametrize(("altitude", "value"), [(90, 1.000), (30, 1.994), (10, 5.60), (0.001, 38)])
def test_airmass_kasten_and_young(altitude: float, value: float) -> None:
    # Kasten & Young 1989, Applied Optics 28, 4735 (from memory; at 30° the secant, 2.000, is its upper bound).
    assert airmass(altitude) == pytest.approx(value, rel=0.02 if altitude < 1 else 0.003)


def test_airmass_is_absent_at_and_below_the_horizon() -> None:
    assert [math.isnan(x) for x in airmass([0.0, -0.1, -90.0, 0.1])] == [True, True, True, False]


def test_twilights_are_as_almanac_offices_define_them() -> None:
    # Civil, nautical and astronomical twilight end with the Sun's centre 6°, 12° and 18° below the horizon.
    assert [limit for limit, _ in TWILIGHTS] == [0, -6, -12, -18]
    assert ASTRONOMICAL_NIGHT_DEG == -18


def test_a_session_from_dusk_to_dawn_is_wholly_dark() -> None:
    # PyEphem finds the Sun's centre at −18° at dusk and dawn; half an hour more on both sides is not dark.
    place = ephem.Observer()
    place.lat, place.lon, place.elevation, place.pressure, place.horizon = "47.5", "8.5", 400, 0, "-18"
    place.date = "2025/1/18 12:00"
    dusk = place.next_setting(ephem.Sun(), use_center=True).datetime().replace(tzinfo=UTC)
    dawn = place.next_rising(ephem.Sun(), use_center=True).datetime().replace(tzinfo=UTC)
    extra = timedelta(minutes=30)
    exact, longer = sky_during(
        [Observation(47.5, 8.5, 400, dusk, dawn), Observation(47.5, 8.5, 400, dusk - extra, dawn + extra)]
    )
    assert exact.dark_share == pytest.approx(1.0, abs=1e-3)
    night = (dawn - dusk).total_seconds()
    assert longer.dark_share == pytest.approx(night / (night + 3600), abs=5e-4)
    assert exact.sun_altitude_start_deg == pytest.approx(-18, abs=0.01)


def test_the_pole_stands_as_high_as_the_latitude() -> None:
    # Common practice when a polar axis is set: 42° of latitude, 42° on the wedge; and by the sky itself.
    assert pole_altitude_deg(42.0) == 42.0
    assert pole_altitude_deg(-33.5) == 33.5
    t = datetime(2000, 1, 1, tzinfo=UTC)
    north, south = sky_during([Observation(42, 0, 0, t, t, 0.0, 90.0), Observation(-33.5, 20, 0, t, t, 0.0, -90.0)])
    assert north.target_altitude_middle_deg == pytest.approx(42, abs=0.01)
    assert south.target_altitude_middle_deg == pytest.approx(33.5, abs=0.01)


def test_separation_of_arcturus_and_spica_meeus_17a() -> None:
    # Meeus, example 17.a: 32.7930° (from memory). At the zenith of one, the other stands 90° − separation high.
    import erfa

    spica_arcturus = erfa.seps(*(math.radians(x) for x in (213.9154, 19.1825, 201.2983, -11.1614)))
    assert math.degrees(spica_arcturus) == pytest.approx(32.7930, abs=5e-5)
    t = datetime(2000, 1, 1, 12, tzinfo=UTC)
    # Sidereal time at Greenwich at J2000.0 is 280.4606°, so Arcturus culminates at this longitude.
    curves = night_curves(19.1825, 213.9154 - 280.4606, 0.0, t, t + timedelta(seconds=1), 1.0,
                          [(213.9154, 19.1825), (201.2983, -11.1614)])  # fmt: skip
    assert curves.targets_deg[0][0] == pytest.approx(90, abs=0.02)
    assert curves.targets_deg[1][0] == pytest.approx(90 - 32.7930, abs=0.02)


def test_a_hundred_random_sessions_agree_with_pyephem() -> None:
    # PyEphem (XEphem's engine: VSOP87, Moshier's Moon): altitudes 0.1°, illuminated fraction 0.5 %.
    chance = random.Random(19)
    sessions = []
    for _ in range(100):
        start = datetime(1990, 1, 1, tzinfo=UTC) + timedelta(days=chance.random() * 70.9 * 365.25)
        end = start + timedelta(hours=chance.uniform(0.2, 9))
        sessions.append(
            Observation(chance.uniform(-65, 65), chance.uniform(-180, 180), chance.uniform(0, 2500), start, end,
                        chance.uniform(0, 360), math.degrees(math.asin(chance.uniform(-1, 1))))
        )  # fmt: skip
    for session, seen in zip(sessions, sky_during(sessions), strict=True):
        place = ephem.Observer()
        place.lat, place.lon = math.radians(session.latitude_deg), math.radians(session.longitude_deg)
        place.elevation, place.pressure = session.elevation_m, 0
        target = ephem.FixedBody()
        target._ra, target._dec = math.radians(session.ra_deg or 0), math.radians(session.dec_deg or 0)
        moon, sun = ephem.Moon(), ephem.Sun()
        middle = session.start_utc + (session.end_utc - session.start_utc) / 2
        for when, name in ((session.start_utc, "start"), (middle, "middle"), (session.end_utc, "end")):
            place.date = ephem.Date(when.replace(tzinfo=None))
            for body, kind in ((target, "target"), (moon, "moon"), (sun, "sun")):
                body.compute(place)
                ours = getattr(seen, f"{kind}_altitude_{name}_deg")
                assert ours == pytest.approx(math.degrees(body.alt), abs=0.1), (session, kind, name)
            if name == "middle":
                assert seen.moon_illuminated_fraction == pytest.approx(moon.phase / 100, abs=0.005)
                apart = math.degrees(ephem.separation((moon.az, moon.alt), (target.az, target.alt)))
                assert seen.moon_separation_deg == pytest.approx(apart, abs=0.1)
                transits = [place.previous_transit(target), place.next_transit(target)]
                nearest = min((t.datetime().replace(tzinfo=UTC) for t in transits), key=lambda t: abs(t - middle))
                assert seen.transit_utc is not None
                assert abs(seen.transit_utc - nearest) < timedelta(seconds=60)
