"""Where a FITS header says that the telescope stood and pointed, in the usual keywords and spellings.

A coordinate that cannot be is ``None`` and named, so that the person hears of it; the site's value never is.
"""

from __future__ import annotations

from collections.abc import Mapping

from noctuary.archive.gather.frame_header import finite
from noctuary.quantity import NotAQuantity
from noctuary.sexagesimal import read_coordinates, read_latitude, read_longitude

Cards = Mapping[str, str | float | bool]
Position = tuple[float, float]

_SITE = (
    ("SITELAT", "LAT-OBS", "OBSLAT", "OBS-LAT", "LATITUDE", "GEOLAT", "SITE-LAT"),
    ("SITELONG", "SITELON", "LONG-OBS", "OBSLONG", "OBS-LONG", "LONGITUD", "GEOLON", "SITE-LON"),
)
# A solution of the picture's own stars comes first, then what a mount said; text counts right ascension in hours.
_POINTING = (
    ("OBJCTRA", "OBJCTDEC"), ("RA", "DEC"), ("RA_OBJ", "DEC_OBJ"), ("RA_TARG", "DEC_TARG"), ("TELRA", "TELDEC"),
)  # fmt: skip


def site_of(cards: Cards) -> tuple[Position | None, str | None]:
    """Latitude and longitude in degrees, north and east positive; and what is wrong, where they cannot be."""
    north, east = (next((cards[n] for n in names if n in cards and cards[n] != ""), None) for names in _SITE)
    if north is None or east is None:
        return None, None
    latitude, longitude = _on_earth(north, 90), _on_earth(east, 360)
    if latitude is None or longitude is None:
        return None, "a site that is not on the Earth"
    if latitude == 0 and longitude == 0:
        return None, None
    return (latitude, (longitude + 180) % 360 - 180), None


def _on_earth(value: str | float | bool, most: float) -> float | None:
    if not isinstance(value, str):
        return finite(value, -most, most)
    try:
        return read_latitude(value) if most == 90 else read_longitude(value)
    except NotAQuantity:
        pass
    try:
        return finite(float(value), -most, most)  # longitudes are also counted to 360
    except ValueError:
        return None


def pointing_of(cards: Cards) -> tuple[Position | None, str | None]:
    """Right ascension and declination in degrees; and what is wrong, where they cannot be."""
    if str(cards.get("CTYPE1", "")).startswith("RA---"):
        ra, dec = finite(cards.get("CRVAL1"), 0, 360), finite(cards.get("CRVAL2"), -90, 90)
        if ra is not None and dec is not None:
            return (ra % 360, dec), None
    wrong: str | None = None
    for names in _POINTING:
        ra_written, dec_written = (cards.get(name) for name in names)
        if ra_written in (None, "") or dec_written in (None, "") or _unset(ra_written, dec_written):
            continue
        position = _on_sky(ra_written, dec_written)
        if position is not None:
            return position, None
        wrong = wrong or f"{names[0]} {ra_written} and {names[1]} {dec_written}, which is not on the sky"
    return None, wrong


def _unset(ra: object, dec: object) -> bool:
    return not isinstance(ra, str) and not isinstance(dec, str) and ra == 0 and dec == 0


def _on_sky(ra: object, dec: object) -> Position | None:
    if isinstance(ra, float | int) and isinstance(dec, float | int):
        ra_deg, dec_deg = finite(ra, 0, 360), finite(dec, -90, 90)
        return None if ra_deg is None or dec_deg is None else (ra_deg % 360, dec_deg)
    try:
        return read_coordinates(f"{ra}, {dec}")
    except NotAQuantity:
        return None
