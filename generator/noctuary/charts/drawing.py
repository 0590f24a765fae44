"""What a chart is to those who set it on a page."""

from __future__ import annotations

from datetime import date
from typing import Protocol


class Formatter(Protocol):
    """How a page speaks: words in its language, figures and dates as it writes them."""

    def gettext(self, message: str) -> str: ...

    def duration(self, seconds: float | None) -> str: ...

    def date(self, day: date | None) -> str: ...

    def month(self, month: int) -> str: ...

    def number(self, value: float | None, decimals: int = 0) -> str: ...

    def hours(self, seconds: float | None, decimals: int = 2) -> str: ...


class Drawing(Protocol):
    """A chart as plain frozen data, drawn when its page is set."""

    def svg(self, formatter: Formatter) -> str:
        """The chart as an ``<svg>`` element with a text alternative; colours are the theme's variables."""
        ...
