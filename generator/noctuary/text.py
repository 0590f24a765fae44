"""Plain forms of text that several rooms need: names for files and addresses, and lengths of time in messages."""

from __future__ import annotations

import re
import unicodedata


def hyphenated(name: str, longest: int = 60) -> str:
    """A name in lower-case ASCII letters, digits and single hyphens; empty where nothing of it can be so written.

    >>> hyphenated("NGC 2238"), hyphenated("Sh2-155"), hyphenated("Große Wolke"), hyphenated("星")
    ('ngc-2238', 'sh2-155', 'grosse-wolke', '')
    """
    folded = unicodedata.normalize("NFKD", unicodedata.normalize("NFKC", name).casefold())
    letters = folded.encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", letters).strip("-")[:longest].strip("-")


def hours_and_minutes(seconds: float) -> str:
    """A length of time to the minute, in the plain English of messages: ``3 h 05 min``, ``40 min``.

    >>> hours_and_minutes(11_100), hours_and_minutes(2_400)
    ('3 h 05 min', '40 min')
    """
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02} min" if minutes >= 60 else f"{minutes} min"


_IRREGULAR = {"copy": "copies", "bias": "bias frames"}


def counted(number: int, what: str) -> str:
    """A number with its noun in plain English: ``1 light``, ``50 bias frames``, ``3 copies``.

    >>> counted(1, "light"), counted(50, "bias"), counted(1, "bias"), counted(0, "fault")
    ('1 light', '50 bias frames', '1 bias frame', '0 faults')
    """
    if number == 1:
        return "1 bias frame" if what == "bias" else f"1 {what}"
    return f"{number} {_IRREGULAR.get(what, what + 's')}"
