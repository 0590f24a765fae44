"""A date of which the day, or the day and the month, may not be known: ``2009-09-14``, ``2009-09``, ``2009``."""

from __future__ import annotations

from calendar import monthrange
from dataclasses import dataclass
from datetime import date
from functools import total_ordering


@total_ordering
@dataclass(frozen=True, slots=True)
class PartialDate:
    """A year, with its month and day where they are known; ``str`` gives it as ISO 8601 does, as far as it is known.

    In order, a year comes before its months and a month before its days: what could have been any day of a year
    is put where the year begins.
    """

    year: int
    month: int | None = None
    day: int | None = None

    @classmethod
    def of(cls, day: date) -> PartialDate:
        """A date that is known to the day."""
        return cls(day.year, day.month, day.day)

    @property
    def first(self) -> date:
        """The earliest day that it can mean."""
        return date(self.year, self.month or 1, self.day or 1)

    @property
    def last(self) -> date:
        """The latest day that it can mean."""
        month = self.month or 12
        return date(self.year, month, self.day or monthrange(self.year, month)[1])

    @property
    def exact(self) -> date | None:
        """The day, where it is known."""
        return self.first if self.day is not None else None

    def __lt__(self, other: PartialDate) -> bool:
        return self._order < other._order

    @property
    def _order(self) -> tuple[int, int, int]:
        return self.year, self.month or 0, self.day or 0

    def __str__(self) -> str:
        parts = (f"{self.year:04}", *(f"{n:02}" for n in (self.month, self.day) if n is not None))
        return "-".join(parts)
