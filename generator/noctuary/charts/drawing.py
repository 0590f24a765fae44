"""What a chart is to those who set it on a page."""

from __future__ import annotations

from datetime import date
from typing import Protocol, runtime_checkable

#: Width of a drawing for narrow pages, in units of its viewBox: about the CSS pixels of a phone's column.
NARROW = 350


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


@runtime_checkable
class DrawnTwice(Drawing, Protocol):
    """A chart that has a second drawing for pages too narrow for the first; a style shows the one that fits."""

    def narrow_svg(self, formatter: Formatter) -> str:
        """The same chart :data:`NARROW` wide, its class ``narrow``: complete, with letters of the same size."""
        ...
