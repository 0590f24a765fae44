"""The Sun, the Moon and a target above a place: altitude, airmass, moonlight, darkness.

Everything is computed for many sessions at once, because the fixed cost of a call is far above the cost of a
row. Positions follow the IAU 2000A/2006 models as SOFA publishes them (through ``erfa``): the ICRS place of a
target is brought to the observer's horizon with light deflection, aberration, precession, nutation and Earth
rotation. The Sun and the Earth come from VSOP2000's short series (``epv00``, 0.01″), the Moon from Meeus'
abridged ELP (``moon98``, 10″), planets from Simon et al. 1994 (``plan94``, about 1′ at worst).

Altitudes are geometric, without refraction, and seen from the place itself: the Moon's parallax is in them.
Earth orientation (UT1 − UTC) is read from the tables that astropy ships; nothing is ever downloaded, and where
they end zero is taken, which leaves altitudes good to about 0.01° for dates near the tables and 0.1° a few
decades away. Polar motion, below 0.0002°, is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noctuary.geometry import separations_deg
from noctuary.quiet import quiet
from noctuary.sky.culmination import SIDEREAL, altitude_range, moving_range
from noctuary.sky.session_sky import SkyDuring

Floats = NDArray[np.float64]

ASTRONOMICAL_NIGHT_DEG = -18.0
"""Altitude of the Sun's centre below which it is astronomically dark, by definition."""
NAUTICAL_NIGHT_DEG = -12.0
CIVIL_NIGHT_DEG = -6.0

