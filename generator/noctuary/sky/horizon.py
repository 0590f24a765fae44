"""Where the Sun, the Moon, planets and stars are above a place: direction by direction, for many instants at once.

Positions follow the IAU 2000A/2006 models as SOFA publishes them (through ``erfa``): the ICRS place of a
target is brought to the observer's horizon with light deflection, aberration, precession, nutation and Earth
rotation. The Sun and the Earth come from VSOP2000's short series (``epv00``, 0.01″), the Moon from Meeus'
abridged ELP (``moon98``, 10″), planets from Simon et al. 1994 (``plan94``, about 1′ at worst).

Altitudes are geometric, without refraction, and seen from the place itself: the Moon's parallax is in them.
Earth orientation (UT1 − UTC) is read from the installed tables (:mod:`noctuary.sky.earth_rotation`); where they end
zero is taken, which leaves altitudes good to about 0.01° for dates near the tables and 0.1° a few
decades away. Polar motion, below 0.0002°, is left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noctuary.quiet import quiet
from noctuary.sky.earth_rotation import know_leap_seconds, ut1_less_utc_s

Floats = NDArray[np.float64]

PLANETS = {"Mercury": 1, "Venus": 2, "Mars": 4, "Jupiter": 5, "Saturn": 6, "Uranus": 7, "Neptune": 8}
BODIES = ("Sun", "Moon", *PLANETS)
"""Names of the targets that move, as :mod:`noctuary.sky.ephemeris` takes them."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
EPOCH_JD = 2440587.5
LIGHT_DAYS_PER_AU = 499.004782 / 86400


@contextmanager
def earth_orientation_as_shipped() -> Iterator[None]:
    """The leap seconds of the installed tables are known, and nothing warns about far-off years."""
    know_leap_seconds()
    with quiet():
        yield


@dataclass(frozen=True, slots=True)
class Directions:
    """Directions from a place: altitude, azimuth in degrees, hour angle (−π…π) and declination in radians."""

    altitude: Floats
    azimuth: Floats
    hour_angle: Floats
    declination: Floats


class Horizon:
    """Places and instants, and what is seen from each. ``utc`` counts days from 1970; arrays of one length.

    Precession and nutation are taken at ``near``, within a day or so of ``utc``, as they cost most and drift by
    0.3″ a day.
    """

    def __init__(self, utc: Floats, lat: ArrayLike, lon: ArrayLike, high: ArrayLike, near: ArrayLike) -> None:
        import erfa

        ut1 = erfa.utcut1(EPOCH_JD, utc, ut1_less_utc_s(utc))
        self.tt: Floats = terrestrial_days(utc)
        slow = terrestrial_days(np.asarray(near, dtype=float))
        self.earth, barycentric = erfa.epv00(EPOCH_JD, self.tt)
        self.earth_at = barycentric["p"]
        self.astrom = erfa.apco(
            EPOCH_JD, self.tt, barycentric, self.earth["p"], *erfa.xys06a(EPOCH_JD, slow), erfa.era00(*ut1),
            np.radians(lon), np.radians(lat), high, 0.0, 0.0, erfa.sp00(EPOCH_JD, slow), 0.0, 0.0,
        )  # fmt: skip
        self.moon: Floats = erfa.moon98(EPOCH_JD, self.tt)["p"]

    def star(self, ra_deg: ArrayLike, dec_deg: ArrayLike) -> Directions:
        """A fixed target, ICRS degrees."""
        import erfa

        ri, di = erfa.atciq(np.radians(ra_deg), np.radians(dec_deg), 0.0, 0.0, 0.0, 0.0, self.astrom)
        return self._seen(ri, di)

    def body(self, name: str) -> Directions:
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
            elif name in PLANETS:
                planet, lag = PLANETS[name], 0.0
                for _ in range(2):
                    direction = erfa.plan94(EPOCH_JD, self.tt - lag, planet)["p"] - from_sun
                    lag = np.linalg.norm(direction, axis=-1) * LIGHT_DAYS_PER_AU
            else:
                raise ValueError(f"{name!r} is not one of {', '.join(BODIES)}")
            natural = direction / np.linalg.norm(direction, axis=-1, keepdims=True)
            natural = erfa.ab(natural, self.astrom["v"], self.astrom["em"], self.astrom["bm1"])
        ri, di = erfa.c2s(erfa.rxp(self.astrom["bpn"], natural))
        return self._seen(ri, di)

    def _seen(self, ri: Floats, di: Floats) -> Directions:
        import erfa

        azimuth, zenith, hour_angle, declination, _ = erfa.atioq(ri, di, self.astrom)
        altitude = 90.0 - np.degrees(zenith)
        return Directions(altitude, np.degrees(azimuth), np.asarray(hour_angle), np.asarray(declination))


def terrestrial_days(utc: Floats) -> Floats:
    """Terrestrial time from UTC, both in days from 1970."""
    import erfa

    day, rest = erfa.taitt(*erfa.utctai(EPOCH_JD, utc))
    return np.asarray((day - EPOCH_JD) + rest)


def utc_days(times: Sequence[datetime]) -> Floats:
    """Days of UTC from 1970 January 1, 0h."""
    if any(t.tzinfo is None for t in times):
        raise ValueError("a time needs its zone")
    return np.array([(t - _EPOCH).total_seconds() / 86400 for t in times], dtype=float)


def moment(days: float) -> datetime:
    return _EPOCH + timedelta(seconds=round(float(days) * 86400, 3))
