"""By how much a camera's clock was wrong, as a person writes it: ``+1h``, ``-00:03:20``, ``+1h 30m``, ``-2 d``."""

from __future__ import annotations

import re
from datetime import timedelta

from noctuary.quantity import NotAQuantity, plain, shown

_CLOCK = re.compile(r"(?P<hours>\d{1,6}):(?P<minutes>[0-5]?\d)(?::(?P<seconds>[0-5]?\d(?:\.\d+)?))?")
_PART = re.compile(r"(\d+(?:\.\d+)?)\s*(days?|d|hours?|h|minutes?|min|m|seconds?|sec|s)", re.IGNORECASE)
_SECONDS = {"d": 86400.0, "h": 3600.0, "m": 60.0, "s": 1.0}


def read_clock_shift(text: str) -> timedelta:
    """What is to be added to the time that the clock showed.

    Raises :class:`NotAQuantity` for what is no such time, and for one without a sign: whether a clock that was an
    hour ahead is +1 h or −1 h, nobody guesses alike.
    """
    cleaned = plain(text)
    sign, rest = cleaned[:1], cleaned[1:].strip()
    seconds = _seconds(rest)
    if sign not in ("+", "-") or seconds is None:
        raise NotAQuantity(
            f"{shown(text)} is no shift of a clock",
            "write what is to be added to the time that the camera showed, with its sign: +1h, -00:03:20",
        )
    if seconds > 200 * 366 * 86400:
        raise NotAQuantity(f"{shown(text)} is longer than two centuries", "write a shift such as +1h or -00:03:20")
    return timedelta(seconds=-seconds if sign == "-" else seconds)


def _seconds(text: str) -> float | None:
    if clock := _CLOCK.fullmatch(text):
        return int(clock["hours"]) * 3600 + int(clock["minutes"]) * 60 + float(clock["seconds"] or 0)
    parts = _PART.findall(text)
    if not parts or _PART.sub("", text).strip():
        return None
    return sum(float(number) * _SECONDS[unit[0].lower()] for number, unit in parts)
