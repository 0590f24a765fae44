"""How far the turning Earth is ahead of the clock: UT1 − UTC, from the tables of the IERS that are installed.

The tables are those of the package ``astropy_iers_data``, day by day from 1973 to a year ahead; nothing is ever
downloaded. They are read here, since two columns of them are wanted and the general reader of such files takes
longer than a small build takes altogether. ``tests/sky/test_earth_rotation.py`` holds the two side by side.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

_MJD_OF_1970 = 40587


def ut1_less_utc_s(utc: NDArray[np.float64]) -> NDArray[np.float64]:
    """Seconds at these instants, days of UTC from 1970; zero where the tables say nothing.

    Between two midnights the difference runs straight, and a leap second comes at the second of them.
    """
    days, seconds = _daily()
    mjd = np.floor(utc + _MJD_OF_1970)
    after = np.searchsorted(days, mjd, side="right")
    upper = np.clip(after, 1, len(days) - 1)
    lower = upper - 1
    change = seconds[upper] - seconds[lower]
    change -= np.round(change)
    share = (mjd - days[lower] + (_MJD_OF_1970 - mjd + utc)) / (days[upper] - days[lower])
    outside = (after == 0) | (after == len(days))
    return np.where(outside, 0.0, seconds[lower] + share * change)


@cache
def _daily() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Modified Julian dates of midnights, and the difference at each in seconds.

    ``finals2000A.all`` and its columns are described in ReadMe.finals2000A: the rapid values and those foreseen are
    Bulletin A's; where it names a settled one (Bulletin B) the series C04 has the last word (ReadMe.eopc04).
    """
    import astropy_iers_data

    settled = {
        line[16:26].strip(): line[50:62]
        for line in Path(astropy_iers_data.IERS_B_FILE).read_text(encoding="ascii").splitlines()
        if not line.startswith("#")
    }
    days, seconds = [], []
    for line in Path(astropy_iers_data.IERS_A_FILE).read_text(encoding="ascii").splitlines():
        day, rapid, final = line[7:15].strip(), line[58:68].strip(), line[154:165].strip()
        if rapid and line[16] != " ":
            days.append(day)
            seconds.append(settled.get(day, final) if final else rapid)
    return np.array(days, dtype=float), np.array(seconds, dtype=float)


@cache
def know_leap_seconds() -> None:
    """Tells ``erfa`` the leap seconds of the installed tables, which may be younger than its own."""
    import astropy_iers_data
    import erfa

    rows = [
        (int(year), int(month), float(tai_utc))
        for _, _, month, year, tai_utc in (
            line.split()
            for line in Path(astropy_iers_data.IERS_LEAP_SECOND_FILE).read_text(encoding="ascii").splitlines()
            if line.strip() and not line.startswith("#")
        )
    ]
    erfa.leap_seconds.update(np.array(rows, dtype=[("year", "i4"), ("month", "i4"), ("tai_utc", "f8")]))