_PLANETS = {"Mercury": 1, "Venus": 2, "Mars": 4, "Jupiter": 5, "Saturn": 6, "Uranus": 7, "Neptune": 8}
BODIES = ("Sun", "Moon", *_PLANETS)
"""Names of the targets that move, as :class:`Observation` and :func:`night_curves` take them."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_EPOCH_JD = 2440587.5
_LIGHT_DAYS_PER_AU = 499.004782 / 86400


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
    with _quiet():
        import erfa

        tt = _terrestrial(_days(times_utc))
        return _as_list(_fraction(erfa.moon98(_EPOCH_JD, tt)["p"], erfa.epv00(_EPOCH_JD, tt)[0]))


def sky_during(observations: Sequence[Observation]) -> list[SkyDuring]:
    """The sky during each session, all sessions in one sweep.

    Right from 1950 to 2060 at least. Raises ``ValueError`` for a body that is not in :data:`BODIES` and for
    a datetime without a zone.
    """
    if not observations:
        return []
    start = _days([o.start_utc for o in observations])
    end = _days([o.end_utc for o in observations])
    middle = (start + end) / 2
    n = len(observations)
    lat = np.array([o.latitude_deg for o in observations], dtype=float)
    lon = np.array([o.longitude_deg for o in observations], dtype=float)
    high = np.array([o.elevation_m for o in observations], dtype=float)

    with _quiet():
        sky = _Horizon(np.concatenate([start, middle, end]), *(np.tile(each, 3) for each in (lat, lon, high, middle)))
        sun = sky.body("Sun")
        moon = sky.body("Moon")
        fraction = _fraction(sky.moon[n : 2 * n], sky.earth[n : 2 * n])
        known, target, transit = _targets(observations, sky, middle)
        least, greatest = _altitude_range(observations, target, lat, start, end, transit)
        separation = separations_deg(target.azimuth[n : 2 * n], target.altitude[n : 2 * n],
                                     moon.azimuth[n : 2 * n], moon.altitude[n : 2 * n])  # fmt: skip
    dark = _dark_share(sun, lat, start, end)
    air = airmass(target.altitude[n : 2 * n])
    columns: list[list[Any]] = [
        *_thirds(np.round(target.altitude, 9)), *_thirds(np.round(target.azimuth % 360, 9) % 360),
        _as_list(air), _as_list(fraction), *_thirds(moon.altitude), _as_list(separation),
        *_thirds(sun.altitude), _as_list(dark), _as_list(np.round(least, 9)), _as_list(np.round(greatest, 9)),
    ]  # fmt: skip
    found = []
    for i, row in enumerate(zip(*columns, strict=True)):
        there = bool(known[i])
        height = row[:6] if there else (None,) * 6
        found.append(
            SkyDuring(
                target_altitude_start_deg=height[0],
                target_altitude_middle_deg=height[1],
                target_altitude_end_deg=height[2],
                target_altitude_least_deg=row[16] if there else None,
                target_altitude_greatest_deg=row[17] if there else None,
                target_azimuth_start_deg=height[3],
                target_azimuth_middle_deg=height[4],
                target_azimuth_end_deg=height[5],
                transit_utc=_moment(transit[i]) if there else None,
                crosses_transit=bool(start[i] <= transit[i] <= end[i]) if there else None,
                airmass_middle=row[6] if there and row[1] > 0 else None,
                moon_illuminated_fraction=row[7],
                moon_altitude_start_deg=row[8],
                moon_altitude_middle_deg=row[9],
                moon_altitude_end_deg=row[10],
                moon_separation_deg=row[11] if there and observations[i].body != "Moon" else None,
                sun_altitude_start_deg=row[12],
                sun_altitude_middle_deg=row[13],
                sun_altitude_end_deg=row[14],
                dark_share=row[15],
            )
        )
    return found


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
    first, last = _days([start_utc, end_utc])
    if step_minutes <= 0 or last < first:
        raise ValueError("a night's curves need a step above 0 and an end after the start")
    utc = np.linspace(first, last, int(np.ceil((last - first) * 1440 / step_minutes - 1e-9)) + 1)
    with _quiet():
        middle = (first + last) / 2
        sky = _Horizon(utc, latitude_deg, longitude_deg, elevation_m, middle)
        curves = [sky.body(t) if isinstance(t, str) else sky.star(t[0], t[1]) for t in targets]
        moon, sun = sky.body("Moon"), sky.body("Sun")
    fraction = illuminated_fraction([_moment(middle)])[0]
    return NightCurves(
        [_moment(t) for t in utc],
        [_as_list(c.altitude) for c in curves],
        _as_list(moon.altitude),
        _as_list(sun.altitude),
        fraction,
    )


def darkness(
    nights: Sequence[tuple[float, float, datetime]],
) -> list[tuple[datetime, datetime] | None]:
    """From when to when it is astronomically dark, each night between two upper transits of the Sun.

    A night is latitude and longitude in degrees (positive east) and an instant (aware) around the noon before it: the
    transit nearest to that begins it. Times in UTC, good to a few seconds; ``None`` where the Sun's centre stays
    above −18°. Raises ``ValueError`` for a datetime without a zone.
    """
    if not nights:
        return []
    noon = _days([n[2] for n in nights])
    lat, lon = (np.array([n[k] for n in nights], dtype=float) for k in (0, 1))

    def sun_at(days: Floats) -> _Seen:
        there = (np.tile(each, len(days) // len(noon)) for each in (lat, lon, 0.0 * lat, noon))
        return _Horizon(days, *there).body("Sun")

    with _quiet():
        first = noon - sun_at(noon).hour_angle / (2 * np.pi)
        sun = sun_at(np.concatenate([first, first + 0.5, first + 1.0]))
    dec0, dec1, dec2 = np.split(sun.declination, 3)
    # From transit to transit the hour angle is a turn, what is missing to it being the equation of time's change.
    start, rest = sun.hour_angle[: len(noon)], (sun.hour_angle[2 * len(noon) :] - sun.hour_angle[: len(noon)])
    turn = 2 * np.pi + (rest + np.pi) % (2 * np.pi) - np.pi
    u = np.linspace(0.0, 1.0, 1441)
    found: list[tuple[datetime, datetime] | None] = []
    for i in range(len(noon)):
        a, b, c = dec0[i], dec1[i], dec2[i]
        dec = a + u * (4 * b - 3 * a - c) + u**2 * (2 * a + 2 * c - 4 * b)
        below = ASTRONOMICAL_NIGHT_DEG - altitude_from_hour_angle(np.radians(lat[i]), dec, start[i] + u * turn[i])
        dark = np.flatnonzero(below > 0)
        if not len(dark):
            found.append(None)
            continue
        dusk, dawn = (_crossing(u, below, int(dark[0]), -1), _crossing(u, below, int(dark[-1]), 1))
        found.append((_moment(first[i] + dusk), _moment(first[i] + dawn)))
    return found


def _crossing(u: Floats, values: Floats, inside: int, step: int) -> float:
    """Where values on an even grid cross zero between an index above zero and its neighbour; the grid's end else."""
    outside = inside + step
    if not 0 <= outside < len(u):
        return float(u[inside])
    return float(u[inside] + (u[outside] - u[inside]) * values[inside] / (values[inside] - values[outside]))


