"""Seasons against the full ephemeris and against another engine."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta

import ephem
import numpy as np
import pytest
from noctuary.sky.ephemeris import night_curves
from noctuary.sky.season import SeasonCurve, best_month, month_hours, season


@pytest.mark.parametrize(("lat", "lon", "year"), [(47.0, 8.0, 2025), (-33.0, 150.0, 2059), (64.0, -147.0, 1951)])
def test_the_season_agrees_with_the_full_ephemeris(lat: float, lon: float, year: int) -> None:
    curve = season(lat, lon, 83.8, -5.4, year, 25.0)
    assert len(curve.dates) == len(curve.hours_up) == len(curve.dark_hours) == 365
    for day in (0, 45, 81, 172, 264, 355):
        noon = datetime(year, 1, 1, 12, tzinfo=UTC) + timedelta(days=day - lon / 360)
        assert curve.dates[day] == date(year, 1, 1) + timedelta(days=day)
        full = night_curves(lat, lon, 0.0, noon, noon + timedelta(days=1), 1, [(83.8, -5.4)])
        dark = np.array(full.sun_deg) < -18
        up = np.array(full.targets_deg[0]) > 25
        assert curve.dark_hours[day] == pytest.approx(24 * dark.mean(), abs=0.06)
        assert curve.hours_up[day] == pytest.approx(24 * (dark & up).mean(), abs=0.06)


def test_a_season_in_the_far_north_and_of_what_never_rises() -> None:
    curve = season(69.0, 19.0, 83.8, -5.4, 2024, 20.0)
    assert len(curve.dates) == 366
    assert curve.dark_hours[172] == 0
    assert max(season(69.0, 19.0, 100.0, -60.0, 2024, 0.0).hours_up) == 0
    circumpolar = season(69.0, 19.0, 37.95, 89.26, 2024, 20.0)
    assert circumpolar.hours_up == circumpolar.dark_hours


def _dark_hours_up(lat: float, lon: float, ra: float, dec: float, year: int, limit: float) -> dict[int, list[float]]:
    """Hours of each night from January to March by PyEphem (XEphem's engine), sampled every ten minutes."""
    place = ephem.Observer()
    place.lat, place.lon, place.pressure = math.radians(lat), math.radians(lon), 0
    target, sun = ephem.FixedBody(), ephem.Sun()
    target._ra, target._dec = math.radians(ra), math.radians(dec)
    by_month: dict[int, list[float]] = {}
    for day in range(90):
        noon = datetime(year, 1, 1, 12) + timedelta(days=day)
        steps = 0
        for step in range(144):
            place.date = ephem.Date(noon + timedelta(minutes=10 * step))
            sun.compute(place)
            if math.degrees(sun.alt) < -18:
                target.compute(place)
                steps += math.degrees(target.alt) > limit
        by_month.setdefault(noon.month, []).append(steps / 6)
    return by_month


def test_a_short_month_is_best_when_its_nights_are():
    # RA 10h 48m, +50° from 40° north: February has most hours a night, but its 28 nights have fewer in sum than
    # the 31 of March.
    by_month = _dark_hours_up(40.0, 0.0, 162.0, 50.0, 2025, 30.0)
    a_night = {month: sum(hours) / len(hours) for month, hours in by_month.items()}
    assert max(a_night, key=lambda m: a_night[m]) == 2
    assert max(by_month, key=lambda m: sum(by_month[m])) == 3
    curve = season(40.0, 0.0, 162.0, 50.0, 2025, 30.0)
    assert best_month(curve) == 2
    for month, hours in a_night.items():
        assert month_hours(curve)[month - 1] == pytest.approx(hours, abs=0.1)


def test_what_never_rises_in_darkness_has_no_best_month():
    assert best_month(season(51.0, 0.0, 100.0, -60.0, 2025, 30.0)) is None
    assert best_month(SeasonCurve([], [], [])) is None
