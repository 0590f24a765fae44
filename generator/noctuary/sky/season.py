"""A target's season: how long it is up in darkness on each night of a year, and its best month."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from noctuary.sky.darkness import ASTRONOMICAL_NIGHT_DEG, altitude_from_hour_angle, positive_share


@dataclass(frozen=True, slots=True)
class SeasonCurve:
    """For each date of a year: hours of the night that begins on it, up and dark, and dark at all."""

    dates: list[date]
    hours_up: list[float]
    dark_hours: list[float]


def season(
    latitude_deg: float, longitude_deg: float, ra_deg: float, dec_deg: float, year: int, horizon_deg: float
) -> SeasonCurve:
    """Hours of astronomical darkness with a target above a limit, for the night after each date of a year.

    A night runs from local mean noon of its date to the next. Hours are good to about two minutes: the Sun
    by the Astronomical Almanac's low-precision formulae (0.02°, 1950–2060), mean sidereal time, precession by
    Lieske 1977, no nutation, aberration or refraction.
    """
    first = date(year, 1, 1)
    nights = (date(year + 1, 1, 1) - first).days
    noon = (first - date(2000, 1, 1)).days + np.arange(nights) - longitude_deg / 360
    # Days since J2000.0, which is noon of 1 January 2000; steps of four minutes, straight lines between them.
    d = noon[:, None] + np.linspace(0.0, 1.0, 361)
    sidereal = np.radians(280.46061837 + 360.98564736629 * d + longitude_deg)
    lat = np.radians(latitude_deg)

    anomaly = np.radians(357.528 + 0.9856003 * d)
    ecliptic = np.radians(280.460 + 0.9856474 * d + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2 * anomaly))
    tilt = np.radians(23.439 - 0.0000004 * d)
    sun_ra = np.arctan2(np.cos(tilt) * np.sin(ecliptic), np.cos(ecliptic))
    sun_dec = np.arcsin(np.sin(tilt) * np.sin(ecliptic))
    sun = altitude_from_hour_angle(lat, sun_dec, sidereal - sun_ra)
    ra, dec = _of_date(ra_deg, dec_deg, (noon[0] + noon[-1]) / 2)
    target = altitude_from_hour_angle(lat, dec, sidereal - ra)

    darkness = ASTRONOMICAL_NIGHT_DEG - sun
    return SeasonCurve(
        [first + timedelta(days=i) for i in range(nights)],
        (24 * positive_share(np.minimum(darkness, target - horizon_deg))).tolist(),
        (24 * positive_share(darkness)).tolist(),
    )


def month_hours(curve: SeasonCurve) -> tuple[float, ...]:
    """Hours a night, dark and above the limit, averaged over the nights of each month from January to December.

    The average, not the sum: February has two or three nights fewer than its neighbours, and is no worse for it.
    """
    sums, nights = [0.0] * 12, [0] * 12
    for day, hours in zip(curve.dates, curve.hours_up, strict=True):
        sums[day.month - 1] += hours
        nights[day.month - 1] += 1
    return tuple(total / count if count else 0.0 for total, count in zip(sums, nights, strict=True))


def best_month(curve: SeasonCurve) -> int | None:
    """The month (1 to 12) with most hours a night, dark and above the limit; ``None`` where there are none."""
    by_month = month_hours(curve)
    best = max(range(12), key=lambda m: by_month[m])
    return best + 1 if by_month[best] > 0 else None


def _of_date(ra_deg: float, dec_deg: float, days: float) -> tuple[float, float]:
    """Mean place of date in radians from J2000, days from J2000.0; Lieske 1977 as in Meeus, ch. 21."""
    t = days / 36525
    zeta, z, theta = (
        np.radians(p / 3600)
        for p in (
            2306.2181 * t + 0.30188 * t**2 + 0.017998 * t**3,
            2306.2181 * t + 1.09468 * t**2 + 0.018203 * t**3,
            2004.3109 * t - 0.42665 * t**2 - 0.041833 * t**3,
        )
    )
    ra, dec = np.radians(ra_deg) + zeta, np.radians(dec_deg)
    a = np.cos(dec) * np.sin(ra)
    b = np.cos(theta) * np.cos(dec) * np.cos(ra) - np.sin(theta) * np.sin(dec)
    c = np.sin(theta) * np.cos(dec) * np.cos(ra) + np.cos(theta) * np.sin(dec)
    return float(np.arctan2(a, b) + z), float(np.arctan2(c, np.hypot(a, b)))
