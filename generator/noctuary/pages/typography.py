"""Figures, units and dates as a careful printer sets them. Nothing is computed here beyond what setting needs.

A missing value is an em dash. Units stand behind a narrow no-break space, negative numbers have a true minus,
ranges an en dash, right ascension ʰ ᵐ ˢ and angles ° ′ ″. Decimal signs, dates and plurals follow the language.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Callable, Sequence
from functools import cached_property, lru_cache, wraps
from typing import Any, Literal

from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_interval, format_skeleton
from markupsafe import Markup

from noctuary import sexagesimal
from noctuary.archive.partial_date import PartialDate

NONE = "—"
THIN = "\u202f"
MINUS = "−"
#: Small counts as words.
NUMBER_WORDS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
                "twelve")  # fmt: skip
#: Directions from north through east, 45° apart.
COMPASS_POINTS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


@lru_cache
def locale_of(language: str) -> Locale:
    """The locale of a BCP 47 tag, or the nearest that is known. Bare English sets the day before the month."""
    tag = language.strip().replace("_", "-")
    if tag.casefold() == "en":
        tag = "en-001"
    while tag:
        try:
            return Locale.parse(tag, sep="-")
        except (UnknownLocaleError, ValueError):
            tag = tag.rpartition("-")[0]
    return Locale("en", "001")


def isolated(setting: Callable[..., str]) -> Callable[..., str]:
    """The same way of setting, its text between U+2066 and U+2069, which run it from left to right by itself."""

    @wraps(setting)
    def inside(*arguments: Any, **options: Any) -> str:
        text = setting(*arguments, **options)
        return text if text == NONE else f"\u2066{text}\u2069"

    return inside


class Typography:
    """The setting of one language; ``gettext`` and ``ngettext`` give the theme's words in it."""

    def __init__(
        self,
        language: str,
        gettext: Callable[[str], str] = lambda message: message,
        ngettext: Callable[[str, str, int], str] = lambda one, many, n: one if n == 1 else many,
    ) -> None:
        self.locale = locale_of(language)
        self.gettext = gettext
        self.ngettext = ngettext

    # ------------------------------------------------------------------------------------- numbers

    @cached_property
    def _signs(self) -> tuple[str, str]:
        signs = self.locale.number_symbols
        latin: Any = signs.get("latn", signs)
        group = latin.get("group", ",")
        return latin.get("decimal", "."), THIN if group.isspace() or group == "\u00a0" else group

    def number(self, value: float | None, decimals: int = 0, figures: int = 4) -> str:
        """A number with so many decimals: ``12,345.5``, ``−0.3``; thousands are marked above so many ``figures``."""
        if value is None or not math.isfinite(value):
            return NONE
        text = f"{abs(value):,.{decimals}f}"
        decimal, group = self._signs
        if sum(map(str.isdigit, text.partition(".")[0])) <= figures:
            text = text.replace(",", "")
        text = text.translate({ord("."): decimal, ord(","): group})
        return MINUS + text if value < 0 and text.strip("0" + decimal) else text

    def count(self, value: float | None) -> str:
        """How many there are, thousands always marked, since counts of a film are compared: ``300``, ``2,000``."""
        return self.number(value, figures=3)

    def signed(self, value: float | None, decimals: int = 1) -> str:
        """A number with its sign: ``+0.6``, ``−0.3``, ``0.0``."""
        text = self.number(value, decimals)
        return f"+{text}" if value is not None and value > 0 and text.strip("0.,") else text

    def plain(self, value: float | None, limit: int = 2) -> str:
        """A number with the decimals that it has, at most ``limit``: ``100``, ``2.4``."""
        if value is None or not math.isfinite(value):
            return NONE
        decimals = next(d for d in range(limit + 1) if d == limit or round(value, d) == round(value, limit))
        return self.number(value, decimals)

    def unit(self, value: float | None, unit: str, decimals: int | None = None) -> str:
        """A number and its unit: ``480 mm``."""
        text = self.plain(value) if decimals is None else self.number(value, decimals)
        return text if text == NONE else f"{text}{THIN}{unit}"

    def percent(self, share: float | None) -> str:
        """A share of 1: ``78 %``."""
        return self.unit(None if share is None else share * 100, "%", 0)

    def in_words(self, count: int) -> str:
        """A small count as a word (``four``), a larger one in figures."""
        return self.gettext(NUMBER_WORDS[count]) if 0 <= count < len(NUMBER_WORDS) else self.number(count)

    def spread(self, low: float | None, high: float | None, unit: str = "", decimals: int = 0) -> str:
        """A range, one value where both ends look alike: ``41–62°``."""
        first, last = self.number(low, decimals), self.number(high, decimals)
        if NONE in (first, last):
            return first + unit if last == NONE and first != NONE else last if last == NONE else last + unit
        if first == last:
            return first + unit
        if MINUS in first + last:
            return self.gettext("{first} to {last}").format(first=first + unit, last=last + unit)
        return f"{first}–{last}{unit}"

    # --------------------------------------------------------------------------------------- time

    def duration(self, seconds: float | None) -> str:
        """A length of time to the minute, below a minute to the second: ``6 h 42 min``."""
        if seconds is None or not math.isfinite(seconds):
            return NONE
        if 0 < seconds < 60:
            return self.unit(seconds, "s")
        hours, minutes = divmod(math.floor(seconds / 60 + 0.5), 60)
        if not hours:
            return f"{minutes}{THIN}min"
        return f"{self.number(hours)}{THIN}h" + (f" {minutes}{THIN}min" if minutes else "")

    def light(self, light_m2_h: float | None) -> str:
        """Light in m²·h: to three decimals, and what a small lens gathers in minutes to two digits: ``0.000017``."""
        small = light_m2_h is not None and math.isfinite(light_m2_h) and 0 < abs(light_m2_h) < 0.0095
        decimals = 1 - math.floor(math.log10(abs(light_m2_h))) if small and light_m2_h else 3
        return self.unit(light_m2_h, "m²·h", decimals)

    def hours(self, seconds: float | None, decimals: int = 2) -> str:
        """Seconds as decimal hours without the unit, for a column: ``6.70``; what would look like none: ``<0.01``."""
        least = 10**-decimals
        if seconds is not None and 0 < seconds / 3600 < least / 2:
            return f"<{self.number(least, decimals)}"
        return self.number(None if seconds is None else seconds / 3600, decimals)

    def short_hours(self, seconds: float | None) -> str:
        """A length of time in a line of several: ``7.2 h``; under an hour as :meth:`duration`: ``25 min``."""
        if seconds is None or seconds < 3600:
            return self.duration(seconds)
        return self.unit(seconds / 3600, "h", 1)

    def exposure(self, seconds: float | None) -> str:
        """One exposure as it is spoken of: ``180 s``, ``2.5 s``, ``1/250 s``."""
        if seconds is None:
            return NONE
        if 0 < seconds < 0.3:
            return f"1/{self.number(1 / seconds)}{THIN}s"
        return self.unit(seconds, "s")

    def date(self, day: dt.date | PartialDate | None) -> str:
        """``18 January 2025``; as far as it is known, ``January 2025`` or ``2025``."""
        return self._date(day, "long", "yMMMM")

    def short_date(self, day: dt.date | PartialDate | None) -> str:
        """``18 Jan 2025``; as far as it is known, ``Jan 2025`` or ``2025``."""
        return self._date(day, "medium", "yMMM")

    def _date(self, day: dt.date | PartialDate | None, form: Literal["long", "medium"], month: str) -> str:
        if day is None:
            return NONE
        if not isinstance(day, PartialDate):
            return format_date(day, form, locale=self.locale)
        if day.exact is not None:
            return format_date(day.exact, form, locale=self.locale)
        return str(day.year) if day.month is None else str(format_skeleton(month, day.first, locale=self.locale))

    def day_month(self, day: dt.date | PartialDate) -> str:
        """``18 January``; without its day ``January``, and nothing where there is only a year."""
        if isinstance(day, PartialDate) and day.exact is None:
            return "" if day.month is None else str(format_skeleton("MMMM", day.first, locale=self.locale))
        exact = day.first if isinstance(day, PartialDate) else day
        return str(format_skeleton("MMMMd", exact, locale=self.locale))

    def weekday(self, day: dt.date) -> str:
        """``Saturday``."""
        return str(format_date(day, "EEEE", locale=self.locale))

    def month(self, month: int) -> str:
        """The short name of a month, 1 to 12: ``Jan``."""
        return str(format_date(dt.date(2001, month, 1), "LLL", locale=self.locale))

    def month_name(self, month: int) -> str:
        """The name of a month, 1 to 12, as it stands in a sentence: ``January``."""
        return str(format_date(dt.date(2001, month, 1), "MMMM", locale=self.locale))

    def month_year(self, day: dt.date | None) -> str:
        """``January 2025``."""
        return NONE if day is None else str(format_skeleton("yMMMM", day, locale=self.locale))

    def long_dates(self, first: dt.date, last: dt.date) -> str:
        """A range of days with the months written out: ``18–19 January 2025``."""
        patterns = self.locale.interval_formats.get("yMMMd", {})
        field = "y" if first.year != last.year else "M" if first.month != last.month else "d"
        parts = patterns.get(field)
        if first == last or not parts:
            return self.dates(first, last)
        wide = [re.sub(r"(?<!M)MMM(?!M)", "MMMM", part) for part in parts]
        pairs = zip((first, last), wide, strict=True)
        return "".join(format_date(day, part, locale=self.locale) for day, part in pairs)

    def dates(self, first: dt.date | None, last: dt.date | None) -> str:
        """A range of days: ``18 January – 3 March 2025``."""
        if first is None or last is None:
            return self.date(first or last)
        if first == last:
            return self.date(first)
        return str(format_interval(first, last, "yMMMMd", locale=self.locale))

    def evening(self, night: dt.date) -> str:
        """A night by both its dates: ``18–19 January 2025``."""
        return self.long_dates(night, night + dt.timedelta(days=1)) if night < dt.date.max else self.date(night)

    def clock(self, moment: dt.datetime | None) -> str:
        """``19:40``."""
        return NONE if moment is None else moment.strftime("%H:%M")

    # --------------------------------------------------------------------------------------- angles

    def degrees(self, value: float | None, decimals: int = 0) -> str:
        """``41°``, ``−12.4°``."""
        text = self.number(value, decimals)
        return text if text == NONE else f"{text}°"

    def compass(self, position_angle_deg: float) -> str:
        """The nearest of eight directions to an angle from north through east: ``north-east``."""
        return self.gettext(COMPASS_POINTS[round(position_angle_deg / 45) % 8])

    def angle(self, degrees: float | None) -> str:
        """An extent in the unit that suits it: ``4.2°``, ``42′``, ``3.5″``."""
        if degrees is None:
            return NONE
        if degrees >= 2:
            return self.number(degrees, 1 if degrees < 20 else 0) + "°"
        if degrees >= 1 / 60:
            minutes = degrees * 60
            return self.number(minutes, 1 if minutes < 10 else 0) + "′"
        return self.number(degrees * 3600, 1) + "″"

    def in_one_unit(self, angles_deg: Sequence[float | None]) -> list[str]:
        """Extents that belong together, all in the unit that suits the largest: ``["2.7°", "1.8°", "3.2°"]``.

        The next smaller unit where the least of them would vanish: ``["180′", "0.6′"]``.
        """
        known = [abs(angle) for angle in angles_deg if angle is not None]
        largest, least = max(known, default=0.0), min((angle for angle in known if angle), default=0.0)
        # A unit, from what size on it suits, and from what number on its decimals say nothing.
        units = (("°", 1, 2.0, 20 if largest < 20 else 10), ("′", 60, 1 / 60, 10), ("″", 3600, 0.0, math.inf))
        sign, per_degree, whole_from = next(
            (sign, per_degree, whole_from)
            for sign, per_degree, suits_from, whole_from in units
            if sign == "″" or (largest >= suits_from and least * per_degree >= 0.05)
        )

        def set_one(angle: float | None) -> str:
            if angle is None:
                return NONE
            value = angle * per_degree
            decimals = 0 if value >= whole_from else 1 if value >= 1 or sign == "″" else 2
            return self.number(value, decimals) + sign

        return [set_one(angle) for angle in angles_deg]

    def extent(self, sides_deg: Sequence[float | None] | None) -> str:
        """Two sides in one unit: ``4.2° × 2.8°``; one value where they are equal."""
        if sides_deg is None:
            return NONE
        sizes = self.in_one_unit(sides_deg)
        return sizes[0] if len(set(sizes)) == 1 else " × ".join(sizes)

    def extent_arcmin(self, sides_arcmin: Sequence[float] | None) -> str:
        """Two sides given in arcminutes, as :meth:`extent`."""
        return NONE if sides_arcmin is None else self.extent([s / 60 for s in sides_arcmin])

    def right_ascension(self, degrees: float | None, decimals: int = 0) -> str:
        """Degrees as hours, ``decimals`` of the second: ``06ʰ 32ᵐ 00ˢ``; below 0 decimals to the minute."""
        if degrees is None:
            return NONE
        h, m, s = sexagesimal.parts(degrees / 15, decimals, 24)
        return f"{h}ʰ{THIN}{m}ᵐ" + (f"{THIN}{self._decimal(s)}ˢ" if s else "")

    def declination(self, degrees: float | None, decimals: int = 0) -> str:
        """Degrees with sign, minutes and seconds: ``+04° 57′ 00″``, ``−02° 27′``."""
        if degrees is None:
            return NONE
        d, m, s = sexagesimal.parts(abs(degrees), decimals)
        sign = MINUS if degrees < 0 and (d, m, s.strip("0.")) != ("00", "00", "") else "+"
        return f"{sign}{d}°{THIN}{m}′" + (f"{THIN}{self._decimal(s)}″" if s else "")

    def latitude(self, degrees: float | None, decimals: int = 0) -> str:
        """``51° N``."""
        if degrees is None:
            return NONE
        return f"{self.number(abs(degrees), decimals)}°{THIN}{self.gettext('S' if degrees < 0 else 'N')}"

    def longitude(self, degrees: float | None, decimals: int = 0) -> str:
        """``3° W``."""
        if degrees is None:
            return NONE
        return f"{self.number(abs(degrees), decimals)}°{THIN}{self.gettext('W' if degrees < 0 else 'E')}"

    def _decimal(self, text: str) -> str:
        return text.replace(".", self._signs[0])

    # --------------------------------------------------------------------------------------- optics

    def f_ratio(self, value: float | None) -> str:
        """``f/2.8``."""
        return NONE if value is None else f"f/{self.plain(value, 1)}"

    def listed(self, words: Sequence[str]) -> str:
        """``home``, ``home and the hill``, ``a, b and c``."""
        # Words that are HTML already stay so; the others are made safe beside them.
        join = Markup if any(hasattr(word, "__html__") for word in words) else str
        if len(words) < 2:
            return join("").join(words)
        return join(" ").join((join(", ").join(words[:-1]), self.gettext("and"), words[-1]))

    @property
    def filters(self) -> dict[str, Callable[..., str]]:
        """Every way of setting something, by the name that templates use.

        On a page that runs from right to left a quantity is an island of its own, so that its figures, signs and
        unit keep their order (Unicode Standard Annex 9, explicit isolates).
        """
        words = (
            "in_words", "date", "short_date", "day_month", "month", "month_name", "weekday", "month_year", "dates",
            "long_dates", "evening", "in_one_unit", "listed", "compass",
        )  # fmt: skip
        quantities = (
            "number", "count", "signed", "plain", "unit", "percent", "spread", "duration", "hours", "short_hours",
            "light", "exposure", "clock", "degrees", "angle", "extent", "extent_arcmin", "right_ascension",
            "declination", "latitude", "longitude", "f_ratio",
        )  # fmt: skip
        rightward = self.locale.text_direction != "rtl"
        return {
            **{name: getattr(self, name) for name in words},
            **{name: getattr(self, name) if rightward else isolated(getattr(self, name)) for name in quantities},
        }