def positive_share(values: Floats) -> Floats:
    """Share of the last axis on which a line through evenly spaced values lies above zero."""
    a, b = values[..., :-1], values[..., 1:]
    top, bottom = np.maximum(a, b), np.minimum(a, b)
    span = np.where(top > bottom, top - bottom, 1.0)
    part = np.where(bottom >= 0, np.where(top > 0, 1.0, 0.0), np.clip(top / span, 0.0, 1.0))
    return np.asarray(part.mean(axis=-1))


def altitude_from_hour_angle(lat: Any, dec: Any, hour_angle: Any) -> Floats:
    """Altitude in degrees from radians."""
    sine = np.sin(lat) * np.sin(dec) + np.cos(lat) * np.cos(dec) * np.cos(hour_angle)
    return np.asarray(np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0))))


@contextmanager
def _quiet() -> Iterator[None]:
    """No download of Earth orientation, no refusal of old tables, and no warning about far-off years.

    Without ``auto_max_age`` astropy refuses dates after tables that are more than a month old, which would
    stop an archive from being built with the same packages some years on.
    """
    from astropy.utils import iers

    conf = iers.conf
    with (
        conf.set_temp("auto_download", False),
        conf.set_temp("auto_max_age", None),
        conf.set_temp("iers_degraded_accuracy", "ignore"),
        quiet(),
    ):
        yield


@dataclass(frozen=True, slots=True)
class _Seen:
    """Directions from a place: altitude, azimuth in degrees, hour angle (−π…π) and declination in radians."""

    altitude: Floats
    azimuth: Floats
    hour_angle: Floats
    declination: Floats


