"""Honest records trip no rule of plausibility."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from noctuary.archive.records import Calibration, OwnObject
from noctuary.facts.almanac import Almanac
from noctuary.facts.filters import narrowband
from noctuary.facts.rules.exposure import untracked

from tests.builders.records import MARK, archive
from tests.facts.sample import Sample, judged


def test_the_honest_record_trips_nothing() -> None:
    assert judged(Sample()) == []


def test_what_has_no_fixed_place_is_not_judged_by_the_sky() -> None:
    aurora = OwnObject(name="Aurora in May", kind="aurora", mark=MARK)
    evening = datetime(2025, 5, 10, 21, tzinfo=UTC)
    told = Sample(
        archive={"own_objects": (aurora,)},
        scale=None,
        session={"target": "Aurora in May", "start": evening, "night": evening.date()},
    )
    assert [f.rule for f in judged(told) if f.rule in ("sun-up", "target-low", "target-under-ground")] == []


@pytest.mark.parametrize(
    ("name", "narrow"),
    [("H-alpha", True), ("Ha 7nm", True), ("O III", True), ("dual-band", True), ("SII", True), ("L", False),
     ("Luminance", False), ("Red", False), (None, False), ("UV/IR cut", False), ("light pollution", False)],
)  # fmt: skip
def test_filters_for_emission_lines(name: str | None, narrow: bool) -> None:
    assert narrowband(name) is narrow


@pytest.mark.parametrize(
    ("mount", "fixed"),
    [("fixed tripod", True), ("a tripod", True), ("untracked alt-azimuth", True), ("pier", False), (None, False),
     ("tracking head on a tripod", False), ("equatorial mount on a tripod", False)],
)  # fmt: skip
def test_mounts_that_stand_still(mount: str | None, fixed: bool) -> None:
    assert untracked(mount) is fixed


TARGETS = {"M 31": 0.71, "M 33": 1.56, "M 45": 3.79, "M 37": 5.87, "NGC 2244": 6.53, "M 44": 8.67, "M 81": 9.93,
           "M 51": 13.5, "M 13": 16.7, "M 57": 18.9, "NGC 6946": 20.6, "NGC 7331": 22.6}  # fmt: skip


@pytest.mark.slow
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])
@given(
    target=st.sampled_from(sorted(TARGETS)),
    shift=st.integers(-40, 40),
    year=st.integers(1990, 2024),
    latitude=st.floats(28, 50),
    longitude=st.floats(-20, 20),
    hours=st.floats(1, 3),
    exposure=st.sampled_from([30.0, 60.0, 120.0, 300.0]),
    duty=st.floats(0.5, 0.85),
    kept=st.floats(0, 1),
    iso=st.booleans(),
    width=st.floats(1.9, 8),
    sky=st.floats(17, 22),
)
def test_honest_records_trip_nothing(
    target: str, shift: int, year: int, latitude: float, longitude: float, hours: float, exposure: float, duty: float,
    kept: float, iso: bool, width: float, sky: float,
) -> None:  # fmt: skip
    from noctuary.sky.ephemeris import Observation, sky_during

    # At local midnight of 1 January the sidereal time is about 6.7 h; a target of that right ascension is highest.
    days = (TARGETS[target] - 6.7) % 24 / 24 * 365.25 + shift
    night = date(year, 1, 1) + timedelta(days=round(days))
    middle = datetime(night.year, night.month, night.day, tzinfo=UTC) + timedelta(
        hours=24 - longitude / 15 - shift / 15.2
    )
    start = middle - timedelta(hours=hours / 2)
    start = start.replace(second=0, microsecond=0)
    found = Almanac(archive()).object(target)
    assert found is not None
    (above,) = sky_during(
        [Observation(latitude, longitude, 0, start, start + timedelta(hours=hours), found.ra_deg, found.dec_deg)]
    )
    assume(max(above.sun_altitude_start_deg, above.sun_altitude_end_deg) < -12.5)
    low = min(above.target_altitude_start_deg or 0.0, above.target_altitude_end_deg or 0.0)
    assume(low > 31)
    moonlit = above.moon_illuminated_fraction > 0.45 and (above.moon_separation_deg or 0.0) < 45
    taken = max(1, int(duty * hours * 3600 / exposure))
    assume(taken * exposure / (hours * 3600) > 0.4)
    told = Sample(
        group={"exposure": exposure, "taken": taken, "kept": round(kept * taken), "gain": None if iso else 100.0,
               "iso": 800.0 if iso else None, "filter": "Ha" if moonlit else None},
        session={"night": night, "start": start, "hours": hours, "target": target, "star_width_arcsec": width,
                 "sky_brightness": sky,
                 "calibration": Calibration(darks=20, flats=20, dark_exposure_s=exposure, dark_temperature_c=-9)},
        picture={"finished": night + timedelta(days=20)},
        place={"latitude_deg": latitude, "longitude_deg": longitude},
        rig={"focal": 135.0, "aperture": 75.0, "focal_factor": 1.0, "mount": "equatorial mount"},
        scale=None,
    )  # fmt: skip
    assert judged(told) == []
