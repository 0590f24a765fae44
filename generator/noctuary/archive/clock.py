"""Dates, clock times at a place, and the moments that they mean.

A clock time is what the clock showed at the observing place. A time before noon belongs to the morning
after the night's date; a written date is taken as it is. What a change of clocks skips does not exist,
and what it repeats is one of two until its offset is written.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta, timezone
from typing import NamedTuple
from zoneinfo import ZoneInfo

from noctuary.archive.partial_date import PartialDate
from noctuary.errors import NoctuaryError

_DATE = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_MONTH_OR_YEAR = re.compile(r"(\d{4})(?:-(\d{1,2}))?")
_AS_FAR_AS_KNOWN = "write it as far as it is known: 2009-09-14, 2009-09 or 2009"
_CLOCK = re.compile(
    r"(?:(?P<date>\d{4}-\d{1,2}-\d{1,2})(?:[ T]\s*))?(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2}))?"
    r"\s*(?P<offset>Z|UTC|[+\-−]\d{1,2}(?::?\d{2})?)?"
)
_FIRST_YEAR, _LAST_YEAR = 1800, 2200
_NO_ZONES = {"localtime", "posixrules", "Factory"}


class NotAClock(NoctuaryError, ValueError):
    """A date or clock time that cannot be: which rule, what is wrong, what to type."""


class Clock(NamedTuple):
    """A clock time as written: with its own date and offset where the person gave them."""

    written: str
    shown: time
    day: date | None
    offset: timedelta | None


def read_date(text: str) -> date:
    """A date ``YYYY-MM-DD`` between 1800 and 2200."""
    cleaned = text.strip()
    hint = "write a date as year-month-day, such as 2025-01-18"
    match = _DATE.fullmatch(cleaned[:40])
    if match is None:
        raise NotAClock(f"“{cleaned[:60]}” is not a date", hint, "not-a-date")
    try:
        day = date(*(int(part) for part in match.groups()))
    except ValueError:
        raise NotAClock(f"{cleaned} is not in the calendar", hint, "not-a-date") from None
    if not _FIRST_YEAR <= day.year <= _LAST_YEAR:
        raise NotAClock(f"the year {day.year} cannot be that of a photograph", hint, "not-a-date")
    return day


def read_partial_date(text: str) -> PartialDate:
    """A date as far as it is known: ``2009-09-14``, ``2009-09`` or ``2009``, between 1800 and 2200."""
    cleaned = text.strip()
    known = _MONTH_OR_YEAR.fullmatch(cleaned[:40])
    if known is None:
        try:
            return PartialDate.of(read_date(cleaned))
        except NotAClock as error:
            raise NotAClock(error.message, _AS_FAR_AS_KNOWN, error.rule) from None
    year, month = int(known[1]), int(known[2]) if known[2] else None
    if month is not None and not 1 <= month <= 12:
        raise NotAClock(f"{cleaned} is not in the calendar", _AS_FAR_AS_KNOWN, "not-a-date")
    if not _FIRST_YEAR <= year <= _LAST_YEAR:
        raise NotAClock(f"the year {year} cannot be that of a photograph", _AS_FAR_AS_KNOWN, "not-a-date")
    return PartialDate(year, month)


def read_clock(text: str) -> Clock:
    """A clock time ``19:40``, with a date (``2025-06-21 09:30``) or an offset (``02:30+10:30``) if written."""
    cleaned = text.strip()
    match = _CLOCK.fullmatch(cleaned[:80])
    if match is None:
        raise NotAClock(
            f"“{cleaned[:60]}” is not a clock time",
            "write hours and minutes of the 24-hour clock, such as 19:40",
            "not-a-clock-time",
        )
    hour, minute, second = int(match["hour"]), int(match["minute"]), int(match["second"] or 0)
    if hour > 23 or minute > 59 or second > 59:
        raise NotAClock(
            f"no clock shows {cleaned[:60]}",
            "hours run from 00 to 23, minutes from 00 to 59; midnight is 00:00",
            "not-a-clock-time",
        )
    day = read_date(match["date"]) if match["date"] else None
    return Clock(cleaned, time(hour, minute, second), day, _offset(match["offset"]))


def _offset(text: str | None) -> timedelta | None:
    if text is None:
        return None
    if text in ("Z", "UTC"):
        return timedelta(0)
    digits = text[1:].replace(":", "")
    hours, minutes = (int(digits[:-2]), int(digits[-2:])) if len(digits) > 2 else (int(digits), 0)
    if hours > 15 or minutes > 59:
        raise NotAClock(f"no place has the offset {text}", "write an offset such as +01:00", "not-a-clock-time")
    return timedelta(hours=hours, minutes=minutes) * (1 if text[0] == "+" else -1)


def moment(clock: Clock, night: date, zone_name: str) -> datetime:
    """The moment that a clock time of a night means at a place, in the place's time zone.

    Raises :class:`NotAClock` for a time that the place's clocks skipped, for one that they repeated
    without a written offset, and for an offset that they did not have.
    """
    zone = ZoneInfo(zone_name)
    day = clock.day or (night if clock.shown.hour >= 12 else night + timedelta(days=1))
    local = datetime.combine(day, clock.shown)
    readings = [local.replace(tzinfo=zone, fold=fold) for fold in (0, 1)]
    real = [r for r in readings if r.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == local]
    if not real:
        after = readings[0].astimezone(UTC).astimezone(zone)
        raise NotAClock(
            f"the clocks of {zone_name} skipped {clock.written} on {day}",
            f"write the time that the clock showed, such as {after:%H:%M}",
            "clock-skipped",
        )
    offsets = {r.utcoffset(): r for r in reversed(real)}
    if clock.offset is not None:
        if clock.offset in offsets:
            return offsets[clock.offset]
        offsets_text = " or ".join(_signed(o) for o in sorted(o for o in offsets if o is not None))
        raise NotAClock(
            f"the clocks of {zone_name} did not stand at {_signed(clock.offset)} on {day}, but at {offsets_text}",
            f"write the time that the clock showed there, or {local:%H:%M}{offsets_text.split(' or ')[0]}",
            "clock-offset",
        )
    if len(offsets) > 1:
        first, second = (_signed(r.utcoffset() or timedelta()) for r in real)
        raise NotAClock(
            f"the clocks of {zone_name} showed {clock.written} twice on {day}",
            f'write which one it was: "{local:%H:%M}{first}" or "{local:%H:%M}{second}"',
            "clock-repeated",
        )
    return real[0]


def _signed(offset: timedelta) -> str:
    return datetime(2000, 1, 1, tzinfo=timezone(offset)).isoformat()[19:25]


def zone_fault(name: str) -> tuple[str, str] | None:
    """What is wrong with the name of a time zone and what to write, or ``None`` when it is known."""
    try:
        if name not in _NO_ZONES and re.fullmatch(r"[A-Za-z0-9_+\-/]+", name) and not name.startswith("/"):
            ZoneInfo(name)
            return None
    except (KeyError, ValueError, OSError):
        pass
    from zoneinfo import available_timezones

    from noctuary.archive.did_you_mean import nearest

    near = nearest(name, sorted(available_timezones()))
    hint = f"did you mean {near}?" if near else "write an IANA name such as Europe/Berlin"
    return f"“{name[:60]}” is no time zone of the IANA database", hint