class _Horizon:
    """Places and instants, and what is seen from each. ``utc`` counts days from 1970; arrays of one length.

    Precession and nutation are taken at ``near``, within a day or so of ``utc``, as they cost most and drift by
    0.3″ a day.
    """

    def __init__(self, utc: Floats, lat: ArrayLike, lon: ArrayLike, high: ArrayLike, near: ArrayLike) -> None:
        import erfa
        from astropy.utils import iers

        dut1, status = iers.earth_orientation_table.get().ut1_utc(_EPOCH_JD, utc, return_status=True)
        outside = (status == iers.TIME_BEFORE_IERS_RANGE) | (status == iers.TIME_BEYOND_IERS_RANGE)
        ut1 = erfa.utcut1(_EPOCH_JD, utc, np.where(outside, 0.0, np.asarray(dut1.to_value("s"))))
        self.tt: Floats = _terrestrial(utc)
        slow = _terrestrial(np.asarray(near, dtype=float))
        self.earth, barycentric = erfa.epv00(_EPOCH_JD, self.tt)
        self.earth_at = barycentric["p"]
        self.astrom = erfa.apco(
            _EPOCH_JD, self.tt, barycentric, self.earth["p"], *erfa.xys06a(_EPOCH_JD, slow), erfa.era00(*ut1),
            np.radians(lon), np.radians(lat), high, 0.0, 0.0, erfa.sp00(_EPOCH_JD, slow), 0.0, 0.0,
        )  # fmt: skip
        self.moon: Floats = erfa.moon98(_EPOCH_JD, self.tt)["p"]

    def star(self, ra_deg: ArrayLike, dec_deg: ArrayLike) -> _Seen:
        """A fixed target, ICRS degrees."""
        import erfa

        ri, di = erfa.atciq(np.radians(ra_deg), np.radians(dec_deg), 0.0, 0.0, 0.0, 0.0, self.astrom)
        return self._seen(ri, di)

    def body(self, name: str) -> _Seen:
        """The Sun, the Moon or a planet."""
        import erfa

        from_sun = self.astrom["eh"] * self.astrom["em"][..., None]
        if name == "Moon":
            # The Moon moves along with the Earth: light time and aberration cancel to 0.7″.
            direction = self.moon - (self.astrom["eb"] - self.earth_at)
            natural = direction / np.linalg.norm(direction, axis=-1, keepdims=True)
        else:
            if name == "Sun":
                direction = -from_sun
            elif name in _PLANETS:
                planet, lag = _PLANETS[name], 0.0
                for _ in range(2):
                    direction = erfa.plan94(_EPOCH_JD, self.tt - lag, planet)["p"] - from_sun
                    lag = np.linalg.norm(direction, axis=-1) * _LIGHT_DAYS_PER_AU
            else:
                raise ValueError(f"{name!r} is not one of {', '.join(BODIES)}")
            natural = direction / np.linalg.norm(direction, axis=-1, keepdims=True)
            natural = erfa.ab(natural, self.astrom["v"], self.astrom["em"], self.astrom["bm1"])
        ri, di = erfa.c2s(erfa.rxp(self.astrom["bpn"], natural))
        return self._seen(ri, di)

    def _seen(self, ri: Floats, di: Floats) -> _Seen:
        import erfa

        azimuth, zenith, hour_angle, declination, _ = erfa.atioq(ri, di, self.astrom)
        return _Seen(90.0 - np.degrees(zenith), np.degrees(azimuth), np.asarray(hour_angle), np.asarray(declination))


def _targets(observations: Sequence[Observation], sky: _Horizon, middle: Floats) -> tuple[Any, _Seen, Floats]:
    """Which observations have a target, where it is at start, middle and end, and its transit (days)."""
    n = len(observations)
    bodies = np.array([o.body or "" for o in observations])
    nowhere = float("nan")
    ra = np.array([nowhere if o.body or o.ra_deg is None else o.ra_deg for o in observations], dtype=float)
    dec = np.array([nowhere if o.body or o.dec_deg is None else o.dec_deg for o in observations], dtype=float)
    fixed = np.isfinite(ra) & np.isfinite(dec)
    ra, dec = np.where(fixed, ra, 0.0), np.where(fixed, dec, 0.0)
    seen = sky.star(np.tile(ra, 3), np.tile(dec, 3))
    transit = middle - seen.hour_angle[n : 2 * n] / (2 * np.pi * SIDEREAL)
    for name in sorted(set(bodies.tolist()) - {""}):
        rows = np.flatnonzero(bodies == name)
        moving = sky.body(name)
        every = np.concatenate([rows, rows + n, rows + 2 * n])
        for mine, theirs in zip(
            (seen.altitude, seen.azimuth, seen.hour_angle, seen.declination),
            (moving.altitude, moving.azimuth, moving.hour_angle, moving.declination),
            strict=True,
        ):
            mine[every] = theirs[every]
        theirs_only = [observations[int(i)] for i in rows]
        lat = np.array([o.latitude_deg for o in theirs_only], dtype=float)
        lon = np.array([o.longitude_deg for o in theirs_only], dtype=float)
        high = np.array([o.elevation_m for o in theirs_only], dtype=float)
        when = middle[rows] - seen.hour_angle[rows + n] / (2 * np.pi * SIDEREAL)
        for _ in range(3):
            when = when - _Horizon(when, lat, lon, high, when).body(name).hour_angle / (2 * np.pi * SIDEREAL)
        transit[rows] = when
    return fixed | (bodies != ""), seen, transit


