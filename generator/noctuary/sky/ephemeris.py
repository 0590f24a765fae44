"""The Sun, the Moon and a target above a place: altitude, airmass, moonlight, darkness.

Everything is computed for many sessions at once, because the fixed cost of a call is far above the cost of a
row. Altitudes are geometric, without refraction, and seen from the place itself: the Moon's parallax is in them.
See :mod:`noctuary.sky.horizon` for the models behind the directions.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from noctuary.geometry import separations_deg
from noctuary.sky.culmination import SIDEREAL, altitude_range, moving_range
from noctuary.sky.darkness import dark_share
from noctuary.sky.horizon import (
    EPOCH_JD,
    LIGHT_DAYS_PER_AU,
    Directions,
    Floats,
    Horizon,
    earth_orientation_as_shipped,
    moment,
    terrestrial_days,
    utc_days,
)
from noctuary.sky.session_sky import SkyDuring


@dataclass(frozen=True, slots=True)
class Observation:
    """A session as the sky sees it: where, from when to when (aware, any zone) and at what.

    Longitude is positive east. The target is ``ra_deg`` and ``dec_deg`` (ICRS), or a ``body`` of
    :data:`BODIES`, or neither when it is not known.
    """

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    start_utc: datetime
    end_utc: datetime
    ra_deg: float | None = None
    dec_deg: float | None = None
    body: str | None = None


@dataclass(frozen=True, slots=True)
class NightCurves:
    """Altitudes in degrees through a night, one value per time; ``targets_deg`` has one list per target."""

    times_utc: list[datetime]
    targets_deg: list[list[float]]
    moon_deg: list[float]
    sun_deg: list[float]
    moon_illuminated_fraction: float


def airmass(altitude_deg: ArrayLike) -> Floats:
    """Relative optical airmass at an altitude in degrees, any shape; nan at or below 0°.

    Kasten & Young 1989, Applied Optics 28, 4735: 1 at the zenith, about 38 at the horizon. Their altitude is
    the apparent one; from the geometric altitude the result is right to 1 % above 10°.
    """
    altitude = np.asarray(altitude_deg, dtype=float)
    up = altitude > 0
    safe = np.where(up, altitude, 90.0)
    value = 1 / (np.sin(np.radians(safe)) + 0.50572 * (safe + 6.07995) ** -1.6364)
    return np.where(up, value, np.nan)


def pole_altitude_deg(latitude_deg: float) -> float:
    """Altitude of the celestial pole that is up, which equals the latitude without its sign."""
    return abs(latitude_deg)


def illuminated_fraction(times_utc: Sequence[datetime]) -> list[float]:
    """Illuminated fraction of the Moon's disc, 0…1, seen from the Earth's centre (Meeus, ch. 48)."""
    if not times_utc:
        return []
    with earth_orientation_as_shipped():
        import erfa

        tt = terrestrial_days(utc_days(times_utc))
        return _as_list(_fraction(erfa.moon98(EPOCH_JD, tt)["p"], erfa.epv00(EPOCH_JD, tt)[0]))


def sky_during(observations: Sequence[Observation]) -> list[SkyDuring]:
    """The sky during each session, all sessions in one sweep.

    Right from 1950 to 2060 at least. Raises ``ValueError`` for a body that is not in :data:`BODIES` and for
    a datetime without a zone.
    """
    if not observations:
        return []
    start = utc_days([o.start_utc for o in observations])
    end = utc_days([o.end_utc for o in observations])
    middle = (start + end) / 2
    n = len(observations)
    lat = np.array([o.latitude_deg for o in observations], dtype=float)
    lon = np.array([o.longitude_deg for o in observations], dtype=float)
    high = np.array([o.elevation_m for o in observations], dtype=float)

    with earth_orientation_as_shipped():
        sky = Horizon(np.concatenate([start, middle, end]), *(np.tile(each, 3) for each in (lat, lon, high, middle)))
        sun = sky.body("Sun")
        moon = sky.body("Moon")
        fraction = _fraction(sky.moon[n : 2 * n], sky.earth[n : 2 * n])
        known, target, transit = _targets(observations, sky, middle)
        least, greatest = _altitude_range(observations, target, lat, start, end, transit)
        separation = separations_deg(target.azimuth[n : 2 * n], target.altitude[n : 2 * n],
                                     moon.azimuth[n : 2 * n], moon.altitude[n : 2 * n])  # fmt: skip
    dark = dark_share(sun, lat, start, end)
    air = airmass(target.altitude[n : 2 * n])
    columns: list[list[Any]] = [
        *_thirds(np.round(target.altitude, 9)), *_thirds(np.round(target.azimuth % 360, 9) % 360),
        _as_list(air), _as_list(fraction), *_thirds(moon.altitude), _as_list(separation),
        *_thirds(sun.altitude), _as_list(dark), _as_list(np.round(least, 9)), _as_list(np.round(greatest, 9)),
    ]  # fmt: skip
    results = []
    for i, row in enumerate(zip(*columns, strict=True)):
        has_target = bool(known[i])
        height = row[:6] if has_target else (None,) * 6
        results.append(
            SkyDuring(
                target_altitude_start_deg=height[0],
                target_altitude_middle_deg=height[1],
                target_altitude_end_deg=height[2],
                target_altitude_least_deg=row[16] if has_target else None,
                target_altitude_greatest_deg=row[17] if has_target else None,
                target_azimuth_start_deg=height[3],
                target_azimuth_middle_deg=height[4],
                target_azimuth_end_deg=height[5],
                transit_utc=moment(transit[i]) if has_target else None,
                crosses_transit=bool(start[i] <= transit[i] <= end[i]) if has_target else None,
                airmass_middle=row[6] if has_target and row[1] > 0 else None,
                moon_illuminated_fraction=row[7],
                moon_altitude_start_deg=row[8],
                moon_altitude_middle_deg=row[9],
                moon_altitude_end_deg=row[10],
                moon_separation_deg=row[11] if has_target and observations[i].body != "Moon" else None,
                sun_altitude_start_deg=row[12],
                sun_altitude_middle_deg=row[13],
                sun_altitude_end_deg=row[14],
                dark_share=row[15],
            )
        )
    return results


def night_curves(
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    start_utc: datetime,
    end_utc: datetime,
    step_minutes: float,
    targets: Sequence[tuple[float, float] | str],
) -> NightCurves:
    """Altitudes from start to end, both included, at steps no longer than ``step_minutes``.

    A target is (RA, Dec) in degrees, ICRS, or a name of :data:`BODIES`. Raises ``ValueError`` for another
    name, a step that is not positive, or an end before the start.
    """
    first, last = utc_days([start_utc, end_utc])
    if step_minutes <= 0 or last < first:
        raise ValueError("a night's curves need a step above 0 and an end after the start")
    utc = np.linspace(first, last, int(np.ceil((last - first) * 1440 / step_minutes - 1e-9)) + 1)
    with earth_orientation_as_shipped():
        middle = (first + last) / 2
        sky = Horizon(utc, latitude_deg, longitude_deg, elevation_m, middle)
        curves = [sky.body(t) if isinstance(t, str) else sky.star(t[0], t[1]) for t in targets]
        moon, sun = sky.body("Moon"), sky.body("Sun")
    fraction = illuminated_fraction([moment(middle)])[0]
    return NightCurves(
        [moment(t) for t in utc],
        [_as_list(c.altitude) for c in curves],
        _as_list(moon.altitude),
        _as_list(sun.altitude),
        fraction,
    )


def _targets(observations: Sequence[Observation], sky: Horizon, middle: Floats) -> tuple[Any, Directions, Floats]:
    """Which observations have a target, where it is at start, middle and end, and its transit (days)."""
    n = len(observations)
    bodies = np.array([o.body or "" for o in observations])
    nowhere = float("nan")
    ra = np.array([nowhere if o.body or o.ra_deg is None else o.ra_deg for o in observations], dtype=float)
    dec = np.array([nowhere if o.body or o.dec_deg is None else o.dec_deg for o in observations], dtype=float)
    fixed = np.isfinite(ra) & np.isfinite(dec)
    ra, dec = np.where(fixed, ra, 0.0), np.where(fixed, dec, 0.0)
    stars = sky.star(np.tile(ra, 3), np.tile(dec, 3))
    transit = middle - stars.hour_angle[n : 2 * n] / (2 * np.pi * SIDEREAL)
    for name in sorted(set(bodies.tolist()) - {""}):
        rows = np.flatnonzero(bodies == name)
        moving = sky.body(name)
        every = np.concatenate([rows, rows + n, rows + 2 * n])
        for mine, theirs in zip(
            (stars.altitude, stars.azimuth, stars.hour_angle, stars.declination),
            (moving.altitude, moving.azimuth, moving.hour_angle, moving.declination),
            strict=True,
        ):
            mine[every] = theirs[every]
        theirs_only = [observations[int(i)] for i in rows]
        lat = np.array([o.latitude_deg for o in theirs_only], dtype=float)
        lon = np.array([o.longitude_deg for o in theirs_only], dtype=float)
        high = np.array([o.elevation_m for o in theirs_only], dtype=float)
        when = middle[rows] - stars.hour_angle[rows + n] / (2 * np.pi * SIDEREAL)
        for _ in range(3):
            when = when - Horizon(when, lat, lon, high, when).body(name).hour_angle / (2 * np.pi * SIDEREAL)
        transit[rows] = when
    return fixed | (bodies != ""), stars, transit


def _altitude_range(
    observations: Sequence[Observation], target: Directions, lat: Floats, start: Floats, end: Floats, transit: Floats
) -> tuple[Floats, Floats]:
    """The least and the greatest altitude of each target from start to end; ``target`` at start, middle and end."""
    n = len(observations)
    altitudes = target.altitude.reshape(3, n)
    least, greatest = altitude_range(lat, np.degrees(target.declination[n : 2 * n]), start, end, transit, altitudes)
    for i, o in enumerate(observations):
        if o.body:
            low, high = moving_range(_altitude_of(o, middle=float(start[i] + end[i]) / 2), start[i], end[i])
            least[i], greatest[i] = min(low, altitudes[:, i].min()), max(high, altitudes[:, i].max())
    return least, greatest


def _altitude_of(o: Observation, middle: float) -> Callable[[Floats], Floats]:
    """The altitude in degrees of an observation's body at instants in days."""

    def altitude(when: Floats) -> Floats:
        horizon = Horizon(when, o.latitude_deg, o.longitude_deg, o.elevation_m, middle)
        return horizon.body(o.body or "").altitude

    return altitude


def _fraction(moon: Floats, earth: Any) -> Floats:
    """Illuminated fraction, from the Moon as the Earth sees it and the Earth's place and motion round the Sun."""
    # The Sun where it is seen, as almanacs and Meeus have it: aberration of 20.5″ is 0.00005 of the disc.
    far = np.linalg.norm(earth["p"], axis=-1, keepdims=True)
    sun = earth["v"] * far * LIGHT_DAYS_PER_AU - earth["p"] - moon
    cosine = -(moon * sun).sum(-1) / np.linalg.norm(moon, axis=-1) / np.linalg.norm(sun, axis=-1)
    return np.asarray((1 + cosine) / 2)


def _thirds(values: Floats) -> list[list[float]]:
    return [_as_list(part) for part in np.split(values, 3)]


def _as_list(values: Floats) -> list[float]:
    return [float(v) for v in values]
