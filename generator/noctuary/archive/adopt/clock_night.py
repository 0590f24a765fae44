"""The evening that a moment belongs to, where the clock leaves no choice.

The dark hours are taken generously, from 17 to 7 by the clock of the place, which is a camera's own.
Universal time leaves the evening open for some hours of the day, unless the longitude is known: 10:00 UT is the late
evening of the same date in New Zealand and the small hours after the evening before in California.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta

_DAWN_H, _DUSK_H = 7.0, 17.0
_WEST_DEG, _EAST_DEG = -158, 180  # Hawaii to New Zealand: where people observe


def night_of_camera_clock(moment: datetime) -> date | None:
    """The date on which the evening of a local clock time began; ``None`` by day, when a clock may be wrong or the
    picture one of the Sun."""
    hour = moment.hour + moment.minute / 60
    if _DAWN_H < hour < _DUSK_H:
        return None
    return (moment - timedelta(hours=12)).date()


def night_of_universal_time(moment: datetime, longitudes_deg: Sequence[float]) -> date | None:
    """The evening of a moment in universal time, the same for every longitude (east positive) at which it was dark.

    Without longitudes all at which people live count. ``None`` where they differ, or where it was day.
    """
    evenings = set()
    for longitude in longitudes_deg or range(_WEST_DEG, _EAST_DEG + 1, 2):
        try:
            local = moment.replace(tzinfo=None) + timedelta(hours=longitude / 15)
            evening = night_of_camera_clock(local)
        except OverflowError:
            return None
        if evening is not None:
            evenings.add(evening)
    return evenings.pop() if len(evenings) == 1 else None