def _altitude_range(
    observations: Sequence[Observation], target: _Seen, lat: Floats, start: Floats, end: Floats, transit: Floats
) -> tuple[Floats, Floats]:
    """The least and the greatest altitude of each target from start to end; ``target`` at start, middle and end."""
    n = len(observations)
    seen = target.altitude.reshape(3, n)
    least, greatest = altitude_range(lat, np.degrees(target.declination[n : 2 * n]), start, end, transit, seen)
    for i, o in enumerate(observations):
        if o.body:
            low, high = moving_range(_altitude_of(o, middle=float(start[i] + end[i]) / 2), start[i], end[i])
            least[i], greatest[i] = min(low, seen[:, i].min()), max(high, seen[:, i].max())
    return least, greatest


def _altitude_of(o: Observation, middle: float) -> Callable[[Floats], Floats]:
    """The altitude in degrees of an observation's body at instants in days."""

    def altitude(when: Floats) -> Floats:
        there = _Horizon(when, o.latitude_deg, o.longitude_deg, o.elevation_m, middle)
        return there.body(o.body or "").altitude

    return altitude


def _dark_share(sun: _Seen, lat_deg: Floats, start: Floats, end: Floats) -> Floats:
    """Share of each session with the Sun below −18°, from its place at start, middle and end.

    The Sun's hour angle grows evenly and its declination as a parabola, to well under an arcminute within a
    night; 1,024 pieces a session bound the error of a night that only grazes −18° to a thousandth.
    """
    n = len(start)
    dec0, dec1, dec2 = sun.declination[:n], sun.declination[n : 2 * n], sun.declination[2 * n :]
    turned = 2 * np.pi * (end - start)  # the mean Sun's turn tells how many whole turns lie between
    first = sun.hour_angle[:n]
    rest = sun.hour_angle[2 * n :] - first - turned
    last = first + turned + (rest + np.pi) % (2 * np.pi) - np.pi
    lat = np.radians(lat_deg)
    share = np.empty(n)
    u = np.linspace(0.0, 1.0, 1025)
    for i in range(0, n, 256):  # a few megabytes at a time
        j = slice(i, i + 256)
        a, b, c = dec0[j, None], dec1[j, None], dec2[j, None]
        dec = a + u * (4 * b - 3 * a - c) + u**2 * (2 * a + 2 * c - 4 * b)
        hour = first[j, None] + u * (last - first)[j, None]
        share[j] = positive_share(ASTRONOMICAL_NIGHT_DEG - altitude_from_hour_angle(lat[j, None], dec, hour))
    return share


def _fraction(moon: Floats, earth: Any) -> Floats:
    """Illuminated fraction, from the Moon as the Earth sees it and the Earth's place and motion round the Sun."""
    # The Sun where it is seen, as almanacs and Meeus have it: aberration of 20.5″ is 0.00005 of the disc.
    far = np.linalg.norm(earth["p"], axis=-1, keepdims=True)
    sun = earth["v"] * far * _LIGHT_DAYS_PER_AU - earth["p"] - moon
    cosine = -(moon * sun).sum(-1) / np.linalg.norm(moon, axis=-1) / np.linalg.norm(sun, axis=-1)
    return np.asarray((1 + cosine) / 2)


def _terrestrial(utc: Floats) -> Floats:
    """Terrestrial time from UTC, both in days from 1970."""
    import erfa

    day, rest = erfa.taitt(*erfa.utctai(_EPOCH_JD, utc))
    return np.asarray((day - _EPOCH_JD) + rest)


def _days(times: Sequence[datetime]) -> Floats:
    """Days of UTC from 1970 January 1, 0h."""
    if any(t.tzinfo is None for t in times):
        raise ValueError("a time needs its zone")
    return np.array([(t - _EPOCH).total_seconds() / 86400 for t in times], dtype=float)


def _moment(days: float) -> datetime:
    return _EPOCH + timedelta(seconds=round(float(days) * 86400, 3))


def _thirds(values: Floats) -> list[list[float]]:
    return [_as_list(part) for part in np.split(values, 3)]


def _as_list(values: Floats) -> list[float]:
    return [float(v) for v in values]
