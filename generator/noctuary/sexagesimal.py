"""Positions in degrees or hours, minutes and seconds, out of the text that a person writes.

Decimal degrees, three numbers with or without their marks (``48d12m30s``, ``48°12′30″``, ``48 12 30``, ``48:12:30``),
a sign, or a letter of the compass before or behind: all mean what they look like. An ``s`` that closes a row of
``d`` and ``m`` marks the seconds; south is a letter of its own (``48d12m30s S``). Everything raises
:class:`noctuary.quantity.NotAQuantity`.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from noctuary.quantity import ANGLE, NotAQuantity, plain, read, shown

COORDINATES_EXAMPLE = "06h32m00s +04d57m00s"
LATITUDE_EXAMPLE = "51.2 deg, 51d12m30s or 51°12′30″ N"
LONGITUDE_EXAMPLE = "-3.1 deg, 3d06m20s W or 3°06′20″ W"

_NUMBER = r"\d+(?:\.\d*)?|\.\d+"
_DEGREES = r"degrees|deg|°|º|d"
_FIRST = rf"{_DEGREES}|hours|h|ʰ|:"
_SECOND = r"arcmin|min|'|′|’|m|ᵐ|:"
_THIRD = r"arcsec|sec|\"|″|''|′′|”|s|ˢ"
_ROW = re.compile(
    rf"(?P<a>{_NUMBER})\s*(?P<am>{_FIRST})?"
    rf"(?:\s*(?P<b>{_NUMBER})\s*(?P<bm>{_SECOND})?(?:\s*(?P<c>{_NUMBER})\s*(?P<cm>{_THIRD})?)?)?",
    re.IGNORECASE,
)
_COMPASS = re.compile(
    r"(?:(?P<before>[NSEW])\s*)?(?P<sign>[+-])?\s*(?P<row>.*?)\s*(?P<after>[NSEW]|north|south|east|west)?",
    re.IGNORECASE,
)
_HALVES = (
    re.compile(r"(?P<ra>[^,]+),(?P<dec>[^,]+)"),
    re.compile(r"(?P<ra>.+?)\s*(?P<dec>[+-].+)"),
    re.compile(r"(?P<ra>.+?)\s+(?P<dec>[NS]\s*\d.*)", re.IGNORECASE),
    re.compile(rf"(?P<ra>(?:{_NUMBER})\s*(?:{_DEGREES})?)\s+(?P<dec>(?:{_NUMBER})\s*(?:{_DEGREES})?\s*[NS]?)", re.I),
    re.compile(r"(?P<ra>\S+)\s+(?P<dec>\S+(?:\s*[NS])?)", re.IGNORECASE),
    re.compile(r"(?P<ra>\S+ \S+ \S+) (?P<dec>\S+ \S+ \S+(?: [NS])?)", re.IGNORECASE),
    re.compile(r"(?P<ra>\S+ \S+) (?P<dec>\S+ \S+(?: [NS])?)", re.IGNORECASE),
)


@dataclass(frozen=True, slots=True)
class _Angle:
    """An angle as written: its value in the unit of its first number, and whether that unit is hours."""

    value: float
    hours: bool
    parts: int


def read_latitude(text: str) -> float:
    """Degrees north of the equator, −90…90."""
    return _on_earth(text, "NS", "latitude", 90, LATITUDE_EXAMPLE)


def read_longitude(text: str) -> float:
    """Degrees east of Greenwich, −180…180."""
    return _on_earth(text, "EW", "longitude", 180, LONGITUDE_EXAMPLE)


def read_coordinates(text: str) -> tuple[float, float]:
    """ICRS right ascension and declination in degrees.

    Right ascension in hours (``06h32m00s``, ``06:32:00``, ``06 32 00``), or in degrees where it says so or is one
    number (``98d00m00s``, ``98.0 deg``); 0 ≤ α < 360, declination −90 ≤ δ ≤ 90.
    """
    cleaned = plain(text)
    hint = f"write right ascension and declination, such as {COORDINATES_EXAMPLE}"
    for pattern in _HALVES:
        halves = pattern.fullmatch(cleaned)
        if halves is None:
            continue
        ra, dec = _angle(halves["ra"].strip(), "E"), _angle(halves["dec"].strip(), "NS")
        if ra is None or dec is None or dec.hours:
            continue
        in_hours = ra.hours or (ra.parts > 1 and not _says_degrees(halves["ra"]))
        ra_deg = ra.value * 15 if in_hours else ra.value
        if not 0 <= ra_deg < 360 or not -90 <= dec.value <= 90:
            raise NotAQuantity(
                f"{shown(text)} is not on the sky",
                "right ascension runs from 0 to 24 hours or 0 to 360 degrees, declination from -90 to 90 degrees",
            )
        return ra_deg, dec.value
    raise NotAQuantity(f"{shown(text)} is not a position on the sky", hint)


def _says_degrees(text: str) -> bool:
    return re.search(r"\d\s*(?:d|°|º)", text, re.IGNORECASE) is not None


def _on_earth(text: str, letters: str, name: str, most: float, example: str) -> float:
    hint = f"write the {name} such as {example}"
    try:
        value = read(text, ANGLE)
    except NotAQuantity as error:
        found = _angle(plain(text), letters)
        if found is None or found.hours:
            if _angle(plain(text), "EW" if letters == "NS" else "NS") is None:
                raise NotAQuantity(error.message, hint, error.rule) from None
            other = "longitude" if letters == "NS" else "latitude"
            raise NotAQuantity(f"{shown(text)} has a letter that belongs to the {other}", hint) from None
        value = found.value
    if not -most <= value <= most:
        raise NotAQuantity(f"{shown(text)} is out of range", f"{hint}; it ends at {most:g} degrees", "out-of-range")
    return value


def _angle(text: str, letters: str) -> _Angle | None:
    """One angle with a sign or one of two letters of the compass, the second of which is the negative."""
    compass = _COMPASS.fullmatch(text)
    if compass is None:
        return None
    before, after, body = compass["before"], (compass["after"] or "")[:1], compass["row"]
    row = _ROW.fullmatch(body)
    if after and after in "sS" and _marks_seconds(body, after):
        row, after = _ROW.fullmatch(body + after), None
    if row is None or (before and after) or (compass["sign"] and (before or after)):
        return None
    letter = (before or after or "").upper()
    if letter and letter not in letters:
        return None
    numbers = [float(row[key]) for key in "abc" if row[key]]
    if any("." in row[key] for key in "ab" if row[key] and row["b" if key == "a" else "c"]):
        return None  # a fraction of anything but the last number
    if any(n >= 60 for n in numbers[1:]):
        return None
    value = sum(n / 60**place for place, n in enumerate(numbers))
    negative = compass["sign"] == "-" or letter in ("S", "W")
    return _Angle(-value if negative else value, (row["am"] or "").lower() in ("h", "ʰ", "hours"), len(numbers))


def _marks_seconds(body: str, letter: str) -> bool:
    """Whether an s at the end is the mark of the seconds: behind a third number, after letters for the other two."""
    marked = _ROW.fullmatch(body)
    if marked is None or not marked["c"] or marked["cm"]:
        return False
    second = marked["bm"] or ""
    return second.isalpha() and (second.isupper() == letter.isupper() or len(second) > 1)


def of_parts(text: str) -> tuple[float, int]:
    """Value of a table's whole, minutes and seconds, and the decimals of its seconds; the inverse of :func:`parts`.

    >>> of_parts("05 41 00.0"), of_parts("-02 27 00")
    ((5.683333333333334, 1), (-2.45, 0))
    """
    whole, minutes, seconds = text.split()
    value = abs(int(whole)) + int(minutes) / 60 + float(seconds) / 3600
    return (-value if whole.startswith("-") else value), len(seconds.partition(".")[2])


def parts(value: float, decimals: int, turn: int | None = None) -> tuple[str, str, str]:
    """Whole, minutes and seconds of a value, 0 or more, as digits; rounded once, so that no 60 appears.

    ``decimals`` are those of the seconds; below 0 the value is rounded to the minute and the seconds are empty.
    ``turn`` is the whole number at which the value begins anew: 24 for hours of right ascension.

    >>> parts(6.5333333, 0, 24), parts(23.9999999, 1, 24), parts(4.95, -1)
    (('06', '32', '00'), ('00', '00', '00.0'), ('04', '57', ''))
    """
    places = max(0, decimals)
    unit = 10**places
    if decimals < 0:
        minutes = math.floor(value * 60 + 0.5)
        whole, minute = divmod(minutes, 60)
        return f"{whole % turn if turn else whole:02d}", f"{minute:02d}", ""
    ticks = math.floor(value * 3600 * unit + 0.5)
    whole, rest = divmod(ticks, 3600 * unit)
    minute, tick = divmod(rest, 60 * unit)
    second, fraction = divmod(tick, unit)
    seconds = f"{second:02d}" + (f".{fraction:0{places}d}" if places else "")
    return f"{whole % turn if turn else whole:02d}", f"{minute:02d}", seconds
