"""UT1 − UTC of the installed tables, read here and by astropy's own reader of the same files."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import erfa
import numpy as np
import pytest
from astropy.utils import iers
from noctuary.sky.earth_rotation import know_leap_seconds, ut1_less_utc_s
from noctuary.sky.horizon import EPOCH_JD, utc_days

#: The last leap seconds, IERS Bulletin C: each was at the end of the day before.
AFTER_LEAP_SECONDS = [datetime(*day, tzinfo=UTC) for day in ((2009, 1, 1), (2012, 7, 1), (2015, 7, 1), (2017, 1, 1))]


@pytest.fixture(scope="module")
def theirs() -> Iterator[iers.IERS_Auto]:
    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("auto_max_age", None):
        yield iers.IERS_Auto.read()


def test_astropy_reads_the_same_from_the_same_tables(theirs: iers.IERS_Auto) -> None:
    chance = np.random.default_rng(1973)
    utc = np.concatenate([chance.uniform(-9000, 26000, 5000), np.arange(1000.0, 21000.0, 37)])
    seconds, status = theirs.ut1_utc(EPOCH_JD, utc, return_status=True)
    outside = (status == iers.TIME_BEFORE_IERS_RANGE) | (status == iers.TIME_BEYOND_IERS_RANGE)
    assert 500 < outside.sum() < 4000
    assert len(set(status[~outside].tolist())) > 1, "settled and foreseen values"
    np.testing.assert_array_equal(ut1_less_utc_s(utc), np.where(outside, 0.0, seconds.to_value("s")))


@pytest.mark.parametrize("midnight", AFTER_LEAP_SECONDS, ids=str)
def test_a_leap_second_comes_at_midnight(midnight: datetime, theirs: iers.IERS_Auto) -> None:
    around = [midnight + timedelta(minutes=minutes) for minutes in (-720, -1, 0, 1, 720)]
    seconds = ut1_less_utc_s(utc_days(around))
    assert abs(seconds[1] - seconds[0]) < 0.002
    assert abs(seconds[4] - seconds[2]) < 0.002
    assert seconds[2] - seconds[1] == pytest.approx(1.0, abs=0.002)


def test_a_published_value() -> None:
    # The documentation of astropy.utils.iers gives 2000-01-01T00:00:00.355 UT1 for 2000 January 1, 0h UTC.
    found = ut1_less_utc_s(utc_days([datetime(2000, 1, 1, tzinfo=UTC)]))
    assert found == pytest.approx([0.355], abs=0.0006)


def test_it_stays_within_nine_tenths_of_a_second() -> None:
    # Recommendation ITU-R TF.460-6: UTC departs from UT1 by no more than 0.9 s.
    days = np.arange(1100.0, 20500.0)
    seconds = ut1_less_utc_s(days)
    assert np.abs(seconds).max() < 0.9
    assert np.all(seconds != 0.0)


def test_leap_seconds_of_the_installed_tables_are_known() -> None:
    before = erfa.leap_seconds.get()
    try:
        erfa.leap_seconds.set(before[:-1])
        know_leap_seconds.cache_clear()
        know_leap_seconds()
        # IERS Bulletin C 52: TAI − UTC is 37 s from 2017 January 1.
        assert erfa.dat(2017, 1, 1, 0.0) == 37.0
        assert erfa.leap_seconds.get()["tai_utc"].tolist() == before["tai_utc"].tolist()
    finally:
        erfa.leap_seconds.set(before)
