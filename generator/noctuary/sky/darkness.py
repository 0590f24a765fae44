"""When it is astronomically dark: from when to when in a night, and in what share of a session."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import numpy as np

from noctuary.sky.horizon import Directions, Floats, Horizon, earth_orientation_as_shipped, moment, utc_days

ASTRONOMICAL_NIGHT_DEG = -18.0
"""Altitude of the Sun's centre below which it is astronomically dark, by definition."""


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
    noon = utc_days([n[2] for n in nights])
    lat, lon = (np.array([n[k] for n in nights], dtype=float) for k in (0, 1))

    def sun_at(days: Floats) -> Directions:
        observers = (np.tile(each, len(days) // len(noon)) for each in (lat, lon, 0.0 * lat, noon))
        return Horizon(days, *observers).body("Sun")

    with earth_orientation_as_shipped():
        first = noon - sun_at(noon).hour_angle / (2 * np.pi)
        sun = sun_at(np.concatenate([first, first + 0.5, first + 1.0]))
    dec0, dec1, dec2 = np.split(sun.declination, 3)
    # From transit to transit the hour angle is a turn, what is missing to it being the equation of time's change.
    start, rest = sun.hour_angle[: len(noon)], (sun.hour_angle[2 * len(noon) :] - sun.hour_angle[: len(noon)])
    turn = 2 * np.pi + (rest + np.pi) % (2 * np.pi) - np.pi
    u = np.linspace(0.0, 1.0, 1441)
    intervals: list[tuple[datetime, datetime] | None] = []
    for i in range(len(noon)):
        a, b, c = dec0[i], dec1[i], dec2[i]
        dec = a + u * (4 * b - 3 * a - c) + u**2 * (2 * a + 2 * c - 4 * b)
        below = ASTRONOMICAL_NIGHT_DEG - altitude_from_hour_angle(np.radians(lat[i]), dec, start[i] + u * turn[i])
        dark = np.flatnonzero(below > 0)
        if not len(dark):
            intervals.append(None)
            continue
        dusk, dawn = (_crossing(u, below, int(dark[0]), -1), _crossing(u, below, int(dark[-1]), 1))
        intervals.append((moment(first[i] + dusk), moment(first[i] + dawn)))
    return intervals


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


def dark_share(sun: Directions, lat_deg: Floats, start: Floats, end: Floats) -> Floats:
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
