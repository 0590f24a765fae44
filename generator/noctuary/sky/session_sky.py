"""The sky during a session: kept apart from the engine that works it out, which is slow to load."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class SkyDuring:
    """The sky at start, middle (half-way) and end of a session; ``None`` where there is no target.

    Altitudes −90…90 without refraction, the least and the greatest of the target's over the whole session, its
    culminations included; azimuths 0…360 from north through east; ``airmass_middle`` is absent at or below the
    horizon; ``transit_utc`` is the upper transit nearest the middle; the Moon's illuminated fraction (0…1, from the
    Earth's centre) and its distance from the target hold for the middle, the distance ``None`` where the Moon is the
    target; ``dark_share`` (0…1) is the share of the session with the Sun's centre below −18°.
    """

    target_altitude_start_deg: float | None
    target_altitude_middle_deg: float | None
    target_altitude_end_deg: float | None
    target_altitude_least_deg: float | None
    target_altitude_greatest_deg: float | None
    target_azimuth_start_deg: float | None
    target_azimuth_middle_deg: float | None
    target_azimuth_end_deg: float | None
    transit_utc: datetime | None
    crosses_transit: bool | None
    airmass_middle: float | None
    moon_illuminated_fraction: float
    moon_altitude_start_deg: float
    moon_altitude_middle_deg: float
    moon_altitude_end_deg: float
    moon_separation_deg: float | None
    sun_altitude_start_deg: float
    sun_altitude_middle_deg: float
    sun_altitude_end_deg: float
    dark_share: float
