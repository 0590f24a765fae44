"""The lowest and the highest altitude of a target between two instants.

A fixed target rises to each upper culmination and sinks to each lower one, so its least and greatest altitudes are
at the ends of a stretch of time or at a culmination in between. A body that moves among the stars culminates a few
minutes away from its transit, and near a pole of the Earth not at all: it is looked at often instead.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SIDEREAL = 1.00273781191135448
"""Turns of the Earth per day of UT1 (IAU 2000)."""


def altitude_range(
    latitude_deg: Floats, declination_deg: Floats, start: Floats, end: Floats, transit: Floats, seen_deg: Floats
) -> tuple[Floats, Floats]:
    """The least and the greatest altitude of fixed targets in degrees, without refraction; one value a target.

    ``declination_deg`` is of date; ``start``, ``end`` and any one upper ``transit`` are in days; ``seen_deg`` holds
    altitudes seen in between, the ends among them, one row an instant. Upper culmination: 90° − |φ − δ|, lower:
    |φ + δ| − 90° (spherical astronomy; the altitude at hour angles 0 and 180°).
    """
    upper = 90.0 - np.abs(latitude_deg - declination_deg)
    lower = np.abs(latitude_deg + declination_deg) - 90.0
    culminates = _holds(start, end, transit)
    anticulminates = _holds(start, end, transit + 0.5 / SIDEREAL)
    greatest = np.maximum(seen_deg.max(axis=0), np.where(culminates, upper, -90.0))
    least = np.minimum(seen_deg.min(axis=0), np.where(anticulminates, lower, 90.0))
    return least, greatest


def moving_range(altitude_deg: Callable[[Floats], Floats], start: float, end: float) -> tuple[float, float]:
    """The least and the greatest altitude of a moving target in degrees, from start to end in days.

    ``altitude_deg`` gives the altitudes at instants in days. It is asked for 96 even steps, a quarter of an hour in a
    day's session, and twice for eighths of the steps around what was found: to 14 seconds in a day, which is 0.06°
    where the target passes through the zenith.
    """
    steps = np.linspace(start, end, 97)
    altitudes = altitude_deg(steps)
    ranges = []
    for sign in (1.0, -1.0):
        when, signed_deg = steps, sign * altitudes
        for _ in range(2):
            at = int(np.argmin(signed_deg))
            when = np.linspace(when[max(at - 1, 0)], when[min(at + 1, len(when) - 1)], 17)
            signed_deg = sign * altitude_deg(when)
        ranges.append(sign * float(signed_deg.min()))
    return min(ranges[0], float(altitudes.min())), max(ranges[1], float(altitudes.max()))


def _holds(start: Floats, end: Floats, moment: Floats) -> NDArray[np.bool_]:
    """Whether a moment that comes back every sidereal day falls between start and end, both included."""
    turns = np.ceil((start - moment) * SIDEREAL)
    return np.asarray(moment + turns / SIDEREAL <= end)
